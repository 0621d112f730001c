"""No verdict on volts without a described calibration, no frequency passed by a poor clock."""

import math
from dataclasses import replace
from datetime import UTC, date, datetime
from typing import Any

import pytest

from pilotsignal.budget import clock_rows, combine, derive, type_b
from pilotsignal.calibration import CRYSTAL_50_PPM, UNKNOWN_TIME_BASE, TimeBase, VoltCalibration
from pilotsignal.calibration_rows import volt_rows
from pilotsignal.errors import QuantityError
from pilotsignal.grounds import Grounds, Need, need_of, time_base_doubt, volts_doubt
from pilotsignal.judge import Limit, Verdict, judge, judge_frequency, judge_voltage
from pilotsignal.quantity import Quantity
from pilotsignal.standard import load_profile

IEC = load_profile()
MADE, END, DAY = date(2025, 3, 1), date(2026, 2, 28), date(2025, 6, 1)
DATED = VoltCalibration("CAL-7", 0.03, -15.0, 0.001, 0.01, made=MADE, valid_until=END)
STATED = VoltCalibration("stated", 1.0, 0.0, 0.001, 0.01)
UNDESCRIBED = VoltCalibration("undescribed", 1.0, 0.0)


def volts(value: float, line: VoltCalibration = STATED) -> Quantity:
    noise = type_b("noise", "noise", 0.015, "V")
    return combine("high_plateau_v", "V", value, "mean", [noise, *volt_rows(line, value)])


def ohms(value: float) -> Quantity:
    return Quantity("source_ohm", value, "ohm", 5.0, math.inf, "two states")


def hertz(value: float, u: float = 0.05) -> Quantity:
    return Quantity("frequency_hz", value, "Hz", u, math.inf, "edges")


def delay(value: float, clock: TimeBase = CRYSTAL_50_PPM) -> Quantity:
    rows = [type_b("end", "end", 0.01, "s"), *clock_rows(clock, value)]
    return combine("delay_s", "s", value, "senses", rows)


HIGH, FREQUENCY = IEC.limit("high_level", "B"), IEC.limit("frequency")


@pytest.mark.parametrize("value", [9.0, 11.0, 0.0])
def test_a_voltage_nobody_described_is_undecided_wherever_it_lies(value: float) -> None:
    for judgement in (
        judge(volts(value), HIGH),
        judge(volts(value), HIGH, grounds=Grounds(volts=UNDESCRIBED, on=DAY)),
        judge_voltage(volts(value), HIGH, UNDESCRIBED),
    ):
        assert judgement.verdict is Verdict.UNDECIDED
        assert judgement.why.startswith("uncalibrated")
        assert judgement.conformance_probability is None


def test_half_a_description_is_none() -> None:
    half = VoltCalibration("half", 1.0, 0.0, 0.001, None)
    assert judge_voltage(volts(9.0), HIGH, half).verdict is Verdict.UNDECIDED


def test_what_is_worked_out_from_volts_needs_them_too() -> None:
    limit = IEC.limit("source_resistance")
    assert judge(ohms(1000.0), limit).verdict is Verdict.UNDECIDED
    assert judge(ohms(1000.0), limit, grounds=Grounds(volts=STATED)).verdict is Verdict.PASS
    assert judge(ohms(1150.0), limit, grounds=Grounds(volts=STATED)).verdict is Verdict.FAIL


@pytest.mark.parametrize(("value", "verdict"), [(9.0, Verdict.PASS), (11.0, Verdict.FAIL)])
def test_a_described_voltage_is_judged(value: float, verdict: Verdict) -> None:
    assert judge_voltage(volts(value), HIGH, STATED).verdict is verdict
    assert judge_voltage(volts(value, DATED), HIGH, DATED, DAY).verdict is verdict


@pytest.mark.parametrize(
    ("day", "words"),
    [
        (date(2026, 3, 1), "ended on 2026-02-28"),
        (date(2025, 2, 1), "dates from 2025-03-01"),
        (None, "day of the measurement is not stated"),
    ],
)
def test_a_calibration_holds_only_within_its_dates(day: date | None, words: str) -> None:
    judgement = judge_voltage(volts(9.0, DATED), HIGH, DATED, day)
    assert judgement.verdict is Verdict.UNDECIDED
    assert words in judgement.why


def test_nothing_measured_stays_not_run_whatever_the_calibration() -> None:
    assert judge_voltage(None, HIGH, STATED, missing_why="no PWM").verdict is Verdict.NOT_RUN
    assert judge_frequency(None, FREQUENCY, CRYSTAL_50_PPM).verdict is Verdict.NOT_RUN


