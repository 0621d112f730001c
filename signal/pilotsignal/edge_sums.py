"""Normal equations of an edge made of two relaxations, for samples that stand alone.

On each of its two stretches such an edge and its derivatives are made of five functions only:
one, ``f = exp(-t / tau)`` (one before the switching), ``t / tau f``, f from the switching on, and
that times the cycle number.  Sums over the samples are taken of those five, and small matrices turn
them into derivatives by the parameters.  That costs a third of drawing every derivative
(`edge_shape.draw`), and gives the same.
"""

import itertools
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pilotsignal.edge_shape import Shape, draw
from pilotsignal.timing import Floats, Indices

_SIZE = 7  # the parameters of `edge_shape.NAMES`, and the period
_BASIS = 5  # functions
_PART = 8192  # columns of a product: a pool of threads would wake for longer ones


@dataclass(frozen=True, slots=True, eq=False)
class EdgeCells:
    """Samples around edges of one shape after another, flat, each float64 of shape (n,).

    Parameters
    ----------
    phase, cycle : time after the expected instant, and cycle number.
    mean, weight : value, and one over its variance.
    ends : where in the arrays the samples of each shape end.
    """

    phase: Floats
    cycle: Floats
    mean: Floats
    weight: Floats
    ends: tuple[int, ...]


@dataclass(frozen=True, slots=True, eq=False)
class EdgeSums:
    """Weighted sums: of products of derivatives, of derivatives and rests, of squares of rests.

    Parameters
    ----------
    gram, pull : float64, shapes (7, 7) and (7,): by the parameters of `Shape` and the period.
    chi2 : of the rests.
    """

    gram: Floats
    pull: Floats
    chi2: float


def edge_sums(cells: EdgeCells, shapes: Sequence[Shape], change: float) -> list[EdgeSums]:
    """Sums for each shape, none of them straight; all in few passes, as each has its price.

    Parameters
    ----------
    shapes : one for each of `cells.ends`.
    change : of the period, against the one that the phases were made with.
    """
    since = cells.phase - change * cells.cycle
    order: list[Indices] = []
    stretches: list[_Stretch] = []
    first = 0
    for shape, end in zip(shapes, cells.ends, strict=True):
        part, knee_time = since[first:end], shape.knee_time
        part -= shape.delay
        late = part >= knee_time
        order += [np.flatnonzero(~late) + first, np.flatnonzero(late) + first]
        stretches += _stretches(shape, knee_time)
        first = end
    at = np.concatenate(order)
    bounds = [0, *itertools.accumulate(part.size for part in order)]
    slices = [slice(*pair) for pair in itertools.pairwise(bounds)]
    basis = _basis(cells, (since[at], at), list(zip(stretches, slices, strict=True)))
    heavy = basis * cells.weight[at]
    each = [
        _turned(stretch, _products(basis[:, part], heavy[:, part]))
        for stretch, part in zip(stretches, slices, strict=True)
    ]
    return [
        EdgeSums(early.gram + late.gram, early.pull + late.pull, early.chi2 + late.chi2)
        for early, late in zip(each[0::2], each[1::2], strict=True)
    ]


def _basis(
    cells: EdgeCells, when: tuple[Floats, Indices], parts: list[tuple["_Stretch", slice]]
) -> Floats:
    """The five functions and what is left of the samples, shape (6, n), stretch by stretch."""
    run, at = when
    rest = cells.mean[at]
    basis = np.empty((_BASIS + 1, at.size))
    for stretch, part in parts:
        mine = run[part]
        mine -= stretch.begin
        mine *= 1.0 / stretch.tau
        rest[part] -= stretch.goal
        basis[_BASIS, part] = -stretch.away
    begun = run > 0.0
    run *= begun
    basis[0] = 1.0
    np.exp(-run, out=basis[1])
    np.multiply(run, basis[1], out=basis[2])
    np.multiply(begun, basis[1], out=basis[3])
    np.multiply(cells.cycle[at], basis[3], out=basis[4])
    basis[_BASIS] *= basis[1]
    basis[_BASIS] += rest
    return basis


