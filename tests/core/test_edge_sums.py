"""Sums over samples: the same normal equations as by drawing every derivative."""

import math

import numpy as np
import pytest

from pilotsignal.edge_shape import NAMES, Shape, draw
from pilotsignal.edge_sums import EdgeCells, crossing_by, edge_sums

KNEE = Shape(-12.0, 9.0, 0.3, math.log(0.73), math.log(1 / 0.73), 0.7)
FALL = Shape(9.0, -12.0, -0.2, math.log(2.0), math.log(0.7), 0.7)
LINE = Shape(-12.0, 9.0, 0.3, math.log(2.0), 0.0, 0.0, True)


@pytest.mark.parametrize("shape", [KNEE, FALL])
@pytest.mark.parametrize("count", [37, 20_000])
def test_sums_are_those_of_the_drawn_derivatives(shape: Shape, count: int) -> None:
    rng = np.random.default_rng(count)
    phase, cycle = rng.uniform(-2.0, 12.0, count), rng.uniform(-50.0, 50.0, count)
    weight, change = rng.uniform(0.0, 3.0, count), 1e-3
    mean = draw(shape, phase).value + rng.normal(0.0, 0.1, count)
    half = count // 3
    cells = EdgeCells(phase, cycle, mean, weight, (half, count))
    found = edge_sums(cells, (shape, shape), change)
    drawn = draw(shape, phase - change * cycle)
    by = np.vstack((drawn.by, -drawn.slope * cycle))
    rest = mean - drawn.value
    np.testing.assert_allclose(
        found.gram.sum(axis=0), (by * weight) @ by.T, rtol=1e-9, atol=1e-9 * count
    )
    np.testing.assert_allclose(
        found.pull.sum(axis=0), (by * weight) @ rest, rtol=1e-9, atol=1e-9 * count
    )
    assert found.chi2 == pytest.approx(float(np.sum(weight * rest**2)), rel=1e-9)


@pytest.mark.parametrize("shape", [KNEE, FALL, LINE])
def test_crossings_go_with_the_parameters_as_they_say(shape: Shape) -> None:
    levels = [shape.level(share) for share in (0.1, 0.5, 0.9)]
    free = 4 if shape.straight else 6
    for level, time, by in zip(levels, *crossing_by(shape, levels), strict=True):
        assert time == shape.crossing(level)
        for place in range(free):
            ends = []
            for nudge in (1e-6, -1e-6):
                name = NAMES[place]
                other = shape._replace(**{name: getattr(shape, name) + nudge})
                ends.append(other.crossing(level))
            assert by[1 + place] == pytest.approx((ends[0] - ends[1]) / 2e-6, abs=1e-6)
        ends = [shape.crossing(level + nudge) for nudge in (1e-6, -1e-6)]
        assert by[0] == pytest.approx((ends[0] - ends[1]) / 2e-6, abs=1e-6)
