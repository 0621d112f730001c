"""Every key changes what it should, and nothing else: the same script on every bench."""

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from simulated_run import NO_DIODE_C, SHORT, VOLT_TOLERANCE, B, C, D, SimulatedRun, edges, simulated

from rungbench.link.messages import OPEN, CableCode, EventKind, Rung, Setting
from rungbench.simulated.traits import KEYS

FIXED = "frequency_hz=1000&voc_high_v=12&voc_low_v=-12&source_ohm=1000&jitter_us=0&noise_v=0"

# Tolerances: what two runs of the same bench may differ by. A contact that opens while a phase is
# blind shows 0.8 ms early.
TOLERANCES = {
    "high_a": VOLT_TOLERANCE,
    "high_b": VOLT_TOLERANCE,
    "low_b": VOLT_TOLERANCE,
    "high_c": VOLT_TOLERANCE,
    "frequency": 0.06,
    "width": 0.1,
    "jitter": 0.06,
    "noise": 0.03,
    "close": 0.0016,
    "open": 0.0016,
    "unplug": 0.0016,
    "short": 0.0016,
}


def script(run: SimulatedRun) -> dict[str, Any]:
    """What a bench does in open, B, C, B, C, open, C, short, D and C without a diode."""
    found: dict[str, Any] = {"pulses_a": run.pulses(0.5) is not None}
    volts = run.volts(0.2)
    found["high_a"] = float(np.median(volts[volts > 0]))
    # By quartiles, since edges of a charger that pulses here belong to no plateau.
    lower, upper = np.quantile(volts[volts > 0], (0.25, 0.75))
    found["noise"] = float(upper - lower) / 1.349
    run.present(B)
    run.listen(1.0)
    read_pulses(run, found)
    found["mains_b"] = mains_seen(run)
    found["close"], found["phases"] = slowest(run.mains_on_after(C, 1.5))
    found["high_c"] = run.plateaus(0.2)[0]
    found["open"], _ = slowest(run.mains_off_after(B, 0.6))
    run.present(C)
    run.listen(1.5)
    found["unplug"], _ = slowest(run.mains_off_after(OPEN, 0.6))
    run.charge()
    found["short"], _ = slowest(run.mains_off_after(SHORT, 0.6))
    found["mains_d"] = answers(run, D)
    found["mains_no_diode"] = answers(run, NO_DIODE_C)
    return found


def read_pulses(run: SimulatedRun, found: dict[str, Any]) -> None:
    """Plateaus, frequency and width in B."""
    found["high_b"], found["low_b"] = run.plateaus(0.3)
    pulses = run.pulses(1.0)
    found["frequency"] = pulses.frequency_hz if pulses else None
    found["width"] = float(np.mean(pulses.widths_us)) if pulses else None
    found["jitter"] = float(np.std(pulses.widths_us)) if pulses else None


def slowest(delays: Mapping[int, float]) -> tuple[float, int]:
    """Delay of the last phase, NaN for none, and how many phases there were."""
    return max(delays.values(), default=math.nan), len(delays)


def mains_seen(run: SimulatedRun) -> bool:
    return bool(run.events(EventKind.MAINS_ON))


def answers(run: SimulatedRun, setting: Setting) -> bool:
    """Whether mains comes on after a new connection."""
    run.present(OPEN)
    run.listen(0.6)
    run.present(B)
    run.listen(1.0)
    return bool(run.mains_on_after(setting, 1.5))


@pytest.fixture(scope="module")
def sound() -> dict[str, Any]:
    """What the conforming bench does."""
    with simulated(FIXED) as run:
        return script(run)


def differing(sound: Mapping[str, Any], other: Mapping[str, Any]) -> set[str]:
    return {key for key in sound if not same(key, sound[key], other[key])}


def same(key: str, one: Any, two: Any) -> bool:
    if key in TOLERANCES and one is not None and two is not None:
        return math.isclose(one, two, abs_tol=TOLERANCES[key]) or (
            math.isnan(one) and math.isnan(two)
        )
    return bool(one == two)


