"""Plateaus: the robust mean of what has settled between two edges.

Means are taken pulse by pulse, so that their scatter shows hum and drift that a pooled standard
deviation would hide, and so that a pulse with a spike can be left out as a whole.
"""

import itertools
import math
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from functools import partial
from typing import Any

import numpy as np
import numpy.typing as npt

from pilotsignal.capture import Capture, Gap
from pilotsignal.edges import Edges
from pilotsignal.levels import Tally, tally
from pilotsignal.quick import above, below, median, windows
from pilotsignal.timing import Floats, Indices

_BLOCK = 1 << 18  # samples added up at a time
_NOISE_SAMPLES = 1 << 13
# Variance of the codes in steps^2, and the largest error of their mean in steps: over all levels
# and all Gaussian noises with this variance, computed from the normal distribution.
_SCATTERS = (0.0, 0.04, 0.08, 0.10, 0.12, 0.14, 0.16, 0.18, 0.20, 0.22, 0.24, 0.26, 0.28)
_ERRORS = (0.5, 0.44, 0.41, 0.37, 0.355, 0.33, 0.28, 0.275, 0.24, 0.20, 0.155, 0.095, 0.012)
_CHANCE = 2.0  # standard deviations
_LOUD = 20.0  # times the usual variance inside a pulse: it holds a spike


@dataclass(frozen=True, slots=True)
class Margins:
    """Samples left out after an edge (`lead`) and before the next (`tail`).

    `most` is the share of a pulse beyond which `lead` may not reach.
    """

    lead: int
    tail: int
    most: float = 0.6


@dataclass(frozen=True, slots=True, eq=False)
class Plateau:
    """One level, in sample units.

    Parameters
    ----------
    value : mean of the settled samples.
    u : its standard uncertainty from scatter alone.
    dof : degrees of freedom of `u`.
    sigma : standard deviation of single samples.
    means, places : float64, shape (pulses,): mean and middle (sample index) of each pulse.
    samples : how many samples went in.
    outliers : how many samples lay far off; their pulses are left out.
    codes : how many different values make it up, 0 where values hardly repeat.
    code_gap : widest gap between the commonest values, 0 where values hardly repeat.
    """

    value: float
    u: float
    dof: float
    sigma: float
    means: Floats
    places: Floats
    samples: int
    outliers: int
    codes: int
    code_gap: float


@dataclass(frozen=True, slots=True)
class _Scatter:
    sigma: float
    outliers: int
    codes: int
    code_gap: float


@dataclass(frozen=True, slots=True, eq=False)
class Pulses:
    """The settled part of every pulse between two edges, high and low ones.

    Parameters
    ----------
    begin, end : int64, shape (pulses,): indices, `end` not included.
    rising : bool, shape (pulses,): True for high pulses.
    total : float64, shape (pulses,): sum of each, in sample units.
    """

    begin: Indices
    end: Indices
    rising: npt.NDArray[np.bool_]
    total: Floats

    def of(self, rising: bool) -> "Pulses":
        """Those of one level."""
        mine = (self.rising == rising).nonzero()[0]
        return Pulses(self.begin[mine], self.end[mine], self.rising[mine], self.total[mine])


