"""Where the pilot leaves its old level: the truth over seeds, duties and levels, and in a gap."""

from dataclasses import replace

import numpy as np
import pytest

from pilotsignal.calibration import CRYSTAL_50_PPM, VoltCalibration
from pilotsignal.capture import Capture, Gap
from pilotsignal.response import Instant, Window, elapsed, leaving

TICK_S = 62.5e-9
INTERVAL = 208  # ticks: 77 kS/s
B = Window(8.0, 10.0)
PLAIN = VoltCalibration("plain", 1.0, 0.0)


def change(
    at_s: float, new_v: float, *, seed: int = 1, duty: float = 0.3, first_tick: int = 5_000_000
) -> Capture:
    """PWM whose high level goes from 9 V to `new_v` at `at_s`; 10 mV noise, 50 ms."""
    rng = np.random.default_rng(seed)
    time = np.arange(int(0.05 / (INTERVAL * TICK_S))) * INTERVAL * TICK_S
    phase = (time * 1000.3 + rng.uniform()) % 1.0
    volts = np.where(phase < duty, np.where(time < at_s, 9.0, new_v), -12.0)
    volts += 0.01 * rng.standard_normal(time.size)
    capture = Capture(volts, INTERVAL * TICK_S, "made up", PLAIN)
    return capture.recorded(first_tick=first_tick)


def present(instant: Instant | None) -> Instant:
    assert instant is not None
    return instant


@pytest.mark.parametrize("new_v", [6.0, 3.0, 12.0, 0.0])
@pytest.mark.parametrize("duty", [0.1, 0.3, 0.9])
def test_the_true_instant_lies_within_the_doubt(new_v: float, duty: float) -> None:
    for seed in range(30):
        at_s = 0.02 + 0.001 * np.random.default_rng((9, seed)).uniform()
        found = present(leaving(change(at_s, new_v, seed=seed, duty=duty), B, TICK_S))
        true = 5_000_000 + at_s / TICK_S
        assert abs(found.tick - true) <= found.doubt
        # Hidden for the low part of a period at most, and what is not settled around it.
        assert 2 * found.doubt * TICK_S <= (1 - duty) * 1e-3 + 8 * INTERVAL * TICK_S
        assert found.bounce * TICK_S == pytest.approx(0.5e-3)


def test_samples_before_a_tick_are_not_looked_at() -> None:
    """An earlier change (9 to 6 V and back) is passed over; the later one is found."""
    volts = change(0.03, 6.0).samples.copy()
    volts[(np.arange(volts.size) < 800) & (volts > 5.0)] = 6.0
    capture = replace(change(0.03, 6.0), samples=volts)
    after = 5_000_000 + 0.02 / TICK_S
    found = present(leaving(capture, B, TICK_S, after))
    assert abs(found.tick - (5_000_000 + 0.03 / TICK_S)) <= found.doubt


def test_missing_samples_keep_the_time_and_widen_the_doubt() -> None:
    whole = change(0.02, 6.0)
    lost = slice(1400, 1700)  # the change is at sample 1538
    kept = np.delete(whole.samples, np.r_[lost])
    holed = replace(whole, samples=kept, gaps=(Gap(1400, 300),))
    found, better = present(leaving(holed, B, TICK_S)), present(leaving(whole, B, TICK_S))
    assert abs(found.tick - (5_000_000 + 0.02 / TICK_S)) <= found.doubt
    assert found.doubt > better.doubt
    assert found.doubt >= 0.5 * 300 * INTERVAL


def test_a_known_clock_error_is_taken_off() -> None:
    slow = replace(CRYSTAL_50_PPM, correction=1e-3)
    span = (Instant(0, 0), Instant(1_600_000, 0))
    # True rate 0.1 % above the nominal one: the same ticks took less time.
    assert elapsed("t", "ms", span, TICK_S, slow).value == pytest.approx(100.0 / 1.001)
