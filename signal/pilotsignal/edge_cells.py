"""Cells of edge rows with their weights, and what is known of an edge beforehand.

References
----------
.. [1] B. Widrow, I. Kollar, Quantization Noise, 2008, ch. 4 (what rounding leaves in a mean).
"""

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from pilotsignal.edge_rows import EdgeRows
from pilotsignal.edge_shape import Shape, draw, trace
from pilotsignal.timing import Floats

_UNEVEN = 0.1  # what uneven phases leave open of the mean at a corner, in cell width times slope
_AHEAD = 0.45  # samples by which a first comb may be off, and is tolerated
_FLAT_TAUS = 18.0
_REACH, _REACH_TAUS = 3.0, 0.15  # standard deviations of jitter, and time constants
_FAR_OFF = 1e6  # sample intervals from an edge: a plateau


@dataclass(frozen=True, slots=True)
class Belief:
    """What is known of a parameter beforehand: value and standard uncertainty; 0 fixes it."""

    value: float
    u: float


@dataclass(frozen=True, slots=True)
class Known:
    """What the fit knows besides the samples around the edges, in sample units.

    Parameters
    ----------
    high, low : settled means, None where no pulse settles.
    knee : level of the diode's knee.
    ratio : logarithm of the time constants' ratio, before over after the knee, of the rising
        edge; the falling edge has the inverse.
    sigma : standard deviation of a sample.
    step : of the converter, 0 where there is none.
    straight : edges are straight lines.
    jitter2 : variance of the instants of rising and of falling edges, in sample intervals squared.
    """

    high: Belief | None
    low: Belief | None
    knee: Belief
    ratio: Belief
    sigma: float
    step: float
    straight: bool = False
    jitter2: tuple[float, float] = (0.0, 0.0)

    def beliefs(self) -> list[tuple[int, Belief]]:
        """By parameter number."""
        inverse = Belief(-self.ratio.value, self.ratio.u)
        found = [(5, self.ratio), (6, self.knee), (9, inverse), (10, self.knee)]
        if self.high is not None:
            found.append((0, self.high))
        if self.low is not None:
            found.append((1, self.low))
        return found


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """Cells of one direction, flat; `weight` is one over the variance of `mean`.

    `smeared` says that means are made of samples at different phases;
    `quiet` is the share of a sample's variance that is noise, jitter being the rest; `blur` is the
    variance of the phases that a mean is made of, jitter included.
    """

    rising: bool
    rows: int
    phase: Floats
    blur: Floats | float
    cycle: Floats
    mean: Floats
    tilt: Floats | None
    spread: Floats | float
    lean: Floats | float
    weight: Floats
    sigma: float
    smeared: bool
    quiet: Floats | float = 1.0


def cells_of(rows: EdgeRows, edge: tuple[bool, Shape], known: Known, middle: float) -> Cells:
    """Cells near an edge, and one for each side on which nothing moves any more.

    Parameters
    ----------
    edge : whether it rises, and its first shape.
    middle : cycle from which cycles are counted.
    """
    rising, shape = edge
    columns = rows.mean.shape[1]
    sigma2 = max(known.sigma, 1e-9 * abs(float(np.ptp(rows.mean)))) ** 2
    grouped = not rows.single and bool((rows.spread > 0).any())
    phase = rows.phase.ravel()
    weight = np.repeat(rows.count / sigma2, columns)
    foreign = rows.foreign()
    if foreign is not None:
        weight[foreign.ravel()] = 0.0
    taus = (shape.tau_before, shape.tau_after)
    early = shape.delay - _AHEAD - min(taus)
    late = shape.delay + _AHEAD + _FLAT_TAUS * max(taus)
    before, after = phase < early, phase > late
    kept = (~(before | after)).nonzero()[0]
    ends = [_flat(before, rows, weight), _flat(after, rows, weight)]
    row = kept // columns
    jitter2 = known.jitter2[0 if rising else 1]
    return Cells(
        rising,
        rows.at.size,
        _with_ends(phase[kept], early - _FAR_OFF, late + _FAR_OFF),
        _with_ends(rows.blur[row] + jitter2) if grouped else jitter2,
        _with_ends((rows.cycle - middle)[row]),
        _with_ends(rows.mean.ravel()[kept], ends[0][0], ends[1][0]),
        _with_ends(rows.tilt.ravel()[kept]) if grouped else None,
        _with_ends(rows.spread[row]) if grouped else 0.0,
        _with_ends(rows.lean[row]) if grouped else 0.0,
        _with_ends(weight[kept], ends[0][1], ends[1][1]),
        math.sqrt(sigma2),
        grouped or jitter2 > 0.0,
    )


