"""Single edges against the fitted waveform: how late each comes, and which hold a spike."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from pilotsignal.edge_rows import EdgeRows
from pilotsignal.edge_shape import draw, trace
from pilotsignal.quick import median, windows
from pilotsignal.timing import Floats, Indices
from pilotsignal.waveform_fit import PARAMETERS, WaveformFit, places

_BLOCK = 1 << 17
_FAR = 8.0  # standard deviations
_MOST_FAR = 0.05  # share of the edges that spikes may spoil
EARLY = 0.3  # samples by which an edge may come early or late
_TELLING = 0.05  # of the best edge's information
_SIZE = len(PARAMETERS)


@dataclass(frozen=True, slots=True, eq=False)
class Lateness:
    """Single edges of one direction.

    Parameters
    ----------
    late : float64, shape (n,): how much later than the fit each edge comes, in sample intervals.
    weight : float64, shape (n,): one over the variance that noise gives it.
    cycle : int64, shape (n,).
    jitter2 : variance of the edges' instants beyond the noise's, 0 where none shows.
    """

    late: Floats
    weight: Floats
    cycle: Indices
    jitter2: float


@dataclass(frozen=True, slots=True, eq=False)
class Extra:
    """What jitter adds to the covariance of the fit, and to its sum of squares and its variance."""

    covariance: Floats
    chi2: float
    variance: float


@dataclass(frozen=True, slots=True, eq=False)
class Expected:
    """Fitted value and slope of every cell, float64, shape (rows, columns)."""

    value: Floats
    slope: Floats

    @classmethod
    def of(cls, rows: EdgeRows, fit: WaveformFit, rising: bool) -> "Expected":
        """What a fit expects in its rows."""
        phase = rows.phase - (fit.values[2] * (rows.cycle - fit.cycle))[:, None]
        value, slope = trace(fit.shape(rising), phase.ravel())
        return cls(value.reshape(phase.shape), slope.reshape(phase.shape))


def lateness(
    samples: npt.NDArray[Any], rows: EdgeRows, fit: WaveformFit, expected: Expected, sigma: float
) -> Lateness:
    """Every edge's own instant, from the samples on it.

    One Newton step of least squares: an edge late by t shows ``g(x - t)``, so that
    ``late = -sum(g' (v - g)) / sum(g'^2)``.
    """
    value, slope = expected.value, expected.slope
    power = np.sum(slope**2, axis=1)
    usable = power > _TELLING * power.max()
    columns = np.flatnonzero(np.abs(slope).max(axis=0) > 1e-4 * np.abs(slope).max())
    begin, stop = int(columns[0]), int(columns[-1]) + 1
    slope, value = slope[:, begin:stop], value[:, begin:stop]
    base = np.sum(slope * value, axis=1)
    edges = np.flatnonzero(usable[rows.row])
    pull = np.empty(edges.size)
    view = windows(samples, stop - begin)
    first = rows.index - rows.before + begin
    block = max(1, _BLOCK // (stop - begin))
    for at in range(0, edges.size, block):
        part = edges[at : at + block]
        mine = rows.row[part]
        seen = np.einsum("ij,ij->i", slope[mine], view[first[part]].astype(np.float64))
        pull[at : at + block] = seen - base[mine]
    row = rows.row[edges]
    # The row's waveform stands for edges that lie a little beside it, in phase and in cycle.
    late = -pull / power[row] + rows.off[edges]
    late -= fit.values[2] * (rows.number[edges] - rows.cycle[row])
    weight = power[row] / max(sigma, 1e-9 * float(np.abs(slope).max())) ** 2
    jitter2 = _beyond_noise(late, weight, rows.at[row])
    return Lateness(late, weight, rows.number[edges], jitter2)


def _beyond_noise(late: Floats, weight: Floats, phase: Floats) -> float:
    """Variance beyond the noise's; none where chance may have made it.

    From differences between edges that were met at neighbouring phases: what an edge of another
    shape than the model's does goes with the phase and is no jitter.
    """
    if late.size < 8:
        return 0.0
    order = np.argsort(phase, kind="stable")
    change = np.diff(late[order])
    noise = 1.0 / weight[order]
    noise = noise[1:] + noise[:-1]
    squares = change**2 / noise
    near = squares <= 64.0 * max(1.0, median(squares))
    squares, noise = squares[near], noise[near]
    count = float(squares.size)
    excess = float(np.sum(squares)) / max(1.0, count - 1.0) - 1.0
    if excess < math.sqrt(3.0 / count):
        return 0.0
    # Edges that tell more count for more, as long as jitter is the lesser part.
    return excess * count / float(np.sum(2.0 / noise))


def jitter_covariance(
    rows: tuple[EdgeRows, EdgeRows],
    fit: WaveformFit,
    late: tuple[Lateness, Lateness],
    sigma: float,
) -> Extra:
    """What jitter of single edges does to the fit, to first order.

    All samples of an edge move together, so that their weights do not show it: the fit answers
    to the shift of one edge by ``C s`` with s its pull on the normal equations.  Both edges of a
    pulse may be late together.
    """
    covariance, chi2, variance = np.zeros((_SIZE, _SIZE)), 0.0, 0.0
    answers = []
    for part, rising, mine in zip(rows, (True, False), late, strict=True):
        if mine.jitter2 == 0.0:
            continue
        shape = part.phase.shape
        offset = part.cycle - fit.cycle
        drawn = draw(fit.shape(rising), (part.phase - (fit.values[2] * offset)[:, None]).ravel())
        pull = np.zeros((part.at.size, _SIZE))
        by = (drawn.by * drawn.slope).reshape(6, *shape).sum(axis=2) / sigma**2
        pull[:, places(rising)] = by.T
        each = pull @ fit.covariance
        along = -(drawn.slope**2).reshape(shape).sum(axis=1) / sigma**2
        tilt = along[:, None] * fit.covariance[2]
        steady = each + offset[:, None] * tilt
        answers.append((each, tilt))
        covariance += mine.jitter2 * (steady * part.count[:, None]).T @ steady
        covariance += mine.jitter2 * (tilt * part.spread[:, None]).T @ tilt
        powers = (drawn.slope**2).reshape(shape).sum(axis=1) / sigma**2
        times = 2.0 if (part.spread > 0).any() else 1.0
        share = times * mine.jitter2 * float(np.sum(powers))
        chi2 += share
        variance += 2.0 * times * float(np.sum((mine.jitter2 * powers) ** 2))
        variance += 3.0 * share**2 / mine.late.size  # as well as the jitter is known
    if len(answers) == 2:
        shared = _together(rows, fit.cycle, (answers[0], answers[1]))
        shared *= _common(*late)
        covariance += shared + shared.T
    return Extra(covariance, chi2, variance)


def _common(rise: Lateness, fall: Lateness) -> float:
    """Covariance of the lateness of both edges of a pulse, 0 where chance may have made it."""
    _, at_rise, at_fall = np.intersect1d(rise.cycle, fall.cycle, return_indices=True)
    if at_rise.size < 8:
        return 0.0
    one, other = rise.late[at_rise], fall.late[at_fall]
    one, other = one - median(one), other - median(other)
    near = (np.abs(one) < 6.0 * median(np.abs(one))) & (np.abs(other) < 6.0 * median(np.abs(other)))
    one, other = one[near], other[near]
    found = float((one * other).sum()) / max(1, one.size)
    spread = math.sqrt(float((one * one).sum() * (other * other).sum()) / max(1, one.size) ** 3)
    if abs(found) < 2.0 * spread:
        return 0.0
    most = math.sqrt(rise.jitter2 * fall.jitter2)
    return max(-most, min(found, most))


def _together(
    rows: tuple[EdgeRows, EdgeRows],
    middle: float,
    answers: tuple[tuple[Floats, Floats], tuple[Floats, Floats]],
) -> Floats:
    """Sum over the pulses of what the fit answers to one edge times what it does to the other."""
    _, at_rise, at_fall = np.intersect1d(rows[0].number, rows[1].number, return_indices=True)
    total = np.zeros((_SIZE, _SIZE))
    for begin in range(0, at_rise.size, _BLOCK):
        parts = []
        for part, at, (each, tilt) in zip(rows, (at_rise, at_fall), answers, strict=True):
            edge = at[begin : begin + _BLOCK]
            row = part.row[edge]
            parts.append(each[row] + (part.number[edge] - middle)[:, None] * tilt[row])
        total += np.einsum("ki,kj->ij", *parts)
    return total


def astray(
    samples: npt.NDArray[Any],
    rows: EdgeRows,
    fitted: tuple[WaveformFit, bool, Expected],
    sigma: float,
    early: float = EARLY,
) -> Indices:
    """Cycle number of each sample far off the model; none where they are more than a few.

    Parameters
    ----------
    fitted : the fit, whether these edges rise, and what it expects of them.
    early : how early or late an edge may come, in sample intervals.
    """
    fit, rising, expected = fitted
    value, slope = expected.value, expected.slope
    noise = max(sigma, 0.5 if samples.dtype.kind in "iu" else 0.0)
    noise = max(noise, 1e-6 * float(np.ptp(value)))
    # On the edge a spike cannot be told from an edge that comes early or late.
    reach = _FAR * noise + early * np.abs(slope)
    if math.isfinite(rows.limit):
        reach[rows.phase >= rows.limit] = np.inf
    rest = np.abs(rows.mean - value) * rows.count[:, None]
    spread = np.where(rows.count > 1, 5.0 * noise * np.sqrt(rows.count), 0.0)
    suspect = np.flatnonzero((rest > np.maximum(reach, spread[:, None])).any(axis=1))
    if suspect.size:
        # Beside a corner the slope of one place says little of what an early edge would show.
        reach[suspect] = np.maximum(
            reach[suspect], _FAR * noise + _moved(rows, (fit, rising), suspect, early)
        )
        limit = np.maximum(reach[suspect], spread[suspect, None])
        suspect = suspect[(rest[suspect] > limit).any(axis=1)]
    if suspect.size == 0 or (rows.count.size == rows.number.size and _many(suspect.size, rows)):
        return np.empty(0, np.int64)
    return _search(samples, rows, (value, reach), suspect)


def _moved(rows: EdgeRows, edge: tuple[WaveformFit, bool], which: Indices, early: float) -> Floats:
    """By how much the cells of some rows change if their edges come a little early or late."""
    fit, rising = edge
    shape = fit.shape(rising)
    phase = rows.phase[which] - (fit.values[2] * (rows.cycle[which] - fit.cycle))[:, None]
    here, sooner, later = (trace(shape, (phase + off).ravel())[0] for off in (0.0, early, -early))
    most = np.maximum(np.abs(sooner - here), np.abs(later - here))
    return np.asarray(most.reshape(phase.shape), np.float64)


def _many(count: int, rows: EdgeRows) -> bool:
    return count > _MOST_FAR * rows.number.size + 1


def _search(
    samples: npt.NDArray[Any], rows: EdgeRows, limits: tuple[Floats, Floats], suspect: Indices
) -> Indices:
    value, reach = limits
    edges = np.flatnonzero(np.isin(rows.row, suspect))
    found = []
    block = max(1, _BLOCK // value.shape[1])
    view = windows(samples, value.shape[1])
    for at in range(0, edges.size, block):
        part = edges[at : at + block]
        mine = rows.row[part]
        far = np.abs(view[rows.index[part] - rows.before] - value[mine]) > reach[mine]
        found.append(np.repeat(rows.number[part], np.count_nonzero(far, axis=1)))
    cycles = np.concatenate(found)
    return np.empty(0, np.int64) if _many(cycles.size, rows) else cycles
