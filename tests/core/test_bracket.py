"""Periods and widths that fit between the samples hold the true ones, whatever the edges do."""

import numpy as np
import pytest

from pilotsignal.bracket import Bracket, PeriodRange, period_range
from pilotsignal.timing import Comb, fit_comb


def between_samples(
    period: float, width: float, phase: float, cycles: int, jitter: float = 0.0
) -> tuple[Comb, PeriodRange]:
    rng = np.random.default_rng(4)
    number = np.arange(cycles)
    sides = []
    for at in (phase, phase + width):
        true = at + period * number + jitter * rng.standard_normal(cycles)
        sides.append(Bracket(np.floor(true), np.floor(true) + 1.0, number))
    comb = fit_comb(*[0.5 * (side.before + side.after) for side in sides])
    assert comb is not None
    return comb, period_range(comb, sides[0], sides[1])


@pytest.mark.parametrize("period", [19.2307692, 38.4615, 76.5, 99.93, 100.0, 499.0137])
@pytest.mark.parametrize("cycles", [3, 10, 200])
def test_the_truth_lies_inside(period: float, cycles: int) -> None:
    rng = np.random.default_rng(round(period * 1000) + cycles)
    for _ in range(20):
        width = float(rng.uniform(2.0, period - 2.0))
        comb, found = between_samples(period, width, float(rng.uniform(2.0, period)), cycles)
        tiny = 1e-6
        assert abs(found.period - period) <= found.bound + tiny
        offset = comb.period * round((found.width - width) / comb.period)
        assert abs(found.width - width - offset) <= found.width_bound + tiny
        # Never wider than one sample at each end of the record.
        assert found.bound <= 1.0 / (cycles - 1) + tiny
        assert found.width_bound <= 1.0 + tiny


def test_locked_sampling_leaves_a_whole_sample_open() -> None:
    _, found = between_samples(100.0, 30.3, 5.2, 1000)
    assert found.width_bound == pytest.approx(1.0, abs=1e-3)
    _, free = between_samples(100.0031, 30.3, 5.2, 1000)
    assert free.width_bound < 0.02


def test_jitter_that_fits_nowhere_widens_the_bounds() -> None:
    _, found = between_samples(99.93, 30.0, 5.0, 200, jitter=0.5)
    assert abs(found.period - 99.93) <= found.bound
    assert found.bound > 0.5 / 200


def test_long_records_are_thinned_with_both_ends_kept() -> None:
    number = np.arange(100_000)
    before = number.astype(np.float64)
    thin = Bracket(before, before + 1.0, number).thinned()
    assert thin.cycle.size <= 4096
    assert (thin.cycle[0], thin.cycle[-1]) == (0, 99_999)


def test_a_sample_on_one_edge_leaves_the_other_open() -> None:
    """Locked, and noise puts the sample on the rising edge now before and now behind it."""
    number = np.arange(100)
    flips = number % 2
    rise = np.asarray(5.0 + 100.0 * number + flips, np.float64)
    fall = np.asarray(30.0 + 100.0 * number, np.float64)
    sides = [Bracket(at - 1.0, at, number) for at in (rise, fall)]
    comb = fit_comb(rise - 0.5, fall - 0.5)
    assert comb is not None
    found = period_range(comb, sides[0], sides[1])
    # The rise is at 5.0; the fall anywhere in 29..30: widths of 24 to 25.
    assert abs(found.width - 24.0) <= found.width_bound
    assert abs(found.width - 25.0) <= found.width_bound
