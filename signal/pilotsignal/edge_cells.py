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
from pilotsignal.edge_shape import Shape, draw
from pilotsignal.timing import Floats

_UNEVEN = 0.1  # what uneven phases leave open of the mean at a corner, in cell width times slope
_AHEAD = 0.45  # samples by which a first comb may be off, and is tolerated
_FLAT_TAUS = 18.0
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
    """

    high: Belief | None
    low: Belief | None
    knee: Belief
    ratio: Belief
    sigma: float
    step: float
    straight: bool = False

    def beliefs(self) -> list[tuple[int, Belief]]:
        """By parameter number."""
        inverse = replace(self.ratio, value=-self.ratio.value)
        found = [(5, self.ratio), (6, self.knee), (9, inverse), (10, self.knee)]
        if self.high is not None:
            found.append((0, self.high))
        if self.low is not None:
            found.append((1, self.low))
        return found


@dataclass(frozen=True, slots=True, eq=False)
class Cells:
    """Cells of one direction, flat; `weight` is one over the variance of `mean`."""

    rising: bool
    rows: int
    phase: Floats
    blur: Floats | float
    cycle: Floats
    mean: Floats
    tilt: Floats | None
    spread: Floats
    lean: Floats | float
    weight: Floats
    sigma: float


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
    grouped = bool((rows.spread > 0).any())
    phase = rows.phase.ravel()
    weight = np.repeat(rows.count / sigma2, columns)
    if math.isfinite(rows.limit):
        weight[phase >= rows.limit] = 0.0
    taus = (shape.tau_before, shape.tau_after)
    early = shape.delay - _AHEAD - min(taus)
    late = shape.delay + _AHEAD + _FLAT_TAUS * max(taus)
    kept = np.flatnonzero((phase >= early) & (phase <= late))
    ends = [_flat(phase < early, rows, weight), _flat(phase > late, rows, weight)]
    row = kept // columns

    def of_rows(values: Floats) -> Floats:
        return np.append(values[row], (0.0, 0.0))

    return Cells(
        rising,
        rows.at.size,
        np.append(phase[kept], (early - _FAR_OFF, late + _FAR_OFF)),
        of_rows(rows.blur) if grouped else 0.0,
        of_rows(rows.cycle - middle),
        np.append(rows.mean.ravel()[kept], [mean for mean, _ in ends]),
        np.append(rows.tilt.ravel()[kept], (0.0, 0.0)) if grouped else None,
        of_rows(rows.spread),
        of_rows(rows.lean) if grouped else 0.0,
        np.append(weight[kept], [heavy for _, heavy in ends]),
        math.sqrt(sigma2),
    )


def _flat(cells: npt.NDArray[np.bool_], rows: EdgeRows, weight: Floats) -> tuple[float, float]:
    """Mean and weight of cells where nothing moves any more: one cell stands for all of them."""
    heavy = float(np.sum(weight[cells]))
    if heavy == 0.0:
        return 0.0, 0.0
    return float(np.sum(weight[cells] * rows.mean.ravel()[cells])) / heavy, heavy


def weighted(part: Cells, shape: Shape, known: Known) -> Cells:
    """Weights for a shape that is nearly right.

    Where a cell holds the corner at which the generator switches, its mean depends on how the
    phases lie in it. Where noise is below half a step, rounding does not average out: neighbours
    in phase that lie within one step share it.
    """
    weight = part.weight
    left = rounding_variance(known.step, part.sigma)
    if part.tilt is None and left <= 1e-4 * part.sigma**2:
        return part
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
    return replace(part, weight=weight)


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