RESONATOR = TimeBase("board", "resonator", 5e-3 / math.sqrt(3.0))
GOOD_CLOCKS = [
    CRYSTAL_50_PPM,
    TimeBase("board", "crystal", 10e-6 / math.sqrt(3.0)),
    TimeBase("board", "calibrated", 1e-6, 12e-6, MADE, END),
    TimeBase("board", "calibrated", 1e-3, made=MADE),
]
POOR_CLOCKS = [
    TimeBase("board", "crystal", 100e-6 / math.sqrt(3.0)),
    TimeBase("board", "calibrated", 1e-6),
    TimeBase("board", "calibrated", 1e-6, made=date(2024, 1, 1), valid_until=date(2025, 1, 1)),
    TimeBase("file", "stated", 1e-6),
    RESONATOR,
]
DARK_CLOCKS = [UNKNOWN_TIME_BASE, TimeBase("board", "crystal"), TimeBase("board", "calibrated")]


@pytest.mark.parametrize("clock", GOOD_CLOCKS)
def test_a_crystal_or_a_dated_calibration_lets_a_frequency_pass(clock: TimeBase) -> None:
    assert judge_frequency(hertz(1000.0), FREQUENCY, clock, DAY).verdict is Verdict.PASS


@pytest.mark.parametrize("clock", POOR_CLOCKS)
def test_any_other_clock_does_not(clock: TimeBase) -> None:
    judgement = judge_frequency(hertz(1000.0), FREQUENCY, clock, DAY)
    assert judgement.verdict is Verdict.UNDECIDED
    assert judgement.why.startswith("uncalibrated")


@pytest.mark.parametrize("clock", POOR_CLOCKS)
def test_a_stated_clock_may_still_fail_a_frequency(clock: TimeBase) -> None:
    assert judge_frequency(hertz(1030.0, 3.0), FREQUENCY, clock, DAY).verdict is Verdict.FAIL


@pytest.mark.parametrize("clock", DARK_CLOCKS)
@pytest.mark.parametrize("value", [1000.0, 1030.0])
def test_a_clock_of_unknown_uncertainty_decides_nothing(clock: TimeBase, value: float) -> None:
    assert judge_frequency(hertz(value), FREQUENCY, clock, DAY).verdict is Verdict.UNDECIDED


def test_without_any_clock_a_frequency_is_undecided() -> None:
    assert judge(hertz(1000.0), FREQUENCY).verdict is Verdict.UNDECIDED


def test_widths_need_neither() -> None:
    error = Quantity("pulse_width_error_us", 12.0, "us", 0.1, math.inf, "edges")
    assert judge(error, IEC.limit("pulse_width_error_us")).verdict is Verdict.FAIL


LATEST = IEC.limit("mains_on_after_c_s")


@pytest.mark.parametrize("clock", [CRYSTAL_50_PPM, RESONATOR])
@pytest.mark.parametrize(("value", "verdict"), [(1.0, Verdict.PASS), (9.0, Verdict.FAIL)])
def test_a_time_needs_a_clock_of_stated_uncertainty(
    clock: TimeBase, value: float, verdict: Verdict
) -> None:
    assert judge(delay(value, clock), LATEST, grounds=Grounds(time_base=clock)).verdict is verdict
    dark = delay(value, UNKNOWN_TIME_BASE)
    for grounds in (Grounds(), Grounds(time_base=UNKNOWN_TIME_BASE), Grounds(time_base=clock)):
        assert judge(dark, LATEST, grounds=grounds).verdict is Verdict.UNDECIDED


@pytest.mark.parametrize(
    ("unit", "need"),
    [
        ("V", Need.VOLTS),
        ("ohm", Need.VOLTS),
        ("pF", Need.VOLTS),
        ("Hz", Need.TIME_BASE),
        ("ms", Need.CLOCK),
        ("s", Need.CLOCK),
        ("phases", Need.COUNT),
        ("edges", Need.COUNT),
        ("furlong", Need.UNKNOWN),
        ("us", Need.NOTHING),
        ("%", Need.NOTHING),
    ],
)
def test_the_unit_tells_what_is_needed(unit: str, need: Need) -> None:
    assert need_of(unit) is need


def test_doubts_are_empty_on_good_grounds() -> None:
    grounds = Grounds(DATED, CRYSTAL_50_PPM, DAY)
    assert volts_doubt(grounds) == ""
    assert time_base_doubt(grounds) == ""


def refused(quantity: Quantity, limit: Limit, grounds: Grounds) -> str:
    judgement = judge(quantity, limit, grounds=grounds)
    assert judgement.verdict is Verdict.UNDECIDED
    assert judgement.conformance_probability is None
    return judgement.why


ON = Grounds(DATED, CRYSTAL_50_PPM, DAY)


@pytest.mark.parametrize("value", [9.0, 11.0])
def test_a_voltage_measured_through_another_calibration_is_undecided(value: float) -> None:
    other = replace(DATED, id="CAL-8")
    assert "CAL-8" in refused(volts(value, other), HIGH, ON)


