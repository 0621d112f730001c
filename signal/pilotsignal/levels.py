"""State levels: the two populations of a capture, or the one.

References
----------
.. [1] IEEE Std 181-2011, 5.2: split the amplitude range, then a statistic of each population. The
   statistic here is the median: a histogram mode would be off by up to half a bin.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

_SUBSET = 1 << 14
_BLOCK = 1 << 11
_QUARTER = _BLOCK >> 2  # of each block tells the noise
_WIDEST = 1 << 17  # range of integers that is tallied without sorting
_GOLDEN = 0.6180339887498949


@dataclass(frozen=True, slots=True, eq=False)
class Tally:
    """Values in rising order and how often each was met; counts are tallied without sorting.

    Parameters
    ----------
    values, counts : float64, shape (n,).
    total : sum of `counts`.
    """

    values: npt.NDArray[np.float64]
    counts: npt.NDArray[np.float64]
    total: float

    def quantile(self, share: float) -> float:
        """Value that a share of the samples does not exceed; the middle of two where it splits."""
        reach = self.counts.cumsum()
        at = int(reach.searchsorted(share * self.total - 1e-9))
        at = min(at, self.values.size - 1)
        if abs(reach[at] - share * self.total) < 1e-6 and at + 1 < self.values.size:
            return 0.5 * float(self.values[at] + self.values[at + 1])
        return float(self.values[at])

    def part(self, begin: int, end: int) -> "Tally | None":
        """Some of the values; None where there are none."""
        if end <= begin:
            return None
        counts = self.counts[begin:end]
        return Tally(self.values[begin:end], counts, float(counts.sum()))


def tally(samples: npt.NDArray[Any]) -> Tally:
    """Tally of samples, shape (n,), at least one."""
    if samples.dtype.kind in "iu":
        low = int(samples.min())
        if int(samples.max()) - low < _WIDEST:
            counts = np.bincount(np.subtract(samples, low, dtype=np.intp))
            held = counts.nonzero()[0]
            values = (held + low).astype(np.float64)
            return Tally(values, counts[held].astype(np.float64), float(samples.size))
    ordered = np.sort(samples.astype(np.float64))
    return Tally(ordered, np.ones(ordered.size), float(ordered.size))


@dataclass(frozen=True, slots=True)
class Levels:
    """First look at a capture, in sample units (counts or stated volts).

    Parameters
    ----------
    low, high : medians of the lower and the upper population; equal where there is one.
    noise : standard deviation from sample to sample away from the edges.
    step : smallest difference between two values, 0 where none can be told.
    two : whether there are two populations, that is, a waveform.
    settled : share of the samples that lie near one of the two levels, 0 to 1.
    """

    low: float
    high: float
    noise: float
    step: float
    two: bool
    settled: float

    @property
    def swing(self) -> float:
        """High less low."""
        return self.high - self.low

    def at(self, fraction: float) -> float:
        """Reference level: 0 is low, 1 is high, 0.5 the middle."""
        return self.low + fraction * self.swing


def find_levels(samples: npt.NDArray[Any]) -> Levels:
    """Split a capture into its populations.

    Parameters
    ----------
    samples : shape (n,), counts or volts, finite.

    Returns
    -------
    Levels : from at most some 16,000 samples, taken as whole stretches all over the record.
    """
    blocks = _blocks(samples)
    flat = blocks[0] if len(blocks) == 1 else np.concatenate(blocks)
    step = _step(samples, flat)
    seen = tally(flat)
    low, high = _populations(seen)
    noise = _noise(blocks, high - low)
    if high - low < 10.0 * noise or high - low < 3.5 * step or high == low:
        middle = seen.quantile(0.5)
        return Levels(middle, middle, noise, step, False, 1.0)
    return Levels(low, high, noise, step, True, _settled(seen, low, high, noise))


def _blocks(samples: npt.NDArray[Any]) -> list[npt.NDArray[Any]]:
    """Whole stretches, so that neighbours stay neighbours; placed so that no period matches."""
    if samples.size <= _SUBSET:
        return [samples]
    places = (np.arange(_SUBSET // _BLOCK) * _GOLDEN) % 1.0
    starts = (places * (samples.size - _BLOCK)).astype(np.int64)
    return [samples[start : start + _BLOCK] for start in starts]


def _populations(seen: Tally) -> tuple[float, float]:
    low, high = seen.quantile(0.005), seen.quantile(0.995)
    if low == high:
        return low, high  # what is left beyond both percentiles are spikes, no population
    split = -1
    for _ in range(3):
        middle = 0.5 * (low + high)
        last, split = split, int(seen.values.searchsorted(middle, side="right"))
        if split == last:
            return low, high
        below, above = seen.part(0, split), seen.part(split, seen.values.size)
        if below is None or above is None:
            return middle, middle
        low, high = below.quantile(0.5), above.quantile(0.5)
    return low, high


def _noise(blocks: list[npt.NDArray[Any]], swing: float) -> float:
    """RMS difference of neighbours, edges left out, over the square root of two."""
    some = np.array([block[:_QUARTER] for block in blocks] if len(blocks) > 1 else blocks)
    wide = some.astype(np.int32) if some.dtype.kind in "iu" else some
    steps = np.abs(wide[:, 1:] - wide[:, :-1]).ravel()
    if steps.size == 0:
        return 0.0
    seen = tally(steps)
    if swing > 0:
        quiet = seen.part(0, int(np.searchsorted(seen.values, 0.25 * swing)))
        # With nothing quiet, the values jump about all the time: that is the noise.
        seen = quiet if quiet is not None and quiet.total > 0.7 * steps.size else seen
    spread = math.sqrt(float((seen.values**2 * seen.counts).sum()) / seen.total / 2.0)
    # A few large differences (slow edges, spikes) must not pass for noise.
    robust = seen.quantile(0.683) / math.sqrt(2.0)
    return robust if 0 < robust < spread else spread


def _step(samples: npt.NDArray[Any], flat: npt.NDArray[Any]) -> float:
    if samples.dtype.kind in "iu":
        return 1.0
    values = np.unique(flat)
    if values.size < 5 or values.size > max(16, flat.size // 4):
        return 0.0
    gaps = np.diff(values)
    wide = gaps[gaps > 1e-6 * (values[-1] - values[0])]
    return float(wide.min())


def _settled(seen: Tally, low: float, high: float, noise: float) -> float:
    near = max(0.08 * (high - low), 4.0 * noise)
    close = (np.abs(seen.values - low) < near) | (np.abs(seen.values - high) < near)
    return float(seen.counts[close].sum()) / seen.total
