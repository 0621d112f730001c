"""Equivalent time: samples of many periods laid over one another at the measured period."""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from pilotsignal.capture import Gap
from pilotsignal.timing import Comb, Floats, Indices

_BINS = 2048
_MOST = 1 << 18


@dataclass(frozen=True, slots=True, eq=False)
class EdgeSamples:
    """Samples around many edges of one direction, not yet folded.

    Parameters
    ----------
    place : float64, shape (edges, window): sample times, missing samples counted.
    value : float64, same shape: sample values.
    cycle : int64, shape (edges,): cycle number of each edge.
    """

    place: Floats
    value: Floats
    cycle: Indices

    def phase(self, at: float, period: float) -> Floats:
        """Time of each sample after its own edge, shape (edges, window)."""
        return self.place - (at + period * self.cycle)[:, None]


@dataclass(frozen=True, slots=True, eq=False)
class FoldedEdge:
    """One edge in equivalent time, in bins with at least one sample each.

    Parameters
    ----------
    phase : float64, shape (n,), rising: mean time of each bin after the edge, in sample intervals.
    value : float64, shape (n,): mean value.
    count : float64, shape (n,): samples in the bin.
    cycle : float64, shape (n,): mean cycle number.
    """

    phase: Floats
    value: Floats
    count: Floats
    cycle: Floats


@dataclass(frozen=True, slots=True)
class Window:
    """Which samples around an edge to take: from `before` to `after` it, in sample intervals."""

    before: int
    after: int


def window_of(comb: Comb, share: float = 0.03, least: int = 3) -> Window:
    """Window that holds an edge of at most a tenth of the period and no part of the next."""
    shorter = min(comb.width, comb.period - comb.width)
    half = min(max(least, int(np.ceil(share * comb.period))), max(2, int(0.5 * shorter)))
    return Window(half, half)


def gather(
    samples: npt.NDArray[Any], gaps: tuple[Gap, ...], at: Indices, cycle: Indices, window: Window
) -> EdgeSamples:
    """Samples around edges; edges whose window leaves the record or meets a gap are left out.

    Parameters
    ----------
    at : int64, shape (n,): index of the first sample beyond each edge.
    cycle : int64, shape (n,).

    At most about 260,000 samples are taken, from edges spread evenly over the record: that many
    bring the noise far below any converter's step.
    """
    reach = np.arange(-window.before, window.after)
    inside = (at >= window.before) & (at + window.after <= samples.size)
    for gap in gaps:
        inside &= (at + window.after <= gap.index) | (at - window.before >= gap.index)
    at, cycle = at[inside], cycle[inside]
    stride = max(1, (at.size * reach.size + _MOST - 1) // _MOST)
    at, cycle = at[::stride], cycle[::stride]
    index = at[:, None] + reach
    place = index + missing_before(gaps, index)
    return EdgeSamples(place.astype(np.float64), samples[index].astype(np.float64), cycle)


def missing_before(gaps: tuple[Gap, ...], index: Indices) -> Indices:
    """How many samples are missing before each index, same shape."""
    if not gaps:
        return np.zeros(1, np.int64)
    edges = np.array([gap.index for gap in gaps])
    lost = np.concatenate(([0], np.cumsum([gap.missing for gap in gaps])))
    return lost[np.searchsorted(edges, index, side="right")].astype(np.int64)


def fold_edge(edges: EdgeSamples, at: float, period: float) -> FoldedEdge:
    """Lay the edges over one another, in up to 2,048 bins of equal width that hold samples."""
    phase, value = edges.phase(at, period).ravel(), edges.value.ravel()
    if phase.size == 0:
        return FoldedEdge(phase, value, value.copy(), value.copy())
    low, high = float(phase.min()), float(phase.max())
    scale = _BINS / (high - low) * (1 - 1e-12) if high > low else 0.0
    bins = ((phase - low) * scale).astype(np.int64)
    count = np.bincount(bins, minlength=_BINS).astype(np.float64)
    held = count > 0
    mean_phase = np.bincount(bins, phase, _BINS)[held] / count[held]
    mean_value = np.bincount(bins, value, _BINS)[held] / count[held]
    cycle = np.repeat(edges.cycle.astype(np.float64), edges.place.shape[1])
    mean_cycle = np.bincount(bins, cycle, _BINS)[held] / count[held]
    return FoldedEdge(mean_phase, mean_value, count[held], mean_cycle)
