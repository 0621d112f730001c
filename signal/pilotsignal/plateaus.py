"""Plateaus: the robust mean of what has settled between two edges.

Means are taken pulse by pulse, so that their scatter shows hum and drift that a pooled standard
deviation would hide, and so that a pulse with a spike can be left out as a whole.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from pilotsignal.edges import Edges
from pilotsignal.timing import Floats, Indices

_NOISE_SAMPLES = 1 << 16


@dataclass(frozen=True, slots=True)
class Margins:
    """Samples left out after an edge (`lead`) and before the next (`tail`)."""

    lead: int
    tail: int


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
    total, highest, lowest : sum and extremes of each, in sample units.
    """

    begin: Indices
    end: Indices
    rising: npt.NDArray[np.bool_]
    total: Floats
    highest: Floats
    lowest: Floats

    def of(self, rising: bool) -> "Pulses":
        """Those of one level."""
        mine = self.rising == rising
        return Pulses(
            self.begin[mine],
            self.end[mine],
            self.rising[mine],
            self.total[mine],
            self.highest[mine],
            self.lowest[mine],
        )


def settled_pulses(samples: npt.NDArray[Any], edges: Edges, margins: Margins) -> Pulses:
    """One pass over the samples for all pulses.

    Parameters
    ----------
    samples : shape (n,).
    """
    begin, stop = edges.index[:-1], edges.index[1:]
    length = stop - begin
    lead = np.minimum(margins.lead, (0.6 * length).astype(np.int64))
    # The last sample of a pulse of three or more may be on the edge that ends it.
    tail = np.minimum(margins.tail, np.where(length >= 3, np.maximum(1, length // 5), 0))
    held = length - lead - tail > 0
    begin, end = (begin + lead)[held], (stop - tail)[held]
    rising = edges.rising[:-1][held]
    if begin.size == 0:
        none = np.empty(0)
        return Pulses(begin, end, rising, none, none, none)
    bounds = np.column_stack((begin, end)).ravel()
    wide = np.int64 if samples.dtype.kind in "iu" else np.float64
    total = np.add.reduceat(samples, bounds, dtype=wide)[0::2].astype(np.float64)
    highest = np.maximum.reduceat(samples, bounds)[0::2].astype(np.float64)
    lowest = np.minimum.reduceat(samples, bounds)[0::2].astype(np.float64)
    return Pulses(begin, end, rising, total, highest, lowest)


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
    far = _far(samples, mine, float(np.median(means)), sigma)
    keep = np.ones(means.size, bool)
    keep[np.unique(far)] = False
    if not keep.any():
        keep[:] = True
    places = np.asarray(0.5 * (begin + end)[keep], np.float64)
    # A single sample between two edges may be on one of them: no spike can be told from that.
    outliers = int(far.size) if np.median(counts) > 1 else 0
    return _pool(
        np.asarray(means[keep]),
        counts[keep],
        places,
        _Scatter(sigma, outliers, *_codes(inner)),
    )


def steady(samples: npt.NDArray[Any]) -> Plateau:
    """Level of a capture without edges: up to 1,024 equal stretches stand for its pulses."""
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
    scatter = _Scatter(float(np.std(flat)), outliers, *_codes(flat))
    return _pool(means, counts, 0.5 * (begin + end), scatter)


def _inner(samples: npt.NDArray[Any], begin: Indices, end: Indices) -> Floats:
    """Samples of whole pulses spread over the record, shape (pulses, length)."""
    length = int(np.median(end - begin))
    stride = max(1, begin.size * length // _NOISE_SAMPLES)
    begin, end = begin[::stride], end[::stride]
    length = max(1, min(int((end - begin).min()), _NOISE_SAMPLES))
    return np.asarray(samples[begin[:, None] + np.arange(length)], np.float64)


def _sigma(inner: Floats) -> float:
    """Standard deviation inside pulses."""
    length = inner.shape[1]
    if length < 3:
        centre = np.abs(inner - np.median(inner))
        return float(np.percentile(centre, 68.3))
    scatter = np.sqrt(np.mean((inner - inner.mean(axis=1, keepdims=True)) ** 2, axis=1))
    return float(np.median(scatter)) * float(np.sqrt(length / (length - 1.0)))


def _codes(inner: Floats) -> tuple[int, float]:
    """How many values are met at all often, and the widest gap between those met most.

    Nothing (0, 0) where values hardly repeat, as with volts from a fine converter.
    """
    values, counts = np.unique(inner, return_counts=True)
    if counts.max() < max(20, 0.02 * inner.size):
        return 0, 0.0
    often = int(np.count_nonzero(counts > 0.002 * inner.size))
    gaps = np.diff(values[counts > 0.02 * inner.size])
    return often, float(gaps.max()) if gaps.size else 0.0


def _far(samples: npt.NDArray[Any], pulses: Pulses, middle: float, sigma: float) -> Indices:
    """Pulse number of each sample far off its level; the pulses' extremes tell where to look."""
    reach = max(8.0 * sigma, 3.0 if samples.dtype.kind in "iu" else 0.0, 1e-9 * abs(middle))
    bad = np.flatnonzero((pulses.highest > middle + reach) | (pulses.lowest < middle - reach))
    if bad.size == 0 or bad.size > 0.2 * pulses.begin.size + 1:
        return np.empty(0, np.int64)
    found = []
    for number in bad[:1000]:
        inside = samples[pulses.begin[number] : pulses.end[number]]
        found.append(np.full(np.count_nonzero(np.abs(inside - middle) > reach), number))
    return np.concatenate(found).astype(np.int64)


def _pool(means: Floats, counts: Floats, places: Floats, noise: _Scatter) -> Plateau:
    sigma = noise.sigma
    total = float(counts.sum())
    # Sums, not dot products: those wake a pool of threads for next to nothing.
    value = float(np.sum(means * counts) / total)
    within = sigma / float(np.sqrt(total))
    between, dof = 0.0, max(1.0, total - 1.0)
    if means.size > 1:
        variance = np.sum(counts * (means - value) ** 2) / total / (means.size - 1.0)
        between = float(np.sqrt(variance))
    if between > within:
        dof = float(means.size - 1)
    return Plateau(
        value,
        max(within, between),
        dof,
        sigma,
        means,
        places,
        int(total),
        noise.outliers,
        noise.codes,
        noise.code_gap,
    )
