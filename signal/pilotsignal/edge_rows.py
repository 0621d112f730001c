"""Samples around the edges of one direction, reduced to what a fit of the whole waveform needs.

Edges whose samples lie at nearly the same phase form a row; a row keeps the mean of each column
(the samples at the same distance from the edge) and how the column goes with the cycle number.
For a waveform that is smooth inside a row these sums say all that the samples say of its shape and
its period (sufficient statistics, S. M. Kay, Fundamentals of Statistical Signal Processing:
Estimation Theory, 1993, 5.4).
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from pilotsignal.capture import Gap
from pilotsignal.quick import windows
from pilotsignal.timing import Floats, Indices

_BLOCK = 1 << 17  # samples gathered at a time: bounds the memory
_MOST_ROWS = 8192
_FINE = 256.0  # rows per time constant
_FEW = 1 << 15  # so many samples are not worth grouping


@dataclass(frozen=True, slots=True)
class Teeth:
    """Where the edges of one direction are expected: ``reference + cycle * period``.

    Parameters
    ----------
    reference, period : sample intervals.
    before, after : columns before and after the expected instant.
    fastest : shortest time constant that must not be blurred, sample intervals.
    limit : phase from which on samples belong to the next edge.
    lead : time ahead of an edge before which the one before it has not settled.
    """

    reference: float
    period: float
    before: int
    after: int
    fastest: float
    limit: float = math.inf
    lead: float = math.inf


@dataclass(frozen=True, slots=True, eq=False)
class EdgeRows:
    """Rows of edges, columns of samples.

    Parameters
    ----------
    at : float64, shape (rows,): mean phase of column `before`, 0 to 1 sample after the instant.
    blur : float64, shape (rows,): variance of the phases inside the row.
    count, cycle, spread : float64, shape (rows,): edges, their mean cycle, and the sum of squared
        cycle numbers about it.
    lean : float64, shape (rows,): how the phase inside a row goes with the cycle, per cycle.
    mean : float64, shape (rows, columns): mean sample values.
    tilt : float64, same shape: change of the value per cycle; zero where a row is one edge.
    before : columns ahead of the instant.
    index, number, row : int64, shape (edges,): first sample after the instant, cycle number, row.
    off : float64, shape (edges,): phase of each edge less that of its row.
    limit, lead : as in `Teeth`.
    gap : widest gap between the phases of edges, in sample intervals, at most 1.
    """

    at: Floats
    blur: Floats
    count: Floats
    cycle: Floats
    spread: Floats
    lean: Floats
    mean: Floats
    tilt: Floats
    before: int
    index: Indices
    number: Indices
    row: Indices
    off: Floats
    limit: float
    lead: float
    gap: float

    @property
    def phase(self) -> Floats:
        """Phase of every cell, shape (rows, columns)."""
        return self._across(self.at)

    def phase_at(self, change: float, middle: float) -> Floats:
        """As `phase`, with the period changed by `change` about cycle `middle`."""
        return self._across(self.at - change * (self.cycle - middle))

    def _across(self, at: Floats) -> Floats:
        return at[:, None] + (np.arange(self.mean.shape[1]) - self.before)

    @property
    def single(self) -> bool:
        """Whether each row is one edge, row by row in the order of edges."""
        return self.at.size == self.index.size

    def foreign(self) -> npt.NDArray[np.bool_] | None:
        """Which cells belong to the edges beside; None where windows reach none of them."""
        if math.isinf(self.limit) and self.lead >= self.before:
            return None
        phase = self.phase
        return (phase >= self.limit) | (phase < -self.lead)

    def gap_at(self, change: float, middle: float) -> float:
        """As `gap`, with the period changed by `change` about cycle `middle`."""
        return _widest_gap(self.at - change * (self.cycle - middle))

    def no_gap_beyond(self, most: float, change: float, middle: float) -> bool:
        """Whether `gap_at` is at most `most`; by how far cycles are apart it often is plain."""
        apart = abs(change) * float(self.cycle.max() - self.cycle.min())
        return self.gap + apart <= most or self.gap_at(change, middle) <= most


def edge_rows(
    samples: npt.NDArray[Any], gaps: tuple[Gap, ...], teeth: Teeth, left_out: Indices | None = None
) -> EdgeRows | None:
    """Reduce the samples around all edges that the record holds whole.

    Parameters
    ----------
    samples : shape (n,).
    left_out : cycle numbers not to use.

    Returns
    -------
    EdgeRows or None : None where no edge is whole.
    """
    index, number, phase = _expected(samples.size, gaps, teeth)
    if left_out is not None and left_out.size:
        keep = ~np.isin(number, left_out)
        index, number, phase = index[keep], number[keep], phase[keep]
    if index.size == 0:
        return None
    columns = teeth.before + teeth.after
    wanted = int(np.ceil(_FINE / max(teeth.fastest, 1e-6)))
    rows = min(wanted, _MOST_ROWS)
    if index.size * columns <= _FEW or 2 * rows >= index.size:
        return _single(samples, teeth, (index, number, phase))
    return _grouped(samples, teeth, (index, number, phase), rows)


def _expected(size: int, gaps: tuple[Gap, ...], teeth: Teeth) -> tuple[Indices, Indices, Floats]:
    """First sample at or after each expected instant, cycle, phase of that sample."""
    begin = np.array([0, *(gap.index for gap in gaps)], np.int64)
    lost = np.cumsum([0, *(gap.missing for gap in gaps)]).astype(np.int64)
    end = np.append(begin[1:], size)
    total = size + int(lost[-1])
    first = int(np.floor(-teeth.reference / teeth.period)) - 1
    last = int(np.ceil((total - teeth.reference) / teeth.period)) + 1
    number = np.arange(first, last + 1, dtype=np.int64)
    instant = teeth.reference + teeth.period * number
    place = np.ceil(instant)
    phase = place - instant
    index = place.astype(np.int64)
    if gaps:
        part = np.maximum(np.searchsorted(begin + lost, index, side="right") - 1, 0)
        index -= lost[part]
        begin, end = begin[part], end[part]
    inside = (index - teeth.before >= begin) & (index + teeth.after <= end)
    return index[inside], number[inside], phase[inside]


def _windows(samples: npt.NDArray[Any], begin: Indices, columns: int) -> npt.NDArray[Any]:
    return np.asarray(windows(samples, columns)[begin])


def _single(
    samples: npt.NDArray[Any], teeth: Teeth, edges: tuple[Indices, Indices, Floats]
) -> EdgeRows:
    index, number, phase = edges
    mean = _windows(samples, index - teeth.before, teeth.before + teeth.after).astype(np.float64)
    none = np.zeros(index.size)
    return EdgeRows(
        phase,
        none,
        np.ones(index.size),
        number.astype(np.float64),
        none,
        none,
        mean,
        np.broadcast_to(np.zeros(1), mean.shape),
        teeth.before,
        index,
        number,
        np.arange(index.size),
        none,
        teeth.limit,
        teeth.lead,
        _widest_gap(phase),
    )


def _grouped(
    samples: npt.NDArray[Any], teeth: Teeth, edges: tuple[Indices, Indices, Floats], rows: int
) -> EdgeRows:
    index, number, phase = edges
    group = np.minimum((phase * rows).astype(np.int16), rows - 1)
    order = np.argsort(group, kind="stable")
    group, index, number, phase = group[order], index[order], number[order], phase[order]
    first = np.flatnonzero(np.diff(group, prepend=-1))
    count = np.diff(first, append=group.size).astype(np.float64)
    row = np.repeat(np.arange(first.size), count.astype(np.int64))
    at = np.add.reduceat(phase, first) / count
    blur = np.add.reduceat((phase - at[row]) ** 2, first) / count
    cycle = np.add.reduceat(number.astype(np.float64), first) / count
    off = number - cycle[row]
    spread = np.add.reduceat(off**2, first)
    safe = np.where(spread > 0, spread, 1.0)
    lean = np.add.reduceat((phase - at[row]) * off, first) / safe
    mean, tilt = _sums(samples, teeth, (index, off, row), first.size)
    mean /= count[:, None]
    tilt /= safe[:, None]
    return EdgeRows(
        at,
        blur,
        count,
        cycle,
        spread,
        lean,
        mean,
        tilt,
        teeth.before,
        index,
        number,
        row,
        phase - at[row],
        teeth.limit,
        teeth.lead,
        _widest_gap(at),
    )


def _sums(
    samples: npt.NDArray[Any], teeth: Teeth, edges: tuple[Indices, Floats, Indices], rows: int
) -> tuple[Floats, Floats]:
    """Sums of the values, and of value times cycle, over the edges of each row."""
    index, off, row = edges
    columns = teeth.before + teeth.after
    total, moment = np.zeros((rows, columns)), np.zeros((rows, columns))
    block = max(1, _BLOCK // columns)
    for begin in range(0, index.size, block):
        part = slice(begin, begin + block)
        held = row[part]
        first = np.flatnonzero(np.diff(held, prepend=-1))
        values = _windows(samples, index[part] - teeth.before, columns).astype(np.float64)
        total[held[first]] += np.add.reduceat(values, first, axis=0)
        values *= off[part, None]
        moment[held[first]] += np.add.reduceat(values, first, axis=0)
    return total, moment


def _widest_gap(phase: Floats) -> float:
    """Widest gap of phases on the circle of one sample interval."""
    ordered = np.sort(phase - np.floor(phase))
    around = float(ordered[0] + 1.0 - ordered[-1])
    return max(around, float((ordered[1:] - ordered[:-1]).max(initial=0.0)))