def _with_ends(values: Floats, early: float = 0.0, late: float = 0.0) -> Floats:
    """What cells have, and the two that stand for those before and after them."""
    longer = np.empty(values.size + 2)
    longer[:-2], longer[-2], longer[-1] = values, early, late
    return longer


def _flat(cells: npt.NDArray[np.bool_], rows: EdgeRows, weight: Floats) -> tuple[float, float]:
    """Mean and weight of cells where nothing moves any more: one cell stands for all of them."""
    at = cells.nonzero()[0]
    part = weight[at]
    heavy = float(part.sum())
    if heavy == 0.0:
        return 0.0, 0.0
    return float((part * rows.mean.ravel()[at]).sum()) / heavy, heavy


def weighted(part: Cells, shape: Shape, known: Known) -> Cells:
    """Weights for a shape that is nearly right.

    Where a cell holds the corner at which the generator switches, its mean depends on how the
    phases lie in it. Where noise is below half a step, rounding does not average out: neighbours
    in phase that lie within one step share it.  What jitter moves is worth less the steeper it is.
    """
    weight = part.weight
    left = rounding_variance(known.step, part.sigma)
    jitter2 = known.jitter2[0 if part.rising else 1]
    if part.tilt is None and left <= 1e-4 * part.sigma**2 and jitter2 == 0.0:
        return part
    quiet: Floats | float = 1.0
    if jitter2 > 0.0:
        quiet = part.sigma**2 / (part.sigma**2 + moved_variance(shape, part.phase, jitter2))
        weight = weight * quiet
    if part.tilt is not None:
        width = np.sqrt(12.0 * part.blur)
        for corner, jump in shape.corners:
            near = 2.0 * np.abs(part.phase - corner) < width
            spread = np.where(near, (_UNEVEN * jump * width) ** 2, 0.0)
            weight = weight * part.sigma**2 / (part.sigma**2 + spread)
    if left > 1e-4 * part.sigma**2:
        slope = np.abs(draw(shape, part.phase).slope)
        apart = float(np.ptp(part.phase[:-2])) / part.phase.size
        alike = 0.25 * known.step / max(float(slope.max()), 1e-12)
        distinct = np.unique(np.rint(np.mod(part.phase, 1.0) / alike)).size
        same = max(1.0, part.rows / distinct)
        shared = np.maximum(same, known.step / np.maximum(slope * apart, 1e-12))
        weight = np.where(weight > 0, 1.0 / (1.0 / np.maximum(weight, 1e-300) + left * shared), 0.0)
    return replace(part, weight=weight, quiet=quiet)


def moved_variance(shape: Shape, time: Floats, jitter2: float) -> Floats:
    """Variance of the value at `time`, shape (n,), of an edge whose instant has the variance given.

    By the steepest slope that jitter may bring there: a sample that seems to lie just ahead of the
    edge must not nail it down.
    """
    reach = _REACH * math.sqrt(jitter2) + _REACH_TAUS * shape.tau_before
    slopes = [np.abs(trace(shape, time + off)[1]) for off in (-reach, 0.0, reach)]
    steepest = np.maximum(np.maximum(slopes[0], slopes[1]), slopes[2])
    return np.asarray(jitter2 * steepest**2)


def rounding_variance(step: float, sigma: float) -> float:
    """Variance that rounding leaves in the mean of samples with noise; `sigma` has rounding in it.

    The mean of ``round(x + noise)`` is off by harmonics of amplitude ``step / (pi m)``, each
    smaller by ``exp(-2 pi^2 m^2 sigma^2 / step^2)`` [1]_.
    """
    if step <= 0.0:
        return 0.0
    ahead = max(0.0, (sigma / step) ** 2 - 1.0 / 12.0)
    if ahead > 0.6:
        return 0.0
    order = np.arange(1, 9)
    terms = np.exp(-4.0 * math.pi**2 * order**2 * ahead) / (2.0 * math.pi**2 * order**2)
    return step**2 * float(terms.sum())
