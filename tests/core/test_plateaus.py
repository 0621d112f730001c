"""Plateaus: what has settled, pulse by pulse, spikes out, and what a converter step leaves."""

import numpy as np
import pytest

from pilotsignal.capture import Capture, Gap
from pilotsignal.edges import find_edges
from pilotsignal.levels import find_levels
from pilotsignal.plateaus import (
    Margins,
    Plateau,
    Pulses,
    plateau,
    settled_pulses,
    steady,
    step_bound,
)

MARGINS = Margins(4, 2)


def wave(noise: float, seed: int = 1, *, pulses: int = 100) -> np.ndarray:
    """3 high for 30 samples, -5 for 70; the first two samples of each pulse not settled."""
    rng = np.random.default_rng(seed)
    one = np.concatenate((np.full(70, -5.0), np.full(30, 3.0)))
    one[[0, 1, 70, 71]] = (-3.0, -4.5, 1.0, 2.5)
    return np.tile(one, pulses) + noise * rng.standard_normal(100 * pulses)


def pulses_of(samples: np.ndarray, margins: Margins = MARGINS) -> Pulses:
    capture = Capture.from_volts(samples, 1e-5, "made up")
    return settled_pulses(capture, find_edges(samples, find_levels(samples)), margins)


def level(samples: np.ndarray, high: bool) -> Plateau:
    found = plateau(samples, pulses_of(samples), high)
    assert found is not None
    return found


def test_the_mean_of_what_settled() -> None:
    samples = wave(0.0)
    high, low = level(samples, True), level(samples, False)
    assert (high.value, low.value) == (3.0, -5.0)
    # The first edge rises at 70; the last pulse has no end, the first low pulse no beginning.
    assert high.samples == 99 * 24
    assert low.samples == 99 * 64
    assert (high.outliers, high.sigma, high.u) == (0, 0.0, 0.0)


def test_uncertainty_is_that_of_a_mean() -> None:
    """The scatter is sigma / sqrt(n); over 300 seeds it is known to 4 %, four times allowed."""
    off = [level(wave(0.1, seed), True).value - 3.0 for seed in range(300)]
    one = level(wave(0.1), True)
    assert one.sigma == pytest.approx(0.1, rel=0.05)
    # Whichever is larger of two estimates, of single samples and of pulses: never far below.
    assert 0.95 * 0.1 / one.samples**0.5 <= one.u <= 1.4 * 0.1 / one.samples**0.5
    assert np.std(off) == pytest.approx(0.1 / one.samples**0.5, rel=0.16)


def test_a_pulse_with_a_spike_is_left_out() -> None:
    samples = wave(0.02)
    samples[100 * 10 + 85] = 11.0
    found = level(samples, True)
    assert found.outliers == 1
    assert found.means.size == 98
    assert found.value == pytest.approx(3.0, abs=4 * 0.02 / found.samples**0.5)


def test_slow_change_shows_in_the_uncertainty() -> None:
    samples = wave(0.01)
    samples += 0.2 * np.sin(np.arange(samples.size) * 2 * np.pi / 1999)
    found = level(samples, True)
    assert found.u > 5 * 0.01 / found.samples**0.5
    assert found.dof == found.means.size - 1


def test_short_pulses_keep_their_middle_and_none_is_none() -> None:
    samples = np.tile(np.array([0, 0, 0, 9, 9, 9], np.int16), 50)
    wide = pulses_of(samples, Margins(40, 20))
    found = plateau(samples, wide, True)
    assert found is not None
    assert (found.value, found.means.size) == (9.0, 49)
    assert plateau(samples[:4], pulses_of(samples[:4]), True) is None


def test_steady_levels() -> None:
    rng = np.random.default_rng(2)
    samples = 9.0 + 0.05 * rng.standard_normal(10_000)
    samples[[5, 50, 5000]] = (14.0, -14.0, 0.0)
    found = steady(samples)
    assert found.outliers == 3
    assert found.value == pytest.approx(9.0, abs=4 * 0.05 / 100)
    assert found.u == pytest.approx(0.05 / 100, rel=0.15)


def test_a_steady_code_has_no_scatter() -> None:
    found = steady(np.full(1000, 512, np.int16))
    assert (found.value, found.u, found.codes, found.outliers) == (512.0, 0.0, 1, 0)


@pytest.mark.parametrize("noise", [0.0, 0.1, 0.2, 0.3, 0.5, 0.8, 1.5])
def test_what_a_converter_step_leaves(noise: float) -> None:
    """Rounding error of a mean over all positions of the level between two codes."""
    worst = -1.0
    bounds: list[float] = []
    for share in np.linspace(0.0, 1.0, 21):
        rng = np.random.default_rng(round(1000 * share) + round(100 * noise))
        exact = 500.0 + share + noise * rng.standard_normal(40_000)
        found = steady(np.rint(exact).astype(np.int16))
        bound = step_bound(1.0, found)
        off = abs(found.value - 500.0 - share)
        # The bound comes from the codes' own scatter, which the rounding changes as well.
        assert off <= 1.5 * bound + 4 * max(noise, 0.3) / 200.0
        worst = max(worst, off)
        bounds.append(bound)
    assert max(bounds) <= 0.5
    if noise >= 0.8:
        assert max(bounds) < 0.01  # noise of half a step and more averages it out
    if noise == 0.0:
        assert worst == pytest.approx(0.5, abs=0.03)


def test_missing_codes_leave_half_their_distance() -> None:
    rng = np.random.default_rng(2)
    found = steady((2 * rng.integers(250, 253, 10_000)).astype(np.int16))
    assert found.code_gap == 2.0
    assert step_bound(1.0, found) == 1.0
    assert step_bound(0.0, found) == 0.0


def test_a_sample_on_an_edge_beside_missing_ones_is_no_spike() -> None:
    """Low, samples lost with a whole high pulse in them, then one sample on its end."""
    samples = wave(0.02)
    begin = 70 + 100 * 40 - 20
    lost = np.delete(samples, slice(begin, begin + 50))
    lost[begin] = -1.5  # on the falling edge, below the middle
    capture = Capture.from_volts(lost, 1e-5, "made up").recorded(gaps=[Gap(begin, 50)])
    edges = find_edges(lost, find_levels(lost), capture.gaps)
    low = plateau(lost, settled_pulses(capture, edges, MARGINS), False)
    assert low is not None
    assert low.outliers == 0
    assert low.value == pytest.approx(-5.0, abs=0.002)
    # The same sample with nothing missing beside it is one.
    stray = wave(0.02)
    stray[70 + 100 * 40 - 20] = -1.5
    assert level(stray, False).outliers == 1
