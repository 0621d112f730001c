"""Edge times to a comb: one slope, two phases."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pilotsignal.timing import Comb, fit_comb, refit


def comb_of(rise: np.ndarray, fall: np.ndarray) -> Comb | None:
    return fit_comb(np.asarray(rise, np.float64), np.asarray(fall, np.float64))


@given(
    period=st.floats(10.0, 5000.0),
    share=st.floats(0.02, 0.98),
    start=st.floats(-1e4, 1e6),
    count=st.integers(2, 200),
    falls_first=st.booleans(),
)
def test_exact_times_give_the_exact_comb(
    period: float, share: float, start: float, count: int, falls_first: bool
) -> None:
    number = np.arange(count)
    rise = start + period * (number + falls_first)
    fall = start + period * (number + share)
    comb = comb_of(rise, fall)
    assert comb is not None
    assert comb.period == pytest.approx(period, rel=1e-9)
    assert comb.width == pytest.approx(share * period, abs=1e-6 * period)
    assert comb.rise <= comb.fall < comb.rise + comb.period
    assert np.abs(comb.residuals).max() < 1e-6 * period


def test_missing_cycles_are_counted_over() -> None:
    number = np.array([0, 1, 2, 9, 10, 30])
    comb = comb_of(5.0 + 100.0 * number, 35.0 + 100.0 * number)
    assert comb is not None
    assert comb.rise_cycle.tolist() == number.tolist()
    assert comb.fall_cycle.tolist() == number.tolist()
    assert comb.cycles == 30
    assert comb.period == pytest.approx(100.0)


@pytest.mark.parametrize(("rises", "falls"), [(0, 0), (1, 1), (2, 1), (1, 5), (0, 9)])
def test_too_few_edges(rises: int, falls: int) -> None:
    assert comb_of(np.arange(rises) * 10.0, np.arange(falls) * 10.0 + 3.0) is None


def test_the_period_scatters_as_a_straight_line_does() -> None:
    """Variance of the slope is sigma^2 over the sum of squared cycle numbers (any textbook)."""
    rng = np.random.default_rng(1)
    number = np.arange(20)
    periods, expected = [], 0.0
    for _ in range(2000):
        noise = 0.3 * rng.standard_normal((2, 20))
        comb = comb_of(100.0 * number + noise[0], 40.0 + 100.0 * number + noise[1])
        assert comb is not None
        periods.append(comb.period)
        expected = 0.3 / comb.leverage**0.5
    # 2000 values tell a standard deviation to 1.6 %; four times that.
    assert np.std(periods) == pytest.approx(expected, rel=0.065)
    assert np.mean(periods) == pytest.approx(100.0, abs=4 * expected / 2000**0.5)


def test_another_period_turns_about_the_middle() -> None:
    number = np.arange(11)
    comb = comb_of(100.0 * number, 30.0 + 100.0 * number)
    assert comb is not None
    other = comb.with_period(101.0)
    assert other.rise + 5 * other.period == pytest.approx(comb.rise + 5 * comb.period)
    assert other.width == pytest.approx(comb.width)


def test_corrected_times_keep_their_cycles() -> None:
    number = np.array([0, 1, 5, 6])
    comb = comb_of(100.0 * number + 1.0, 30.0 + 100.0 * number)
    assert comb is not None
    again = refit(comb, 100.0 * number, 30.0 + 100.0 * number)
    assert again.rise_cycle.tolist() == number.tolist()
    assert again.rise == pytest.approx(0.0)
    assert again.width == pytest.approx(30.0)
