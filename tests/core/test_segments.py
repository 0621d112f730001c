"""What happens inside a record is told: kind, place, size."""

from collections import Counter
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from changing_waves import (
    Before,
    Setting,
    comb_of,
    drifting,
    edges_of,
    recorded,
    stepped,
    stepped_edges,
    two_levels,
    wave,
    with_burst,
)

from pilotsignal.capture import Capture, Gap
from pilotsignal.changes import CODES, Change
from pilotsignal.notices import CODES as NOTICE_CODES
from pilotsignal.segments import changes_of, changes_of_edges, found_in, part_of, segments_of
from pilotsignal.synth import Sampling, synthesise

FAST = Setting(interval_s=1e-6, count=200_000)


def changes(capture: Capture) -> list[Change]:
    found = found_in(capture)
    assert found is not None
    return changes_of(capture, found)


def only(capture: Capture, code: str) -> Change:
    found = changes(capture)
    assert [change.code for change in found] == [code], [change.text for change in found]
    return found[0]


def close(change: Change, truth: float) -> None:
    """Within the stated U, with room for the 1 in 20 that lies outside."""
    assert change.size is not None
    assert abs(change.size.value - truth) <= 2.0 * change.size.expanded()


def test_a_steady_record_has_nothing_to_tell() -> None:
    assert changes(recorded(wave(), Setting())) == []
    assert changes(recorded(wave(), FAST)) == []


@pytest.mark.parametrize("width_us", [-40.0, -5.0, 5.0, 12.0, 400.0])
def test_a_step_of_the_duty(width_us: float) -> None:
    capture, at = stepped(Before(width_us=width_us))
    change = only(capture, "duty-step")
    assert change.start_s <= at <= change.end_s
    # A period is 99.93 samples: within 14 of them no edge meets another sample by half a sample.
    assert change.end_s - change.start_s < (0.006 if abs(width_us) > 10 else 0.035)
    close(change, width_us)


def test_a_step_there_and_back() -> None:
    first, at = stepped(Before(width_us=8.0), FAST)
    back = first.samples.copy()
    later = recorded(wave(), FAST).samples
    cut = int((at + 0.06 / 1.0007) / FAST.interval_s)  # a whole number of periods later
    back[cut:] = later[cut:]
    found = changes(replace(first, samples=back))
    assert [change.code for change in found] == ["duty-step", "duty-step"]
    close(found[0], 8.0)
    close(found[1], -8.0)


def test_a_slow_drift_of_the_duty() -> None:
    close(only(drifting(8.0, Setting()), "duty-drift"), 8.0)
    close(only(drifting(-1.0, FAST), "duty-drift"), -1.0)


@pytest.mark.parametrize("step_hz", [-3.0, 1.0, 20.0])
def test_a_step_of_the_frequency(step_hz: float) -> None:
    capture, at = stepped(Before(frequency_hz=step_hz))
    change = only(capture, "frequency-step")
    assert change.start_s - 0.002 <= at <= change.end_s + 0.002
    close(change, step_hz)


def test_a_slow_drift_of_the_frequency() -> None:
    """The generator's rate is known in closed form: 1000.7 Hz times 500e-6 a second."""
    capture = recorded(replace(wave(), drift_ppm_per_s=500.0), replace(FAST, count=500_000))
    change = only(capture, "frequency-drift")
    close(change, 1000.7 * 500e-6 * 0.5)


@pytest.mark.parametrize("lost_us", [30.0, 330.0, 480.0])
def test_samples_that_nobody_reported_missing(lost_us: float) -> None:
    capture, at = stepped(Before(lost_us=lost_us))
    change = only(capture, "missing-samples")
    assert not change.reported
    assert change.start_s <= at <= change.end_s
    close(change, lost_us)


def test_reported_gaps_are_told_and_change_nothing() -> None:
    sampling = Sampling(1e-5, 20_000, noise_v=0.02, gaps=(Gap(5000, 333), Gap(9000, 4567)))
    found = changes(synthesise(wave(), sampling)[0])
    assert [change.reported for change in found] == [True, True]
    assert segments_of(found, 0.25, lambda *_: {}).notices() == []


@pytest.mark.parametrize(("volts", "hertz"), [(0.02, 50.0), (0.3, 60.0), (0.05, 100.0)])
def test_hum_and_its_harmonics(volts: float, hertz: float) -> None:
    sampling = Sampling(1e-5, 20_000, noise_v=0.02, hum_v=volts, hum_hz=hertz)
    found = changes(synthesise(wave(), sampling)[0])
    assert {change.code for change in found} == {"hum"}
    assert all(f"{hertz:.0f} Hz" in change.text for change in found)
    for change in found:
        close(change, volts)


@pytest.mark.parametrize("noise_v", [0.1, 0.5, 2.0])
def test_a_burst_of_noise(noise_v: float) -> None:
    change = only(with_burst(noise_v, (0.08, 0.09), Setting()), "noise-burst")
    assert change.start_s == pytest.approx(0.08, abs=0.0011)
    assert change.end_s == pytest.approx(0.09, abs=0.0011)


