"""No verdict on volts without a described calibration, no frequency passed by a poor clock."""

import math
from datetime import date

import pytest

from pilotsignal.calibration import CRYSTAL_50_PPM, UNKNOWN_TIME_BASE, TimeBase, VoltCalibration
from pilotsignal.grounds import Grounds, Need, need_of, time_base_doubt, volts_doubt
from pilotsignal.judge import Verdict, judge, judge_frequency, judge_voltage
from pilotsignal.quantity import Quantity
from pilotsignal.standard import load_profile

IEC = load_profile()
MADE, END, DAY = date(2025, 3, 1), date(2026, 2, 28), date(2025, 6, 1)
DATED = VoltCalibration("CAL-7", 0.03, -15.0, 0.001, 0.01, made=MADE, valid_until=END)
STATED = VoltCalibration("stated", 1.0, 0.0, 0.001, 0.01)
UNDESCRIBED = VoltCalibration("undescribed", 1.0, 0.0)


def volts(value: float) -> Quantity:
    return Quantity("high_plateau_v", value, "V", 0.02, math.inf, "mean")


def ohms(value: float) -> Quantity:
    return Quantity("source_ohm", value, "ohm", 5.0, math.inf, "two states")


def hertz(value: float, u: float = 0.05) -> Quantity:
    return Quantity("frequency_hz", value, "Hz", u, math.inf, "edges")


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
    assert judge_voltage(volts(value), HIGH, DATED, DAY).verdict is verdict


@pytest.mark.parametrize(
    ("day", "words"),
    [
        (date(2026, 3, 1), "ended on 2026-02-28"),
        (date(2025, 2, 1), "dates from 2025-03-01"),
        (None, "day of the measurement is not stated"),
    ],
)
def test_a_calibration_holds_only_within_its_dates(day: date | None, words: str) -> None:
    judgement = judge_voltage(volts(9.0), HIGH, DATED, day)
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


def test_times_and_widths_need_neither() -> None:
    delay = Quantity("delay_s", 1.0, "s", 0.01, math.inf, "counted")
    assert judge(delay, IEC.limit("mains_on_after_c_s")).verdict is Verdict.PASS
    error = Quantity("pulse_width_error_us", 12.0, "us", 0.1, math.inf, "edges")
    assert judge(error, IEC.limit("pulse_width_error_us")).verdict is Verdict.FAIL


@pytest.mark.parametrize(
    ("unit", "need"),
    [
        ("V", Need.VOLTS),
        ("ohm", Need.VOLTS),
        ("pF", Need.VOLTS),
        ("Hz", Need.TIME_BASE),
        ("ms", Need.NOTHING),
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