def test_a_reused_id_with_other_uncertainties_is_undecided() -> None:
    assert "another uncertainty" in refused(volts(9.0, replace(DATED, u_offset_v=1e-6)), HIGH, ON)


def test_a_voltage_without_a_budget_or_without_calibration_rows_is_undecided() -> None:
    bare = Quantity("high_plateau_v", 9.0, "V", 0.02, math.inf, "mean")
    assert "names no calibration" in refused(bare, HIGH, ON)
    noise = combine("high_plateau_v", "V", 9.0, "mean", [type_b("noise", "noise", 0.01, "V")])
    assert "names no calibration" in refused(noise, HIGH, ON)


@pytest.mark.parametrize("ohm", [1000.0, 1500.0])
def test_a_resistance_from_captures_of_two_calibrations_is_undecided(ohm: float) -> None:
    """A described capture does not vouch for the other one, whatever the bench's calibration."""
    limit = IEC.limit("source_resistance")
    for other in (UNDESCRIBED, replace(DATED, id="CAL-8")):
        levels = volts(12.0, DATED), volts(9.0, other)
        mixed = derive("r", "ohm", "m", lambda a, b: ohm * (a - b) / (12.0 - 9.0), levels)
        assert other.id in refused(mixed, limit, ON)
    levels = volts(12.0, DATED), volts(9.0, DATED)
    same = derive("r", "ohm", "m", lambda a, b: ohm * (a - b) / (12.0 - 9.0), levels)
    assert judge(same, limit, grounds=ON).verdict in (Verdict.PASS, Verdict.FAIL)


def test_a_simulated_calibration_holds_on_a_simulated_bench_only() -> None:
    line = replace(DATED, simulated=True)
    why = refused(volts(9.0, line), HIGH, Grounds(line, CRYSTAL_50_PPM, DAY))
    assert "simulated bench" in why
    grounds = Grounds(line, CRYSTAL_50_PPM, DAY, simulated=True)
    assert judge(volts(9.0, line), HIGH, grounds=grounds).verdict is Verdict.PASS


@pytest.mark.parametrize("zero", [{"u_gain_relative": 0.0}, {"u_offset_v": 0.0}])
def test_an_uncertainty_of_zero_is_none(zero: dict[str, Any]) -> None:
    line = replace(DATED, **zero)
    assert "of zero" in refused(volts(9.0, line), HIGH, Grounds(line, CRYSTAL_50_PPM, DAY))
    known = replace(line, u_meter_relative=1e-4, u_meter_v=1e-3)
    grounds = Grounds(known, CRYSTAL_50_PPM, DAY)
    assert judge(volts(9.0, known), HIGH, grounds=grounds).verdict is Verdict.PASS


@pytest.mark.parametrize(
    ("now_c", "verdict"),
    [
        (None, Verdict.PASS),
        (13.0, Verdict.PASS),
        (33.0, Verdict.PASS),
        (12.9, Verdict.UNDECIDED),
        (33.1, Verdict.UNDECIDED),
        (math.nan, Verdict.UNDECIDED),
    ],
)
def test_a_calibration_holds_within_its_temperatures(now_c: float | None, verdict: Verdict) -> None:
    line = replace(DATED, made_at_c=23.0, span_k=10.0, drift_relative_per_k=1e-5)
    grounds = Grounds(line, CRYSTAL_50_PPM, DAY, temperature_c=now_c)
    assert judge(volts(9.0, line), HIGH, grounds=grounds).verdict is verdict


@pytest.mark.parametrize("kind", ["crystal", "calibrated"])
def test_a_clock_without_error_is_none(kind: str) -> None:
    clock = TimeBase("perfect", kind, 0.0, made=MADE)
    assert judge_frequency(hertz(1000.0), FREQUENCY, clock, DAY).verdict is Verdict.UNDECIDED


def test_a_frequency_timed_by_another_clock_is_undecided() -> None:
    other = TimeBase("other", "crystal", 1e-6)
    rows = [type_b("noise", "noise", 0.01, "Hz"), *clock_rows(other, 1000.0)]
    found = combine("frequency_hz", "Hz", 1000.0, "edges", rows)
    assert "timed by other" in refused(found, FREQUENCY, ON)


@pytest.mark.parametrize(
    ("day", "verdict"),
    [
        (MADE, Verdict.PASS),
        (END, Verdict.PASS),
        (date(2026, 3, 1), Verdict.UNDECIDED),
        (date(2025, 2, 28), Verdict.UNDECIDED),
    ],
)
def test_the_first_and_the_last_day_belong_to_a_calibration(day: date, verdict: Verdict) -> None:
    assert judge_voltage(volts(9.0, DATED), HIGH, DATED, day).verdict is verdict


def test_a_moment_is_no_day() -> None:
    with pytest.raises(QuantityError, match="state the day"):
        Grounds(on=datetime(2025, 6, 1, tzinfo=UTC))