def test_the_sound_bench_conforms(sound: Mapping[str, Any]) -> None:
    assert sound["high_a"] == pytest.approx(11.988, abs=VOLT_TOLERANCE)
    # IEC 61851-1:2017 Table A.9 for nominal parts, 0.70 V and 12 V.
    assert sound["high_b"] == pytest.approx(8.979, abs=VOLT_TOLERANCE)
    assert sound["high_c"] == pytest.approx(5.995, abs=VOLT_TOLERANCE)
    assert sound["low_b"] == pytest.approx(-11.988, abs=VOLT_TOLERANCE)
    assert sound["frequency"] == pytest.approx(1000.0, rel=51e-6)
    # IEC 61851-1:2017 Table A.7: 16 A is 26.667 %; slow edges take some of it at 0 V.
    assert sound["width"] == pytest.approx(266.667, abs=0.4)
    assert not sound["pulses_a"]
    assert not sound["mains_b"]
    assert sound["phases"] == 3
    assert sound["close"] == pytest.approx(0.8, abs=0.006)
    assert sound["open"] == pytest.approx(0.040, abs=0.006)
    assert sound["unplug"] == pytest.approx(0.035, abs=0.006)
    assert sound["short"] == pytest.approx(0.060, abs=0.006)
    assert not sound["mains_d"]
    assert not sound["mains_no_diode"]


LEVELS = {"high_a", "high_b", "high_c"}
NO_PULSES = {
    *("frequency", "width", "jitter", "low_b", "close", "open", "unplug", "short", "phases"),
}
CASES = [
    ("frequency_hz=1030", {"frequency", "width"}),
    ("pulse_offset_us=12", {"width"}),
    ("voc_high_v=11", LEVELS),
    ("voc_low_v=-10.2", {"low_b", "width"}),
    ("source_ohm=1150", {"high_b", "high_c"}),
    ("cs_pf=3000", {"width"}),
    ("noise_v=0.3", {"noise"}),
    ("jitter_us=0.4", {"jitter"}),
    ("rated_a=32", {"width"}),
    ("set_a=10", {"width"}),
    ("close_s=0.4", {"close"}),
    ("close_s=never", {"close", "phases", "open", "unplug", "short"}),
    ("open_ms=240", {"open"}),
    ("unplug_ms=240", {"unplug"}),
    ("short_ms=300", {"short"}),
    ("short_ms=never", {"short"}),
    ("pe_open_ms=500", set()),
    ("checks_diode=no", {"mains_no_diode"}),
    ("ventilation=allow", {"mains_d"}),
    ("obeys_cable=no", set()),
    ("pwm_in_a=yes", {"pulses_a"}),
    ("duty_lag_s=9", set()),
    ("phases=1", {"phases"}),
    # Without pulses there is no mains either, and in B the low level is the high one.
    ("authorised=no", NO_PULSES),
    ("offers=no", NO_PULSES),
    # At 5 % nobody communicates, so that mains stays off.
    ("digital=yes", {"width", "close", "open", "unplug", "short", "phases"}),
    ("high_threshold_shift_v=0.3", set()),
    ("frequency_in_c_hz=3", set()),
    ("pulse_offset_in_c_us=9", set()),
    ("high_sag_b1_v=1", set()),
    ("high_sag_b_v=0.3", {"high_b"}),
    ("high_sag_c_v=0.3", {"high_c"}),
    ("low_sag_b_v=0.5", {"low_b"}),
    ("low_sag_c_v=0.5", set()),
    ("low_sag_d_v=0.5", set()),
    ("late_on_s=0.3", {"close"}),
    ("late_off_ms=100", {"open", "unplug", "short"}),
    ("missing_phase=2", {"phases"}),
    ("lowest_a=18", {"width"}),
    ("low_set_error_us=9", set()),
    ("border_ab_v=10.2", set()),
    ("border_bc_v=7.2", set()),
    ("border_cd_v=4.8", set()),
    ("border_de_v=1.2", set()),
    # Mains is there before C is presented, and stays when it goes back to B.
    ("mains_in_b=yes", {"mains_b", "close", "phases", "open"}),
    ("seed=1", set()),
]


@pytest.mark.parametrize(("keys", "changed"), CASES, ids=[keys for keys, _ in CASES])
def test_a_key_changes_what_it_should_and_only_that(
    sound: Mapping[str, Any], keys: str, changed: set[str]
) -> None:
    given = dict(pair.split("=") for pair in FIXED.split("&")) | dict([keys.split("=")])
    with simulated("&".join(f"{key}={text}" for key, text in given.items())) as run:
        assert differing(sound, script(run)) == changed


def test_the_frequency_is_in_hertz() -> None:
    with simulated("frequency_hz=1030") as run:
        run.present(B)
        run.listen(1.0)
        pulses = run.pulses(2.0)
        assert pulses is not None
        assert pulses.frequency_hz == pytest.approx(1030.0, rel=55e-6)


