"""All samples of a capture in bins of equivalent time, and the gaps between their places."""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from pilotsignal.capture import Capture
from pilotsignal.folded_edges import missing_before
from pilotsignal.timing import Floats

_CHUNK: Final = 1 << 18
_FINE: Final = 1 << 20  # places told apart in a period: 1 ns at 1 kHz
_PER_BIN: Final = 2  # samples that a bin gets on average
_FEWEST: Final = 16
_MOST: Final = 1 << 16
_MOST_STATED: Final = 1 << 18


@dataclass(frozen=True, slots=True)
class Turn:
    """How samples are laid over one another, in sample intervals.

    Parameters
    ----------
    period : of the signal.
    origin : time of the beginning of one period, after the first sample.
    """

    period: float
    origin: float


@dataclass(frozen=True, slots=True, eq=False)
class Bins:
    """Bins with at least one sample, in order of time.

    Parameters
    ----------
    phase : float64, shape (n,): mean time of the samples of each, in sample intervals after the
        beginning of the period.
    mean, scatter : float64, shape (n,): mean and standard deviation of the samples, in sample
        units; scatter is 0 where there is one.
    count : int64, shape (n,).
    number : bins in the period, empty ones included.
    places : float64, shape (m,), rising: where samples lie, to a millionth of a period.
    """

    phase: Floats
    mean: Floats
    scatter: Floats
    count: npt.NDArray[np.int64]
    number: int
    places: Floats

    def width(self, period: float) -> float:
        """Width of a bin in the unit of `period`."""
        return period / self.number


def bins_for(samples: int, stated: float | None) -> int:
    """How many bins: what was asked for, or as many as hold two samples each on average."""
    if stated is not None:
        return int(min(max(_FEWEST, np.ceil(stated)), _MOST_STATED))
    return min(max(_FEWEST, samples // _PER_BIN), _MOST)


def fill(capture: Capture, turn: Turn, number: int) -> Bins:
    """One pass over the samples; missing ones are counted, none is invented.

    Parameters
    ----------
    number : of bins.
    """
    reference = float(np.median(capture.samples[: 1 << 12]))
    sums = np.zeros((4, number))
    met = np.zeros(_FINE, bool)
    for start in range(0, capture.samples.size, _CHUNK):
        values = capture.samples[start : start + _CHUNK].astype(np.float64) - reference
        index = np.arange(start, start + values.size, dtype=np.int64)
        place = index + missing_before(capture.gaps, index) if capture.gaps else index
        phase = (place - turn.origin) / turn.period
        phase -= np.floor(phase)
        bins = np.minimum((phase * number).astype(np.int64), number - 1)
        met[np.minimum((phase * _FINE).astype(np.int64), _FINE - 1)] = True
        parts = (None, phase, values, values * values)
        sums += np.array([np.bincount(bins, weights, number) for weights in parts])
    return _bins(sums, reference, turn.period, np.flatnonzero(met) / _FINE * turn.period)


def _bins(sums: Floats, reference: float, period: float, places: Floats) -> Bins:
    held = sums[0] > 0
    count, phase, total, power = (row[held] for row in sums)
    mean = total / count
    variance = np.maximum(power / count - mean * mean, 0.0) * count / np.maximum(count - 1.0, 1.0)
    return Bins(
        phase / count * period,
        mean + reference,
        np.sqrt(variance),
        count.astype(np.int64),
        sums.shape[1],
        places,
    )


def widest_gap(places: Floats, period: float, around: tuple[float, float] | None = None) -> float:
    """Largest distance between neighbouring samples on the circle of one period.

    Parameters
    ----------
    places : shape (n,), rising, one at least.
    around : only gaps that reach into this stretch, which may begin below 0 or end beyond `period`.
    """
    nexts = np.append(places[1:], places[0] + period)
    gaps = nexts - places
    if around is None:
        return float(gaps.max())
    inside = np.zeros(gaps.size, bool)
    for turn in (-period, 0.0, period):
        inside |= (nexts + turn > around[0]) & (places + turn < around[1])
    return float(gaps[inside].max())