def test_another_level_from_some_moment_on() -> None:
    """B to C: 8.99 to 6.01 V by the circuit."""
    setting = Setting()
    change = only(two_levels(setting), "level-step")
    assert change.start_s - 0.001 <= 0.1 <= change.end_s + 0.001
    close(change, wave(state="C").high_v - wave().high_v)


def test_a_slow_drift_of_the_levels() -> None:
    sampling = Sampling(1e-5, 20_000, noise_v=0.02, level_drift_v_per_s=0.5)
    found = changes(synthesise(wave(), sampling)[0])
    assert [change.code for change in found] == ["level-drift", "level-drift"]
    for change in found:
        close(change, 0.5 * 0.2)


def test_comparator_edges_tell_a_step_of_two_ticks() -> None:
    record, at = stepped_edges(0.125, 1.0)
    found = changes_of_edges(record, comb_of(record), "edges")
    assert [change.code for change in found] == ["duty-step"]
    assert found[0].start_s <= at <= found[0].end_s
    close(found[0], 0.125)


def test_comparator_edges_tell_a_drift_of_the_frequency() -> None:
    record = edges_of(replace(wave(), drift_ppm_per_s=5.0), 2.0)
    found = changes_of_edges(record, comb_of(record), "edges")
    assert [change.code for change in found] == ["frequency-drift"]
    close(found[0], 1000.7 * 5e-6 * 2.0)


def test_segments_carry_values_of_their_own() -> None:
    capture, at = stepped(Before(width_us=40.0))
    asked: list[tuple[float, float]] = []

    def measured(start_s: float, end_s: float) -> dict[str, None]:
        asked.append((start_s, end_s))
        return {}

    steady = segments_of(changes(capture), capture.duration_s, measured)
    assert len(asked) == len(steady.segments) == 2
    assert steady.segments[0].end_s <= at <= steady.segments[1].start_s
    assert [segment.what for segment in steady.segments] == ["steady", "steady"]
    assert [notice.code for notice in steady.notices()] == ["duty-step"]


def test_nothing_is_measured_again_where_nothing_steps() -> None:
    def refused(*_: float) -> dict[str, None]:
        raise AssertionError("a steady record was measured in parts")

    for capture in (recorded(wave(), Setting()), drifting(8.0, Setting())):
        steady = segments_of(changes(capture), capture.duration_s, refused)
        assert len(steady.segments) == 1
        assert steady.segments[0].end_s == capture.duration_s


def test_a_part_of_a_capture_keeps_its_gaps() -> None:
    samples = np.arange(100, dtype=np.float64)
    capture = replace(Capture.from_volts(samples, 1e-3, "count"), gaps=(Gap(30, 10), Gap(60, 5)))
    part = part_of(capture, 0.020, 0.080)
    # 20 ms is sample 20; 80 ms lies 15 missing samples later than sample 65.
    assert part.samples[0] == 20
    assert part.samples[-1] == 64
    assert part.gaps == (Gap(10, 10), Gap(40, 5))
    assert part.duration_s == pytest.approx(0.060)


def paused() -> Capture:
    """No PWM from 50 to 120 ms: the high level stays."""
    capture = recorded(wave(), Setting())
    samples = capture.samples.copy()
    rng = np.random.default_rng(4)
    high = (wave().high_v - capture.calibration.offset_v) / capture.calibration.gain_v
    samples[5000:12_000] = np.rint(high + rng.normal(0.0, 2.7, 7000))
    return replace(capture, samples=samples)


def test_a_stretch_without_pwm() -> None:
    found = changes(paused())
    assert [change.code for change in found] == ["pwm-pause"]
    assert found[0].start_s == pytest.approx(0.050, abs=0.001)
    assert found[0].end_s == pytest.approx(0.120, abs=0.001)
    parts = segments_of(found, 0.2, lambda *_: {}).segments
    assert [part.what for part in parts] == ["steady", "pwm-pause", "steady"]


MADE: dict[str, Callable[[], Capture]] = {
    "duty-step": lambda: stepped(Before(width_us=40.0))[0],
    "duty-drift": lambda: drifting(8.0, Setting()),
    "frequency-step": lambda: stepped(Before(frequency_hz=3.0))[0],
    "frequency-drift": lambda: recorded(replace(wave(), drift_ppm_per_s=2000.0), FAST),
    "level-step": lambda: two_levels(Setting()),
    "level-drift": lambda: synthesise(
        wave(), Sampling(1e-5, 20_000, noise_v=0.02, level_drift_v_per_s=0.5)
    )[0],
    "noise-burst": lambda: with_burst(0.5, (0.08, 0.09), Setting()),
    "pwm-pause": paused,
    "hum": lambda: synthesise(wave(), Sampling(1e-5, 20_000, noise_v=0.02, hum_v=0.3))[0],
    "missing-samples": lambda: stepped(Before(lost_us=330.0))[0],
}


@pytest.mark.parametrize("code", MADE)
def test_each_change_has_a_sentence(code: str) -> None:
    found = changes(MADE[code]())
    assert code in Counter(change.code for change in found)
    for change in found:
        assert change.text[0].isupper()
        assert change.text.endswith(".")
        assert change.start_s <= change.end_s


def test_every_code_is_made_here_and_is_a_notice() -> None:
    assert set(MADE) == CODES
    assert CODES <= NOTICE_CODES