def test_the_offset_is_added_to_the_width() -> None:
    widths = []
    for offset in (0, 12):
        with simulated(f"pulse_offset_us={offset}") as run:
            run.present(B)
            run.listen(1.0)
            pulses = run.pulses()
            assert pulses is not None
            widths.append(float(np.mean(pulses.widths_us)))
    assert widths[1] - widths[0] == pytest.approx(12.0, abs=0.02)


# IEC 61851-1:2017 Table A.7: duty in per cent for a current in ampere.
@pytest.mark.parametrize(
    ("ampere", "percent"),
    [(6, 10.0), (16, 26.667), (32, 53.333), (51, 85.0), (63, 89.2), (80, 96.0)],
)
def test_the_duty_offers_the_set_current(ampere: float, percent: float) -> None:
    with simulated(f"rated_a=80&set_a={ampere}") as run:
        run.present(B)
        run.listen(1.0)
        pulses = run.pulses()
        assert pulses is not None
        # Edges of some microseconds shift the crossing of 0 V by less than 0.05 points.
        assert pulses.duty_percent == pytest.approx(percent, abs=0.05)


def test_a_source_of_1150_ohm_divides_as_it_should() -> None:
    with simulated("source_ohm=1150&voc_high_v=12") as run:
        run.present(B)
        run.listen(0.8)
        # 0.70 + 11.3 x 2740 / 3890, by hand.
        assert run.plateaus()[0] == pytest.approx(8.659, abs=VOLT_TOLERANCE)


def test_drift_is_in_ppm_per_second() -> None:
    with simulated("drift_ppm_per_s=500&frequency_hz=1000") as run:
        run.present(B)
        run.listen(1.0)
        before = run.pulses()
        run.listen(7.0)
        after = run.pulses()
        assert before is not None
        assert after is not None
        # 8 s from the middle of one second to that of the other.
        change = after.frequency_hz / before.frequency_hz - 1
        assert change == pytest.approx(8 * 500e-6, rel=0.02)


def test_hum_is_an_amplitude_at_50_hz() -> None:
    with simulated("hum_v=0.5&noise_v=0") as run:
        volts = run.volts(1.0)
        assert np.std(volts) == pytest.approx(0.5 / math.sqrt(2), rel=0.03)
        power = np.abs(np.fft.rfft(volts - np.mean(volts)))
        interval_s = 832 / 16e6
        assert np.argmax(power) / (volts.size * interval_s) == pytest.approx(50.0, abs=1.0)


def test_noise_is_a_standard_deviation() -> None:
    with simulated("noise_v=0.3") as run:
        assert np.std(run.volts(0.5)) == pytest.approx(0.3, rel=0.05)


def test_jitter_is_the_deviation_of_each_edge() -> None:
    with simulated("jitter_us=1.0&noise_v=0") as run:
        run.present(B)
        run.listen(1.0)
        pulses = run.pulses(2.0)
        assert pulses is not None
        # Two independent edges to a width.
        assert np.std(pulses.widths_us) == pytest.approx(math.sqrt(2), rel=0.1)


@pytest.mark.parametrize("cs_pf", [300.0, 2700.0])
def test_capacitance_takes_from_the_width(cs_pf: float) -> None:
    with simulated(f"cs_pf={cs_pf}&frequency_hz=1000&generator_rise_us=2") as run:
        run.present(C)
        run.listen(1.0)
        pulses = run.pulses()
        assert pulses is not None
        # With 400 pF of cable 3.1 nF in all: -1.0 us in C, recomputed for IEC 61851-1:2017 A.2.
        lost = 266.667 - float(np.mean(pulses.widths_us))
        assert lost == pytest.approx(0.96 if cs_pf > 1000 else 0.22, abs=0.12)


@pytest.mark.parametrize("rise_us", [0.5, 15.0])
def test_the_generator_rises_as_told(rise_us: float) -> None:
    with simulated(f"generator_rise_us={rise_us}&cs_pf=0&outlet=socket") as run:
        run.present(Setting(Rung.B, cable=CableCode.A32))
        run.listen(1.0)
        volts = run.volts(3.0)
        between = (volts > -10.5) & (volts < 7.5)
        # 1000 rises and falls a second; a ramp of rise / 0.8, of which so much lies between.
        time_us = 1e6 * np.mean(between) / 2000
        assert time_us == pytest.approx(rise_us / 0.8 * 18 / 21, abs=0.5)