def settled_pulses(
    capture: Capture, edges: Edges, margins: Margins, low_margins: Margins | None = None
) -> Pulses:
    """One pass over the samples for all pulses.

    Parameters
    ----------
    margins, low_margins : of high and of low pulses; the same for both where only one is given.
    """
    samples = capture.samples
    begin, stop, high_pulse = _between(edges, capture.gaps)
    length = stop - begin
    low = low_margins or margins
    lead = np.where(high_pulse, margins.lead, low.lead)
    tail = np.where(high_pulse, margins.tail, low.tail)
    least_lead = np.minimum(lead, (margins.most * length).astype(np.int64))
    # The last sample of a pulse of three or more may be on the edge that ends it.
    least_tail = np.minimum(tail, np.where(length >= 3, np.maximum(1, length // 5), 0))
    if capture.gaps:  # nobody knows how long a pulse was of which a part is missing
        cut = _touching(begin, stop, capture.gaps)
        lead, tail = np.where(cut, lead, least_lead), np.where(cut, tail, least_tail)
    else:
        lead, tail = least_lead, least_tail
    held = length - lead - tail > 0
    begin, end = (begin + lead)[held], (stop - tail)[held]
    rising = high_pulse[held]
    if begin.size == 0:
        return Pulses(begin, end, rising, np.empty(0))
    return Pulses(begin, end, rising, _totals(samples, begin, end))


def _between(edges: Edges, gaps: tuple[Gap, ...]) -> tuple[Indices, Indices, npt.NDArray[np.bool_]]:
    """Begin and end of each pulse, and whether it is a high one.

    Where samples are missing an edge may hide: what comes before and after are pulses of their own.
    """
    index = edges.index
    cuts = [gap.index for gap in gaps]
    if not cuts or index.size == 0:
        return index[:-1], index[1:], edges.rising[:-1]
    marks = np.union1d(index, [cut for cut in cuts if index[0] < cut < index[-1]]).astype(np.int64)
    owner = np.searchsorted(index, marks[:-1], side="right") - 1
    return marks[:-1], marks[1:], edges.rising[owner]


def _touching(begin: Indices, stop: Indices, gaps: tuple[Gap, ...]) -> npt.NDArray[np.bool_]:
    """Which pulses begin or end where samples are missing."""
    cuts = np.array([gap.index for gap in gaps], np.int64)
    return np.isin(begin, cuts) | np.isin(stop, cuts)


def _totals(samples: npt.NDArray[Any], begin: Indices, end: Indices) -> Floats:
    """Sums of pulses, block by block: `reduceat` makes a wide copy of all that it is given."""
    wide = _wide_enough(samples, int((end - begin).max()))
    found = [
        np.add.reduceat(part, bounds, dtype=wide)[0::2]
        for part, bounds in _by_block(samples, begin, end)
    ]
    return np.concatenate(found).astype(np.float64)


def _by_block(
    samples: npt.NDArray[Any], begin: Indices, end: Indices
) -> Iterator[tuple[npt.NDArray[Any], Indices]]:
    """Samples of some pulses after others, and where these begin and end among them."""
    cuts = np.searchsorted(begin, np.arange(0, samples.size + _BLOCK, _BLOCK))
    for first, last in itertools.pairwise(cuts.tolist()):
        if first < last:
            low, high = int(begin[first]), int(end[last - 1])
            yield samples[low:high], _bounds(begin[first:last] - low, end[first:last] - low)[:-1]


def _bounds(begin: Indices, end: Indices) -> Indices:
    """For `reduceat`: every second result is a pulse."""
    bounds = np.empty(2 * begin.size, np.int64)
    bounds[0::2], bounds[1::2] = begin, end
    return bounds


def _wide_enough(samples: npt.NDArray[Any], length: int) -> type[np.generic]:
    """Type for sums of `length` samples; a narrow one is faster."""
    if samples.dtype.kind not in "iu":
        return np.float64
    top = max(abs(int(samples.max())), abs(int(samples.min())))
    return np.int32 if top * length < 1 << 31 else np.int64


def plateau(samples: npt.NDArray[Any], pulses: Pulses, rising: bool) -> Plateau | None:
    """Level of the pulses that begin with edges of one direction.

    Parameters
    ----------
    samples : shape (n,), those of `pulses`.
    rising : True for the high level.

    Returns
    -------
    Plateau or None : None where no whole pulse has a settled sample.
    """
    mine = pulses.of(rising)
    begin, end = mine.begin, mine.end
    if begin.size == 0:
        return None
    counts = (end - begin).astype(np.float64)
    means = np.asarray(mine.total / counts, np.float64)
    inner = _inner(samples, begin, end)
    sigma = _sigma(inner)
    seen = tally(inner.ravel())
    far = _far(samples, mine, (seen.quantile(0.5), sigma), rising)
    places = np.asarray(0.5 * (begin + end), np.float64)
    # A single sample between two edges may be on one of them: no spike can be told from that.
    outliers = int(far.size) if float(counts.sum()) > 1.5 * counts.size else 0
    if far.size:
        keep = np.ones(means.size, bool)
        keep[np.unique(far)] = False
        if keep.any():
            means, counts, places = means[keep], counts[keep], places[keep]
    return _pool(
        means, counts, places, _Scatter(sigma, outliers, *_codes(seen, inner.dtype.kind == "f"))
    )


def steady(samples: npt.NDArray[Any]) -> Plateau:
    """Level of samples, shape (n,), without edges: up to 1,024 equal stretches stand for pulses."""
    flat = samples.astype(np.float64)
    middle = float(np.median(flat))
    off = np.abs(flat - middle)
    far = off > 8.0 * float(np.percentile(off, 68.3))
    outliers = int(np.count_nonzero(far))
    if outliers > 0.01 * flat.size:
        outliers = 0  # so many belong to the signal
    else:
        flat[far] = middle
    stretches = max(1, min(1024, flat.size // 8))
    begin = np.arange(stretches, dtype=np.int64) * flat.size // stretches
    end = np.append(begin[1:], flat.size)
    counts = (end - begin).astype(np.float64)
    means = np.asarray(np.add.reduceat(flat, begin) / counts, np.float64)
    scatter = _Scatter(float(np.std(flat)), outliers, *_codes(tally(flat), True))
    return _pool(means, counts, 0.5 * (begin + end), scatter)


def unsettled(value: float, sigma: float) -> Plateau:
    """A level that no settled sample shows: a guess, from no samples."""
    none = np.empty(0)
    return Plateau(value, 0.0, 1.0, sigma, none, none, 0, 0, 0, 0.0)


def _inner(samples: npt.NDArray[Any], begin: Indices, end: Indices) -> npt.NDArray[Any]:
    """Samples of whole pulses spread over the record, shape (pulses, length)."""
    widths = end - begin
    length = int(np.partition(widths, widths.size // 2)[widths.size // 2])
    stride = max(1, begin.size * length // _NOISE_SAMPLES)
    begin, widths = begin[::stride], widths[::stride]
    length = max(1, min(int(widths.min()), _NOISE_SAMPLES))
    return np.asarray(windows(samples, length)[begin])


def _sigma(values: npt.NDArray[Any]) -> float:
    """Standard deviation inside pulses; shape (pulses, length)."""
    inner = values.astype(np.float64)
    length = inner.shape[1]
    if length < 3:
        centre = np.abs(inner - np.median(inner))
        near = centre <= 8.0 * float(np.percentile(centre, 68.3))
        return float(np.sqrt(np.mean(centre[near] ** 2)))
    inner -= np.einsum("ij->i", inner)[:, None] / length
    variance = np.einsum("ij,ij->i", inner, inner) / (length - 1.0)
    # A mean, as the median of so few samples' variances lies low; pulses with spikes left out.
    quiet = variance[variance <= _LOUD * median(variance)]
    return math.sqrt(float(quiet.sum()) / quiet.size)


def _codes(seen: Tally, apart: bool) -> tuple[int, float]:
    """How many values are met at all often, and the widest gap between those met most.

    Nothing (0, 0) where values hardly repeat, as with volts from a fine converter.  `apart` says
    that equal values of `seen` are not yet added up.
    """
    values, counts = seen.values, seen.counts
    if apart:
        values, repeats = np.unique(values, return_counts=True)
        counts = repeats.astype(np.float64)
    top = float(counts.max())
    if top < max(20, 0.02 * seen.total):
        return 0, 0.0
    often = int(np.count_nonzero(counts > 0.002 * seen.total))
    # Codes are missing only if they are met hardly ever among those that are met most.
    most = values[counts > 0.2 * top]
    met = values[(counts > 0.05 * top) & (values >= most[0]) & (values <= most[-1])]
    gaps = met[1:] - met[:-1]
    return often, float(gaps.max()) if gaps.size else 0.0


def _far(
    samples: npt.NDArray[Any], pulses: Pulses, level: tuple[float, float], rising: bool
) -> Indices:
    """Pulse number of each sample far off its level; pulses that hold any tell where to look."""
    middle, sigma = level
    reach = max(8.0 * sigma, 3.0 if samples.dtype.kind in "iu" else 0.0, 1e-9 * abs(middle))
    bad = np.zeros(pulses.begin.size, bool)
    # Towards the other level every pulse has to be looked at, away from it only if the record
    # holds anything so far out.
    if not rising or float(samples.max()) > middle + reach:
        bad |= _holding(samples, pulses, partial(above, level=middle + reach))
    if rising or float(samples.min()) < middle - reach:
        bad |= _holding(samples, pulses, partial(below, level=middle - reach))
    which = bad.nonzero()[0]
    if which.size == 0 or which.size > 0.2 * pulses.begin.size + 1:
        return np.empty(0, np.int64)
    found = []
    for number in which[:1000]:
        inside = samples[pulses.begin[number] : pulses.end[number]].astype(np.float64)
        found.append(np.full(np.count_nonzero(np.abs(inside - middle) > reach), number))
    return np.concatenate(found).astype(np.int64)


def _holding(
    samples: npt.NDArray[Any], pulses: Pulses, beyond: Callable[..., npt.NDArray[np.bool_]]
) -> npt.NDArray[np.bool_]:
    """Which pulses hold a sample that is `beyond`; faster than their extremes are found."""
    found = [
        np.logical_or.reduceat(beyond(part), bounds)[0::2]
        for part, bounds in _by_block(samples, pulses.begin, pulses.end)
    ]
    return np.concatenate(found)


def _pool(means: Floats, counts: Floats, places: Floats, noise: _Scatter) -> Plateau:
    sigma = noise.sigma
    total = float(counts.sum())
    # Sums, not dot products: those wake a pool of threads for next to nothing.
    value = float((means * counts).sum()) / total
    within = sigma / math.sqrt(total)
    between, dof = 0.0, max(1.0, total - 1.0)
    if means.size > 1:
        variance = float((counts * (means - value) ** 2).sum()) / total / (means.size - 1.0)
        between = math.sqrt(variance)
    # Chance alone makes pulses scatter more or less than their samples: only beyond it is it hum.
    chance = 1.0 + _CHANCE * math.sqrt(2.0 / max(1.0, means.size - 1.0))
    if between**2 > chance * within**2:
        within, dof = between, float(means.size - 1)
    return Plateau(
        value,
        within,
        dof,
        sigma,
        means,
        places,
        int(total),
        noise.outliers,
        noise.codes,
        noise.code_gap,
    )


def step_bound(step: float, found: Plateau) -> float:
    """What a converter step leaves in a mean: noise of half a step and more averages it out.

    The mean of a rounded value with Gaussian noise is off by at most about
    ``step / pi * exp(-2 pi^2 sigma^2 / step^2)`` (first harmonic of the rounding error, Widrow and
    Kollar, Quantization Noise, 2008, chapter 4).  `sigma` is the noise before rounding: the scatter
    of the codes less Sheppard's step^2 / 12.  Below some 0.4 steps the scatter depends on where
    between two codes the level lies; there the bound is the largest error of all levels and noises
    that show this scatter. Two codes do not tell noise from a level between
    them, and half a step is left; where codes are missing, half the distance of those there are.
    """
    if step <= 0:
        return 0.0
    if found.code_gap > 1.5 * step:
        return 0.5 * found.code_gap
    if 0 < found.codes <= 2:
        return 0.5 * step
    scatter = (found.sigma / step) ** 2
    if scatter < _SCATTERS[-1]:
        return step * float(np.interp(scatter, _SCATTERS, _ERRORS))
    variance = scatter - 1.0 / 12.0
    return 0.5 * step * math.exp(-2.0 * math.pi**2 * variance) if variance < 1.0 else 0.0
