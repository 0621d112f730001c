"""State levels: the two populations of a capture, or the one.

References
----------
.. [1] IEEE Std 181-2011, 5.2: split the amplitude range, then a statistic of each population. The
   statistic here is the median: a histogram mode would be off by up to half a bin.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

_SUBSET = 1 << 17
_BLOCK = 1 << 12
_GOLDEN = 0.6180339887498949


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
    Levels : from at most some 130,000 samples, taken as whole stretches all over the record.
    """
    blocks = _blocks(samples)
    flat = np.concatenate(blocks)
    step = _step(samples, flat)
    lowest, highest = np.percentile(flat, (0.5, 99.5))
    low, high = _populations(flat, float(lowest), float(highest))
    noise = _noise(blocks, high - low)
    if high - low < 10.0 * noise or high - low < 3.5 * step or high == low:
        middle = float(np.median(flat))
        return Levels(middle, middle, noise, step, False, 1.0)
    return Levels(low, high, noise, step, True, _settled(flat, low, high, noise))


def _blocks(samples: npt.NDArray[Any]) -> list[npt.NDArray[np.float64]]:
    """Whole stretches, so that neighbours stay neighbours; placed so that no period matches."""
    if samples.size <= _SUBSET:
        return [samples.astype(np.float64)]
    places = (np.arange(_SUBSET // _BLOCK) * _GOLDEN) % 1.0
    starts = (places * (samples.size - _BLOCK)).astype(np.int64)
    return [samples[start : start + _BLOCK].astype(np.float64) for start in starts]


def _populations(flat: npt.NDArray[np.float64], low: float, high: float) -> tuple[float, float]:
    if low == high:
        return low, high  # what is left beyond both percentiles are spikes, no population
    for _ in range(3):
        middle = 0.5 * (low + high)
        above = flat > middle
        if above.all() or not above.any():
            return middle, middle
        low, high = float(np.median(flat[~above])), float(np.median(flat[above]))
    return low, high


def _noise(blocks: list[npt.NDArray[np.float64]], swing: float) -> float:
    """RMS difference of neighbours, edges left out, over the square root of two."""
    steps = np.concatenate([np.diff(block) for block in blocks])
    if steps.size == 0:
        return 0.0
    if swing > 0:
        quiet = steps[np.abs(steps) < 0.25 * swing]
        # With nothing quiet, the values jump about all the time: that is the noise.
        steps = quiet if quiet.size > 0.7 * steps.size else steps
    spread = float(np.sqrt(np.mean(steps**2) / 2.0))
    # A few large differences (slow edges, spikes) must not pass for noise.
    robust = float(np.percentile(np.abs(steps), 68.3)) / np.sqrt(2.0)
    return robust if 0 < robust < spread else spread


def _step(samples: npt.NDArray[Any], flat: npt.NDArray[np.float64]) -> float:
    if samples.dtype.kind in "iu":
        return 1.0
    values = np.unique(flat)
    if values.size < 5 or values.size > max(16, flat.size // 4):
        return 0.0
    gaps = np.diff(values)
    wide = gaps[gaps > 1e-6 * (values[-1] - values[0])]
    return float(wide.min())


def _settled(flat: npt.NDArray[np.float64], low: float, high: float, noise: float) -> float:
    near = max(0.08 * (high - low), 4.0 * noise)
    return float(np.mean((np.abs(flat - low) < near) | (np.abs(flat - high) < near)))
