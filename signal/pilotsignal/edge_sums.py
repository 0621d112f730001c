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
from typing import NamedTuple

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

    def at(self, places: Indices, ends: tuple[int, ...]) -> "EdgeCells":
        """Some of the samples, of each shape up to one of `ends`."""
        phase, cycle = self.phase[places], self.cycle[places]
        return EdgeCells(phase, cycle, self.mean[places], self.weight[places], ends)


@dataclass(frozen=True, slots=True, eq=False)
class EdgeSums:
    """Weighted sums: of products of derivatives, of derivatives and rests, of squares of rests.

    Parameters
    ----------
    gram, pull : float64, shapes (shapes, 7, 7) and (shapes, 7): by the parameters of each `Shape`
        and the period.
    chi2 : of the rests of all shapes together.
    """

    gram: Floats
    pull: Floats
    chi2: float


def edge_sums(cells: EdgeCells, shapes: Sequence[Shape], change: float) -> EdgeSums:
    """Sums for each shape, none of them straight; all in few passes, as each has its price.

    Parameters
    ----------
    shapes : one for each of `cells.ends`.
    change : of the period, against the one that the phases were made with.
    """
    order = _ordered(cells, shapes, change)
    basis = _basis(cells, order)
    weight = cells.weight[order.at]
    sums = np.empty((len(order.stretches), _BASIS + 1, _BASIS + 1))
    for place, part in enumerate(order.slices):
        mine = basis[:, part]
        _products(mine, mine * weight[part], sums[place])
    return _turned(order.stretches, sums)


class _Order(NamedTuple):
    """Samples stretch by stretch: before the knee of each shape, then after the knee of each.

    Parameters
    ----------
    since : float64, shape (n,): time after the switching.
    at : int64, shape (n,): places in the arrays.
    stretches, slices : each stretch, and which of the samples are on it.
    """

    since: Floats
    at: Indices
    stretches: "list[_Stretch]"
    slices: list[slice]


def _ordered(cells: EdgeCells, shapes: Sequence[Shape], change: float) -> _Order:
    since = cells.phase - change * cells.cycle
    late = np.empty(since.size, bool)
    stretches: list[_Stretch] = []
    sizes: list[int] = []
    first = 0
    for shape, end in zip(shapes, cells.ends, strict=True):
        part, beyond, knee_time = since[first:end], late[first:end], shape.knee_time
        part -= shape.delay
        np.greater_equal(part, knee_time, out=beyond)
        stretches += _stretches(shape, knee_time)
        after = int(np.count_nonzero(beyond))
        sizes += [end - first - after, after]
        first = end
    at = np.concatenate(((~late).nonzero()[0], late.nonzero()[0]))
    bounds = [0, *itertools.accumulate(sizes[0::2] + sizes[1::2])]
    slices = [slice(*pair) for pair in itertools.pairwise(bounds)]
    return _Order(since[at], at, stretches[0::2] + stretches[1::2], slices)


def _basis(cells: EdgeCells, order: _Order) -> Floats:
    """The five functions and what is left of the samples, shape (6, n); uses up `order.since`."""
    run, at = order.since, order.at
    rest = cells.mean[at]
    basis = np.empty((_BASIS + 1, at.size))
    for stretch, part in zip(order.stretches, order.slices, strict=True):
        mine = run[part]
        if stretch.begin != 0.0:
            mine -= stretch.begin
        mine *= 1.0 / stretch.tau
        rest[part] -= stretch.goal
        basis[_BASIS, part] = -stretch.away
    begun = run > 0.0
    run *= begun
    basis[0] = 1.0
    np.negative(run, out=basis[1])
    np.exp(basis[1], out=basis[1])
    np.multiply(run, basis[1], out=basis[2])
    np.multiply(begun, basis[1], out=basis[3])
    np.multiply(cells.cycle[at], basis[3], out=basis[4])
    basis[_BASIS] *= basis[1]
    basis[_BASIS] += rest
    return basis


def _turned(stretches: "list[_Stretch]", sums: Floats) -> EdgeSums:
    """Sums of the five functions as those of the derivatives by the parameters.

    Parameters
    ----------
    stretches : of each shape before its knee, then of each after it.
    sums : shape (stretches, 6, 6).
    """
    matrix = np.array([stretch.matrix for stretch in stretches]).reshape(-1, _SIZE, _BASIS)
    turned = matrix @ sums[:, :_BASIS]
    gram, pull = turned[:, :, :_BASIS] @ matrix.transpose(0, 2, 1), turned[:, :, _BASIS]
    half = len(stretches) // 2
    chi2 = sum(sums[:, _BASIS, _BASIS].tolist())
    return EdgeSums(gram[:half] + gram[half:], pull[:half] + pull[half:], chi2)


def _products(one: Floats, other: Floats, out: Floats) -> None:
    """The product of `one` and the transpose of `other`, into `out`."""
    np.matmul(one[:, :_PART], other[:, :_PART].T, out=out)
    for start in range(_PART, one.shape[1], _PART):
        out += one[:, start : start + _PART] @ other[:, start : start + _PART].T


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
        part = late if since >= late.begin else early
        later.append(int(part is late))
        run = (since - part.begin) / part.tau
        fade = math.exp(-run)
        slopes.append(-part.away * fade / part.tau)
        basis.append((1.0, fade, run * fade, fade, 0.0))
    rows = np.array(basis)
    ways = np.array([early.matrix, late.matrix]).reshape(2, _SIZE, _BASIS)[later, :-1]
    return (ways @ rows[:, :, None])[:, :, 0], np.array(slopes)


class _Stretch(NamedTuple):
    """One relaxation: ``goal + away f``.

    `matrix`, row by row in one, makes derivatives by the seven parameters of the five functions.
    """

    begin: float
    tau: float
    goal: float
    away: float
    matrix: tuple[float, ...]


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
        *(0.0, 1.0, 0.0, 0.0, 0.0),
        *(gain, -gain, 0.0, 0.0, 0.0),
        *(0.0, 0.0, 0.0, steep, 0.0),
        *(0.0, 0.0, first, 0.0, 0.0),
        *(by_ratio, -by_ratio, first, 0.0, 0.0),
        *(by_knee, -by_knee, 0.0, 0.0, 0.0),
        *(0.0, 0.0, 0.0, 0.0, steep),
    )
    away = knee - end
    steep = away / after
    late = (
        *(0.0, 0.0, 0.0, steep * before / first, 0.0),
        *(1.0, -1.0, 0.0, steep * pace * gain, 0.0),
        *(0.0, 0.0, 0.0, steep, 0.0),
        *(0.0, 0.0, away, steep * knee_time, 0.0),
        *(0.0, 0.0, 0.0, steep * (pace * by_ratio + knee_time), 0.0),
        *(0.0, 1.0, 0.0, steep * (pace * by_knee - before / second), 0.0),
        *(0.0, 0.0, 0.0, 0.0, steep),
    )
    return (
        _Stretch(0.0, before, target, first, early),
        _Stretch(knee_time, after, end, away, late),
    )
