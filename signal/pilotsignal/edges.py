"""Edges on raw samples: where the waveform goes from one level to the other.

A threshold in the middle finds them in one pass. Where noise makes it chatter,
two thresholds (hysteresis) decide instead; what is then still too short for
the rest of the record is a spike, counted and left out.
"""

from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from pilotsignal.capture import Gap
from pilotsignal.folded_edges import missing_before
from pilotsignal.levels import Levels

Indices = npt.NDArray[np.int64]
_CHUNK = 1 << 17


@dataclass(frozen=True, slots=True, eq=False)
class Edges:
    """Edges in order, directions alternating.

    Parameters
    ----------
    index : int64, shape (n,): first sample at or beyond the middle after each edge.
    rising : bool, shape (n,).
    spikes : excursions through the middle too short to be pulses; not among the edges.
    """

    index: Indices
    rising: npt.NDArray[np.bool_]
    spikes: int

    def of(self, rising: bool) -> Indices:
        """Indices of the edges of one direction: every other one."""
        first = 0 if self.index.size and bool(self.rising[0]) == rising else 1
        return self.index[first::2]


def find_edges(samples: npt.NDArray[Any], levels: Levels, gaps: tuple[Gap, ...] = ()) -> Edges:
    """Edges of a waveform with two levels.

    Parameters
    ----------
    samples : shape (n,), finite.
    levels : of the same samples, `levels.two` true.
    gaps : where samples are missing: what is left of a pulse there is no spike.
    """
    index = _crossings(samples, levels.at(0.5))
    index, spikes = _without_ends(index, samples.size)
    if not _regular(index):
        if _chatters(index):
            index = _hysteresis(samples, levels)
        index, more = _without_spikes(index, gaps)
        spikes += more
    first_rising = bool(samples[index[0]] > levels.at(0.5)) if index.size else True
    rising = np.empty(index.size, bool)
    rising[0::2], rising[1::2] = first_rising, not first_rising
    return Edges(index, rising, spikes)


def _without_ends(index: Indices, size: int) -> tuple[Indices, int]:
    """Drop crossings that only the first or the last sample vouches for.

    Nothing shows whether they are edges. One that comes far too early is a spike.
    """
    spikes = 0
    if index.size >= 6 and index[-1] == size - 1:
        spikes += _early(np.diff(index)[::-1])
        index = index[:-1]
    if index.size >= 6 and index[0] == 1:
        spikes += _early(np.diff(index))
        index = index[1:]
    return index, spikes


def _early(widths: Indices) -> int:
    """1 where the first of `widths` is far shorter than all others of its kind, else 0."""
    others = widths[2::2]
    return int(widths[0] < min(0.7 * np.median(others), others.min()))


def _regular(index: Indices) -> bool:
    """Whether no interval is far from what intervals of its kind are: nothing to look into."""
    if index.size < 4:
        return False
    widths = np.diff(index)
    lowest = [int(part.min()) for part in (widths[0::2], widths[1::2])]
    highest = [int(part.max()) for part in (widths[0::2], widths[1::2])]
    usual = min(highest)
    return min(lowest) > 0.5 * usual and usual > 4


def _threshold(samples: npt.NDArray[Any], level: float) -> Any:
    """Level in the samples' own type, so that the comparison needs no conversion."""
    return samples.dtype.type(np.floor(level)) if samples.dtype.kind in "iu" else level


def _crossings(samples: npt.NDArray[Any], level: float) -> Indices:
    """First sample on the new side, for each change of side; chunks stay in the cache."""
    threshold = _threshold(samples, level)
    found = []
    for start in range(0, samples.size - 1, _CHUNK):
        above = samples[start : start + _CHUNK + 1] > threshold
        found.append(np.flatnonzero(above[1:] != above[:-1]) + (start + 1))
    return np.concatenate(found).astype(np.int64) if found else np.empty(0, np.int64)


def _chatters(index: Indices) -> bool:
    """Whether some intervals are far shorter than intervals of their parity usually are."""
    if index.size < 4:
        return False
    widths = np.diff(index)
    usual = min(np.median(widths[0::2]), np.median(widths[1::2]))
    return bool(widths.min() < 0.3 * usual) or bool(usual <= 2)


def _hysteresis(samples: npt.NDArray[Any], levels: Levels) -> Indices:
    """Middle between the last sample beyond one threshold and the first beyond the other."""
    up = _crossings(samples, levels.at(0.7))
    down = _crossings(samples, levels.at(0.3))
    place = np.concatenate((up, down))
    order = np.argsort(place, kind="stable")
    place = place[order]
    upper = (order < up.size).astype(bool)
    above = samples[place] > np.where(upper, levels.at(0.7), levels.at(0.3))
    # Upwards through the upper threshold is "high", downwards through the lower is "low".
    decides = upper == above
    side, at = above[decides], np.flatnonzero(decides)
    if at.size == 0:
        return np.empty(0, np.int64)
    start_high = bool(samples[0] > levels.at(0.5))
    changed = np.concatenate(([bool(side[0]) != start_high], side[1:] != side[:-1]))
    at = at[changed]
    # Entered through one threshold, decided at the other: the edge is between them. A fast edge
    # passes both at once, and what comes before it in the list belongs to the edge before.
    last = np.maximum(at - 1, 0)
    entered = np.where(
        (above[last] == above[at]) & (upper[last] != upper[at]), place[last], place[at]
    )
    usual = np.median(np.diff(place[at])) if at.size > 2 else 0.0
    decided, span = place[at], place[at] - entered
    found = np.where(span <= max(4.0, 0.05 * usual), (decided + entered + 1) // 2, decided)
    # A single sample in between is on the side of the middle that it is on.
    beyond = (samples[entered] > levels.at(0.5)) == side[changed]
    return np.where((span == 1) & beyond, entered, found).astype(np.int64)


def _without_spikes(index: Indices, gaps: tuple[Gap, ...]) -> tuple[Indices, int]:
    """Drop pairs of edges that enclose far less than the usual pulse of their kind.

    Missing samples count; of a pulse that began among them nobody knows how long it was.
    """
    cut = [gap.index for gap in gaps]
    spikes = 0
    while index.size >= 6:
        widths = np.diff(index + missing_before(gaps, index))
        usual = np.where(
            np.arange(widths.size) % 2 == 0, np.median(widths[0::2]), np.median(widths[1::2])
        )
        brief = widths < 0.3 * np.minimum(usual, np.median(usual))
        short = np.flatnonzero(brief & ~np.isin(index[:-1], cut) if cut else brief)
        if short.size == 0 or short.size > 0.05 * widths.size + 1:
            break
        # A spike close to an edge leaves two short ones in a row: the shorter is the spike.
        runs = np.split(short, np.flatnonzero(np.diff(short) > 1) + 1)
        first = np.array([run[np.argmin(widths[run])] for run in runs])
        index = np.delete(index, np.concatenate((first, first + 1)))
        spikes += int(first.size)
    return index, spikes