def test_a_socket_needs_a_plug_and_obeys_its_code() -> None:
    def duty(keys: str, code: CableCode) -> float | None:
        with simulated(f"outlet=socket&rated_a=32&{keys}") as run:
            run.present(Setting(Rung.B, cable=code))
            run.listen(1.0)
            pulses = run.pulses(0.5)
            return pulses.duty_percent if pulses else None

    # IEC 61851-1:2017 Tables B.2 and A.7: 13 A is 21.67 %, 20 A 33.33 %, 32 A 53.33 %.
    assert duty("", CableCode.A13) == pytest.approx(21.67, abs=0.05)
    assert duty("", CableCode.A20) == pytest.approx(33.33, abs=0.05)
    assert duty("", CableCode.A32) == pytest.approx(53.33, abs=0.05)
    assert duty("", CableCode.A63) == pytest.approx(53.33, abs=0.05)
    assert duty("obeys_cable=no", CableCode.A13) == pytest.approx(53.33, abs=0.05)
    assert duty("", CableCode.OPEN) is None
    assert duty("", CableCode.SHORT) is None


# IEC 61851-1:2017 Table A.7: 0.6 A a point.
@pytest.mark.parametrize(
    ("keys", "code", "ampere"),
    [
        ("cable_13_a=14", CableCode.A13, 14.0),
        ("cable_20_a=21", CableCode.A20, 21.0),
        ("cable_32_a=33", CableCode.A32, 33.0),
        ("cable_63_a=40", CableCode.A63, 40.0),
        ("offers_without_code=yes", CableCode.OPEN, 50.0),
        ("offers_shorted=yes", CableCode.SHORT, 50.0),
    ],
)
def test_a_code_may_be_misread(keys: str, code: CableCode, ampere: float) -> None:
    with simulated(f"outlet=socket&rated_a=50&{keys}") as run:
        run.present(Setting(Rung.B, cable=code))
        run.listen(1.0)
        pulses = run.pulses(0.5)
        assert pulses is not None
        assert 0.6 * pulses.duty_percent == pytest.approx(ampere, abs=0.05)


# Borders of the simulated charger on nominal ladders: 8.98 V in B, 6.00 V in C, 2.93 V in D at
# 12 V and 1 kohm (IEC 61851-1:2017 Table A.9).
@pytest.mark.parametrize(
    ("keys", "setting", "mains"),
    [
        ("border_ab_v=8.7", B, False),
        ("border_bc_v=9.2", B, True),
        ("border_bc_v=5.8", C, False),
        ("border_cd_v=6.2", C, False),
        ("border_cd_v=2.7", D, True),
        ("border_de_v=3.2&ventilation=allow", D, False),
    ],
)
def test_borders_tell_one_state_from_the_next(keys: str, setting: Setting, mains: bool) -> None:
    with simulated(f"voc_high_v=12&source_ohm=1000&{keys}") as run:
        if setting != B:
            run.present(B)
            run.listen(1.0)
        run.present(setting)
        run.listen(2.0)
        assert mains_seen(run) == mains


def test_rails_sag_under_the_load_that_they_are_told_for() -> None:
    with simulated("high_sag_b1_v=0.5&low_sag_c_v=0.4&low_sag_d_v=0.6&voc_high_v=12") as run:
        run.hand.change(offers="no")
        run.present(B)
        # 0.70 + 10.80 x 2740 / 3744, by hand: the source is 1004 ohm.
        assert run.plateaus()[0] == pytest.approx(8.604, abs=VOLT_TOLERANCE)
        run.hand.change(offers="yes")
        run.listen(1.0)
        assert run.plateaus() == pytest.approx((8.970, -11.94), abs=VOLT_TOLERANCE)
        run.present(C)
        assert run.plateaus()[1] == pytest.approx(-11.54, abs=VOLT_TOLERANCE)
        run.present(D)
        assert run.plateaus()[1] == pytest.approx(-11.34, abs=VOLT_TOLERANCE)


def test_pulses_may_change_in_c() -> None:
    with simulated("frequency_in_c_hz=4&pulse_offset_in_c_us=9&frequency_hz=1000") as run:
        run.present(B)
        run.listen(1.0)
        in_b = run.pulses()
        run.present(C)
        run.listen(1.0)
        in_c = run.pulses()
        assert in_b is not None
        assert in_c is not None
        assert in_c.frequency_hz - in_b.frequency_hz == pytest.approx(4.0, abs=0.06)
        wider = float(np.mean(in_c.widths_us)) - float(np.mean(in_b.widths_us))
        # 26.67 % of a period that is 4 us shorter, and some of the slower edge of C.
        assert wider == pytest.approx(9.0 - 1.06, abs=0.4)


