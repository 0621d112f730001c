"""Quick routines give what numpy's own give."""

import numpy as np
import pytest

from pilotsignal.quick import above, below, between, inside, median, windows


@pytest.mark.parametrize("count", [1, 2, 7, 1000])
def test_the_quick_median_is_the_median(count: int) -> None:
    values = np.random.default_rng(count).normal(size=count)
    assert median(values) == np.median(values)


def test_quick_windows_are_views_also_of_every_other_sample() -> None:
    samples = np.arange(20, dtype=np.int16)
    for part in (samples, samples[::2]):
        seen = windows(part, 4)
        assert np.array_equal(seen, np.lib.stride_tricks.sliding_window_view(part, 4))
        assert np.shares_memory(seen, samples)


@pytest.mark.parametrize("kind", [np.int16, np.uint16, np.int32, np.float64])
@pytest.mark.parametrize("level", [-1e6, -3.5, -3.0, 0.0, 1.999, 2.0, 2.001, 1e6])
def test_whole_numbers_compare_with_a_level_as_real_ones_do(
    kind: type[np.generic], level: float
) -> None:
    samples = np.arange(-5, 6).astype(kind)
    real = samples.astype(np.float64)
    assert np.array_equal(above(samples, level), real > level)
    assert np.array_equal(below(samples, level), real < level)
    held = np.count_nonzero((real > level) & (real < level + 2.0))
    assert between(samples, level, level + 2.0) == held


@pytest.mark.parametrize("reach", [1, 2, 5])
def test_places_inside_have_their_samples_in_the_record(reach: int) -> None:
    places, size = np.array([0, 1, 2, 5, 17, 18, 19, 20]), 20
    expected = [at for at in places.tolist() if at - reach >= 0 and at + reach <= size]
    assert inside(places, reach, size).tolist() == expected