def _turned(stretch: "_Stretch", sums: Floats) -> EdgeSums:
    """Sums of the five functions as those of the derivatives by the parameters."""
    turned = stretch.matrix @ sums[:_BASIS]
    return EdgeSums(
        turned[:, :_BASIS] @ stretch.matrix.T, turned[:, _BASIS], float(sums[_BASIS, _BASIS])
    )


def _products(one: Floats, other: Floats) -> Floats:
    size = one.shape[1]
    if size <= _PART:
        return np.asarray(one @ other.T)
    return np.asarray(
        sum(
            one[:, start : start + _PART] @ other[:, start : start + _PART].T
            for start in range(0, size, _PART)
        )
    )


def crossing_by(shape: Shape, levels: Sequence[float]) -> tuple[list[float], Floats]:
    """When levels are passed, and how that goes with each level and the parameters.

    Parameters
    ----------
    levels : strictly between start and end.

    Returns
    -------
    list of float : the times.
    float64, shape (levels, 7) : their derivatives by the level, and by the parameters in the order
        of `edge_shape.NAMES`.
    """
    times = [shape.crossing(level) for level in levels]
    if shape.straight:
        drawn = draw(shape, np.array(times))
        by, slopes = drawn.by.T, drawn.slope
    else:
        by, slopes = _by_parameters(shape, times)
    found = np.empty((len(times), by.shape[1] + 1))
    found[:, 0] = 1.0
    np.negative(by, out=found[:, 1:])
    found /= slopes[:, None]
    return times, found


def _by_parameters(shape: Shape, times: list[float]) -> tuple[Floats, Floats]:
    """Derivatives of the value at `times` by the parameters, (n, 6), and by time, (n,)."""
    early, late = _stretches(shape, shape.knee_time)
    basis, slopes, later = [], [], []
    for time in times:
        since = time - shape.delay
        later.append(since >= late.begin)
        part = late if later[-1] else early
        run = (since - part.begin) / part.tau
        fade = math.exp(-run)
        slopes.append(-part.away * fade / part.tau)
        basis.append((1.0, fade, run * fade, fade, 0.0))
    rows = np.array(basis)
    by = np.where(np.array(later)[:, None], rows @ late.matrix[:6].T, rows @ early.matrix[:6].T)
    return by, np.array(slopes)


@dataclass(frozen=True, slots=True, eq=False)
class _Stretch:
    """One relaxation: ``goal + away f``; `matrix` makes derivatives of the five functions."""

    begin: float
    tau: float
    goal: float
    away: float
    matrix: Floats


def _stretches(shape: Shape, knee_time: float) -> tuple[_Stretch, _Stretch]:
    before, after, target = shape.tau_before, shape.tau_after, shape.target
    start, end, knee = shape.start, shape.end, shape.knee
    gain = math.exp(shape.ratio)
    # How the target and the instant of the knee go with the parameters, as in `draw`.
    by_ratio, by_knee = (end - knee) * gain, 1.0 - gain
    first, second = start - target, knee - target
    pace = -before * (1.0 / first - 1.0 / second)
    steep = first / before
    early = (
        (0.0, 1.0, 0.0, 0.0, 0.0),
        (gain, -gain, 0.0, 0.0, 0.0),
        (0.0, 0.0, 0.0, steep, 0.0),
        (0.0, 0.0, first, 0.0, 0.0),
        (by_ratio, -by_ratio, first, 0.0, 0.0),
        (by_knee, -by_knee, 0.0, 0.0, 0.0),
        (0.0, 0.0, 0.0, 0.0, steep),
    )
    away = knee - end
    steep = away / after
    late = (
        (0.0, 0.0, 0.0, steep * before / first, 0.0),
        (1.0, -1.0, 0.0, steep * pace * gain, 0.0),
        (0.0, 0.0, 0.0, steep, 0.0),
        (0.0, 0.0, away, steep * knee_time, 0.0),
        (0.0, 0.0, 0.0, steep * (pace * by_ratio + knee_time), 0.0),
        (0.0, 1.0, 0.0, steep * (pace * by_knee - before / second), 0.0),
        (0.0, 0.0, 0.0, 0.0, steep),
    )
    return (
        _Stretch(0.0, before, target, first, np.array(early)),
        _Stretch(knee_time, after, end, away, np.array(late)),
    )