def test_the_error_of_the_width_grows_towards_low_set_currents() -> None:
    found = []
    for ampere in (16, 11, 6):
        with simulated(f"low_set_error_us=10&frequency_hz=1000&set_a={ampere}") as run:
            run.present(B)
            run.listen(1.0)
            pulses = run.pulses()
            assert pulses is not None
            found.append(float(np.mean(pulses.widths_us)) - ampere / 0.6 * 10.0)
    assert found[1] - found[0] == pytest.approx(5.0, abs=0.1)
    assert found[2] - found[0] == pytest.approx(10.0, abs=0.1)


def test_a_lost_return_has_a_delay_of_its_own() -> None:
    with simulated("pe_open_ms=150&unplug_ms=20") as run:
        run.charge()
        off = run.mains_off_after(Setting(Rung.C, pe_closed=False), 1.0)
        assert max(off.values()) == pytest.approx(0.150, abs=0.006)
        assert run.plateaus()[0] == pytest.approx(12.05, abs=VOLT_TOLERANCE)


def test_welded_contacts_stay_closed() -> None:
    with simulated("welded=yes") as run:
        run.present(B)
        run.listen(2.0)
        assert not mains_seen(run)
        run.present(C)
        run.listen(1.5)
        run.present(OPEN)
        run.listen(5.0)
        assert len(run.events(EventKind.MAINS_ON)) == 3
        assert run.events(EventKind.MAINS_OFF) == []


def test_mains_in_b_comes_without_being_asked() -> None:
    with simulated("mains_in_b=yes") as run:
        assert run.mains_on_after(B, 2.0).keys() == {1, 2, 3}
        assert max(run.mains_off_after(OPEN, 1.0).values()) == pytest.approx(0.035, abs=0.006)


@pytest.mark.parametrize(
    ("shift", "pulses"), [("0", True), ("1.2", True), ("1.6", False), ("-1.6", True)]
)
def test_shifted_thresholds_take_one_state_for_another(shift: str, pulses: bool) -> None:
    # 8.98 V in B: a border of 7.5 + 1.6 V takes it for C, and with a diode closes mains there;
    # a border of 10.5 - 1.6 V takes it for A.
    with simulated(f"high_threshold_shift_v={shift}&voc_high_v=12") as run:
        run.present(B)
        run.listen(2.0)
        assert (run.pulses(0.5) is not None) == (shift != "-1.6")
        assert mains_seen(run) == (not pulses)


def test_a_late_duty_change_follows_the_lag() -> None:
    with simulated("duty_lag_s=3&rated_a=32") as run:
        run.present(B)
        run.listen(1.0)
        start = run.now
        run.hand.set_current(16)
        heard = run.listen(6.0)
        assert heard
        times, widths = widths_by_time(run, start)
        changed = times[np.argmax(widths < 400)]
        assert (changed - start) / 16e6 == pytest.approx(3.0, abs=0.15)
        assert np.median(widths[-100:]) == pytest.approx(266.6, abs=0.5)


def widths_by_time(run: SimulatedRun, start: int) -> tuple[Any, Any]:
    """When each pulse since `start` began, in ticks, and its width in microseconds."""
    times, rising = edges(run.heard)
    times, rising = times[times > start], rising[times > start]
    first = int(np.argmax(rising))
    ups, downs = times[first::2], times[first + 1 :: 2]
    return ups[: downs.size], (downs - ups[: downs.size]) / 16


def test_each_key_is_tried_somewhere_here() -> None:
    text = Path(__file__).read_text("utf-8")
    elsewhere = {"frame_loss", "byte_error", "unplug_after_s", "speed"}  # test_simulated_port
    elsewhere |= {"applied_v", "applied_hz", "applied_width_us"}  # test_simulated_self_check
    elsewhere |= {"digital_mains", "withdraw_s", "pwm_returns_s", "pwm_off_s"}  # charger_sessions
    elsewhere |= {"latches", "f_ms", "toggle_s", "open_c1_ms", "duty_step_s", "mains_returns_s"}
    elsewhere |= {"restart_mains", "mains_without_offer", "one_phase_below_a"}
    elsewhere |= {"board_id", "dither_v", "temperature_c", "clock_ppm", "missing_code", "bow_v"}
    missing = {key for key in KEYS if f"{key}=" not in text and key not in elsewhere}
    assert missing == set()


def test_the_readme_names_every_key() -> None:
    text = (Path(__file__).parents[2] / "README.md").read_text(encoding="utf-8")
    assert [key for key in KEYS if f"`{key}`" not in text] == []
