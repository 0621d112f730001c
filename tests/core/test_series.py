"""What the sampling may feign in one value per period."""

import numpy as np
import pytest

from pilotsignal.series import Series, feigned


def drawn(seed: int) -> tuple[Series, np.ndarray]:
    """A series of some hundred to some thousand periods, and weights with the sum zero."""
    rng = np.random.default_rng(seed)
    size = int(rng.integers(100, 6000))
    turns = float(rng.choice([rng.uniform(19.0, 80.0), 77.0 - 0.001, 38.5 + 1e-4]))
    cycle = np.arange(size, dtype=np.int64)
    series = Series(cycle, np.zeros(size), turns, float(rng.uniform(0.5, 2.0)), 1.0, 2)
    weight = np.repeat(rng.normal(size=48), size // 48 + 1)[:size]
    weight -= weight.mean()
    return series, weight / np.abs(weight).sum()


@pytest.mark.parametrize("seed", range(40))
def test_what_is_enough_is_known_no_worse_by_a_rough_look(seed: int) -> None:
    """The rough look ends the search early; it must never claim what a fine one does not show."""
    series, weight = drawn(seed)
    most = feigned(series, weight)
    assert most > 0.0
    for share in (0.3, 0.7, 0.95, 1.0):
        assert share * most <= feigned(series, weight, share * most) <= 1.0001 * most
    assert feigned(series, weight, 1.01 * most) == most


def test_values_without_a_sampling_error_feign_nothing() -> None:
    series = Series(np.arange(100, dtype=np.int64), np.zeros(100))
    assert feigned(series, np.full(100, 0.01)) == 0.0
