"""The two populations of a capture, or the one."""

import numpy as np
import pytest

from pilotsignal.levels import find_levels


def square(high: float, low: float, noise: float, *, count: int = 20_000) -> np.ndarray:
    """30 % high, 997 samples a period so that nothing is locked."""
    rng = np.random.default_rng(5)
    place = np.arange(count) * 10 % 997
    return np.where(place < 299, high, low) + noise * rng.standard_normal(count)


@pytest.mark.parametrize("noise", [0.0, 0.01, 0.3])
@pytest.mark.parametrize(("high", "low"), [(12.0, -12.0), (9.0, -12.0), (3.0, -12.0), (0.5, 0.0)])
def test_two_populations(high: float, low: float, noise: float) -> None:
    if noise > (high - low) / 20:
        noise = (high - low) / 20
    levels = find_levels(square(high, low, noise))
    assert levels.two
    # The median of n normal values scatters by 1.2533 sigma / sqrt(n); four times that.
    assert levels.high == pytest.approx(high, abs=5.1 * noise / 6000**0.5 + 1e-12)
    assert levels.low == pytest.approx(low, abs=5.1 * noise / 14_000**0.5 + 1e-12)
    assert levels.noise == pytest.approx(noise, rel=0.05, abs=1e-12)
    assert levels.swing == levels.high - levels.low
    assert levels.at(0.5) == pytest.approx((high + low) / 2, abs=0.02)
    assert levels.settled > 0.99


def test_a_level_lies_nearer_than_a_histogram_mode_would() -> None:
    """A mode over 100 bins of +/- 12 V may be off by half a bin, 0.12 V (arithmetic)."""
    offs = []
    for seed in range(20):
        high = 12.0 - 0.24 * seed / 20
        offs.append(abs(find_levels(square(high, -12.0, 0.02)).high - high))
    assert max(offs) < 0.002


def test_one_population() -> None:
    rng = np.random.default_rng(3)
    for samples in (np.full(1000, 9.0), 9.0 + 0.02 * rng.standard_normal(5000)):
        levels = find_levels(samples)
        assert not levels.two
        assert levels.low == levels.high == pytest.approx(9.0, abs=0.002)
        assert levels.swing == 0.0


def test_two_neighbouring_codes_are_one_level() -> None:
    rng = np.random.default_rng(3)
    codes = rng.integers(511, 513, 5000).astype(np.int16)
    levels = find_levels(codes)
    assert not levels.two
    assert levels.step == 1.0


def test_noise_alone_is_no_waveform() -> None:
    assert not find_levels(np.random.default_rng(2).standard_normal(20_000)).two


def test_a_spike_is_no_population() -> None:
    samples = np.full(5000, 9.0)
    samples[[7, 70, 700]] = (15.0, -15.0, 14.0)
    levels = find_levels(samples)
    assert not levels.two
    assert levels.high == 9.0


def test_the_step_of_stated_volts_is_found() -> None:
    volts = np.rint(square(12.0, -12.0, 0.05) / 0.04) * 0.04
    assert find_levels(volts).step == pytest.approx(0.04, rel=1e-6)
    assert find_levels(square(12.0, -12.0, 0.05)).step == 0.0


def test_a_triangle_is_not_settled() -> None:
    triangle = np.abs(np.arange(20_000) % 100 - 50.0)
    assert find_levels(triangle).settled < 0.5


def test_a_long_record_is_seen_all_over() -> None:
    """Steady for its first two thirds: only a look at the whole record finds the waveform."""
    samples = np.full(3_000_000, -12.0)
    samples[2_000_000:] = square(12.0, -12.0, 0.02, count=1_000_000)
    levels = find_levels(samples)
    assert levels.two
    assert levels.high == pytest.approx(12.0, abs=0.01)


def test_one_sample() -> None:
    levels = find_levels(np.array([5], np.int16))
    assert not levels.two
    assert (levels.low, levels.noise) == (5.0, 0.0)
