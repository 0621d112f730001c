"""Normal equations of an edge made of two relaxations, for samples that stand alone.

On each of its two stretches such an edge and its derivatives are made of five functions only:
one, ``f = exp(-t / tau)`` (one before the switching), ``t / tau f``, f from the switching on, and
that times the cycle number.  Sums over the samples are taken of those five, and small matrices turn
them into derivatives by the parameters.  That costs a third of drawing every derivative
(`edge_shape.draw`), and gives the same.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from pilotsignal.edge_shape import Shape, draw
from pilotsignal.timing import Floats

_SIZE = 7  # the parameters of `edge_shape.NAMES`, and the period
_BASIS = 5  # functions
_PART = 8192  # columns of a product: a pool of threads would wake for longer ones


@dataclass(frozen=True, slots=True, eq=False)
class EdgeCells:
    """Samples around edges, flat, each float64 of shape (n,).

    Parameters
    ----------
    phase, cycle : time after the expected instant, and cycle number.
    mean, weight : value, and one over its variance.
    """

    phase: Floats
    cycle: Floats
    mean: Floats
    weight: Floats


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


def edge_sums(cells: EdgeCells, shape: Shape, change: float) -> EdgeSums:
    """Sums for one shape, not a straight one.

    Parameters
    ----------
    change : of the period, against the one that the phases were made with.
    """
    since = cells.phase - (shape.delay + change * cells.cycle)
    knee_time = shape.knee_time
    late = since >= knee_time
    gram, pull, chi2 = np.zeros((_SIZE, _SIZE)), np.zeros(_SIZE), 0.0
    for where, part in zip((~late, late), _stretches(shape, knee_time), strict=True):
        at = np.flatnonzero(where)
        run = since[at]
        run -= part.begin
        begun = run > 0.0
        run *= begun / part.tau
        basis = np.empty((_BASIS + 1, at.size))
        basis[0] = 1.0
        np.exp(-run, out=basis[1])
        np.multiply(run, basis[1], out=basis[2])
        np.multiply(begun, basis[1], out=basis[3])
        np.multiply(cells.cycle[at], basis[3], out=basis[4])
        np.multiply(basis[1], -part.away, out=basis[5])
        basis[5] += cells.mean[at] - part.goal
        sums = _products(basis, basis * cells.weight[at])
        turned = part.matrix @ sums[:_BASIS]
        gram += turned[:, :_BASIS] @ part.matrix.T
        pull += turned[:, _BASIS]
        chi2 += float(sums[_BASIS, _BASIS])
    return EdgeSums(gram, pull, chi2)


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


def crossing_by(shape: Shape, levels: Sequence[float]) -> list[tuple[float, Floats]]:
    """When levels are passed, and how that goes with each level and the parameters.

    Parameters
    ----------
    levels : strictly between start and end.

    Returns
    -------
    list of (float, float64 of shape (7,)) : the time, and its derivatives by the level and by the
        parameters in the order of `edge_shape.NAMES`.
    """
    found = []
    parts = None if shape.straight else _stretches(shape, shape.knee_time)
    for level in levels:
        time = shape.crossing(level)
        if parts is None:
            drawn = draw(shape, np.array([time]))
            slope, by = float(drawn.slope[0]), drawn.by[:, 0]
        else:
            since = time - shape.delay
            part = parts[1] if since >= parts[1].begin else parts[0]
            run = (since - part.begin) / part.tau
            fade = math.exp(-run)
            slope = -part.away * fade / part.tau
            by = part.matrix[:6] @ np.array([1.0, fade, run * fade, fade, 0.0])
        found.append((time, np.array([1.0, *(-by).tolist()]) / slope))
    return found


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
    target_by = np.array([0.0, gain, 0.0, 0.0, (end - knee) * gain, 1.0 - gain])
    first, second = start - target, knee - target
    knee_by = -before * target_by * (1.0 / first - 1.0 / second)
    knee_by += [before / first, 0.0, 0.0, knee_time, knee_time, -before / second]
    early, late = np.zeros((_SIZE, _BASIS)), np.zeros((_SIZE, _BASIS))
    steep = first / before
    early[:6, 0] = target_by
    early[:6, 1] = -target_by
    early[0, 1] += 1.0
    early[2, 3] = steep
    early[3, 2] = early[4, 2] = first
    early[6, 4] = steep
    away = knee - end
    steep = away / after
    late[1, 0] = 1.0
    late[:6, 3] = knee_by * steep
    late[2, 3] += steep
    late[1, 1] = -1.0
    late[5, 1] = 1.0
    late[3, 2] = away
    late[6, 4] = steep
    return _Stretch(0.0, before, target, first, early), _Stretch(knee_time, after, end, away, late)
