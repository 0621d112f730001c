"""Single edges against the fitted waveform: how late each comes, and which hold a spike."""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from pilotsignal.edge_cells import Known, moved_variance
from pilotsignal.edge_rows import EdgeRows
from pilotsignal.edge_shape import Drawn, draw, trace
from pilotsignal.normal_equations import PARAMETERS, places
from pilotsignal.quick import median, windows
from pilotsignal.timing import Floats, Indices
from pilotsignal.waveform_fit import WaveformFit

_BLOCK = 1 << 17
_FAR = 8.0  # standard deviations
_MOST_FAR = 0.05  # share of the edges that spikes may spoil
EARLY = 0.3  # samples by which an edge may come early or late
_NOISE_U = 0.016  # relative, of the noise's variance: some 8,000 samples tell it
_TOGETHER = 1e-6  # chance of spikes so close in phase
_TELLING = 0.05  # of the best edge's information
_SIZE = len(PARAMETERS)
_PERIOD = PARAMETERS.index("period")


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

    @property
    def loud(self) -> bool:
        """Whether jitter certainly moves edges further than noise seems to."""
        if self.jitter2 == 0.0:
            return False
        certain = 4.0 * math.sqrt(3.0 / self.weight.size)
        return self.jitter2 * median(self.weight) > max(1.0, certain)


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
        phase = rows.phase_at(float(fit.values[2]), fit.cycle)
        value, slope = trace(fit.shape(rising), phase.ravel())
        return cls(value.reshape(phase.shape), slope.reshape(phase.shape))


def lateness(
    samples: npt.NDArray[Any], rows: EdgeRows, fit: WaveformFit, expected: Expected, sigma: float
) -> Lateness:
    """Every edge's own instant, from `samples`, shape (n,), on it.

    One Newton step of least squares: an edge late by t shows ``g(x - t)``, so that
    ``late = -sum(g' (v - g)) / sum(g'^2)``.
    """
    value, slope = expected.value, expected.slope
    power = np.einsum("ij,ij->i", slope, slope)
    usable = power > _TELLING * power.max()
    steep = np.abs(np.ascontiguousarray(slope.T)).max(axis=1)  # numpy is slow along short rows
    columns = (steep > 1e-4 * steep.max()).nonzero()[0]
    if columns.size == 0:
        nothing = np.empty(0)
        return Lateness(nothing, nothing, np.empty(0, np.int64), 0.0)  # no sample on any edge
    held = slice(int(columns[0]), int(columns[-1]) + 1)
    edges = usable[rows.row].nonzero()[0]
    if rows.single:
        rest = rows.mean[:, held] - value[:, held]
        pull = np.einsum("ij,ij->i", slope[:, held], rest)[edges]
    else:
        pull = _pulls(samples, rows, (value[:, held], slope[:, held]), (held.start, edges))
    row = rows.row[edges]
    # The row's waveform stands for edges that lie a little beside it, in phase and in cycle.
    late = -pull / power[row] + rows.off[edges]
    late -= fit.values[2] * (rows.number[edges] - rows.cycle[row])
    weight = power[row] / max(sigma, 1e-9 * float(steep.max())) ** 2
    place = rows.at[row] + rows.off[edges] - fit.values[2] * (rows.number[edges] - fit.cycle)
    jitter2 = _beyond_noise(late, weight, place)
    return Lateness(late, weight, rows.number[edges], jitter2)


def _pulls(
    samples: npt.NDArray[Any],
    rows: EdgeRows,
    expected: tuple[Floats, Floats],
    which: tuple[int, Indices],
) -> Floats:
    """Sum of slope times rest of each of some edges, by columns from the first given."""
    (value, slope), (begin, edges) = expected, which
    width = slope.shape[1]
    base = np.einsum("ij,ij->i", slope, value)
    pull = np.empty(edges.size)
    view = windows(samples, width)
    first = rows.index - rows.before + begin
    block = max(1, _BLOCK // width)
    for at in range(0, edges.size, block):
        part = edges[at : at + block]
        mine = rows.row[part]
        seen = np.einsum("ij,ij->i", slope[mine], view[first[part]].astype(np.float64))
        pull[at : at + block] = seen - base[mine]
    return pull


def _beyond_noise(late: Floats, weight: Floats, phase: Floats) -> float:
    """Variance beyond the noise's; none where chance may have made it.

    From differences between edges that were met at neighbouring phases: what an edge of another
    shape than the model's does goes with the phase and is no jitter.
    """
    if late.size < 8:
        return 0.0
    order = np.argsort(phase, kind="stable")
    late, noise = late[order], 1.0 / weight[order]
    noise = noise[1:] + noise[:-1]
    squares = (late[1:] - late[:-1]) ** 2 / noise
    near = squares <= 64.0 * max(1.0, median(squares))
    squares, noise = squares[near], noise[near]
    count = float(squares.size)
    excess = float(squares.sum()) / max(1.0, count - 1.0) - 1.0
    if excess < math.sqrt(3.0 / count) + 2.0 * _NOISE_U:
        return 0.0
    # Edges that tell more count for more, as long as jitter is the lesser part.
    return excess * count / float(np.sum(2.0 / noise))


def jitter_covariance(
    rows: tuple[EdgeRows, EdgeRows],
    fit: WaveformFit,
    late: tuple[Lateness, Lateness],
    known: Known,
) -> Extra:
    """What jitter of single edges does to the fit, to first order.

    All samples of an edge move together, so that their weights do not show it: the fit answers
    to the shift of one edge by ``C s`` with s its pull on the normal equations.  Both edges of a
    pulse may be late together.

    Parameters
    ----------
    known : what the fit was made with; jitter that it knew of is in its sum of squares already.
    """
    covariance, chi2, variance = np.zeros((_SIZE, _SIZE)), 0.0, 0.0
    counted = np.zeros((_SIZE, _SIZE))
    answers = []
    sides = zip(rows, (True, False), late, known.jitter2, strict=True)
    for part, rising, mine, expected2 in sides:
        if mine.jitter2 == 0.0:
            continue
        shape = part.mean.shape
        offset = part.cycle - fit.cycle
        phase = part.phase_at(float(fit.values[2]), fit.cycle).ravel()
        moved = np.zeros(phase.size)
        if expected2 > 0.0:
            moved = moved_variance(fit.shape(rising), phase, expected2)
        weight = 1.0 / (known.sigma**2 + moved)
        foreign = part.foreign()
        if foreign is not None:
            weight[foreign.ravel()] = 0.0
        drawn = draw(fit.shape(rising), phase)
        pull = np.zeros((part.at.size, _SIZE))
        by = (drawn.by * drawn.slope * weight).reshape(6, *shape).sum(axis=2)
        pull[:, places(rising)] = by.T
        each = pull @ fit.covariance
        powers = (drawn.slope**2 * weight).reshape(shape).sum(axis=1)
        tilt = -powers[:, None] * fit.covariance[2]
        steady = each + offset[:, None] * tilt
        answers.append((each, tilt))
        covariance += mine.jitter2 * (steady * part.count[:, None]).T @ steady
        covariance += mine.jitter2 * (tilt * part.spread[:, None]).T @ tilt
        if expected2 > 0.0:
            counted += expected2 * _counted(part, fit, (rising, drawn), weight)
        times = 2.0 if (part.spread > 0).any() else 1.0
        share = times * mine.jitter2 * float(np.sum(powers))
        chi2 += share * (1.0 - expected2 / mine.jitter2)
        variance += 2.0 * times * float(np.sum((mine.jitter2 * powers) ** 2))
        variance += 3.0 * share**2 / mine.late.size  # as well as the jitter is known
    common = _common(*late) if len(answers) == 2 else 0.0
    if common != 0.0:
        shared = common * _together(rows, fit.cycle, (answers[0], answers[1]))
        covariance += shared + shared.T
    covariance += _remainder(fit.covariance, counted) - fit.covariance
    return Extra(covariance, chi2, variance)


def _counted(part: EdgeRows, fit: WaveformFit, edge: tuple[bool, Drawn], weight: Floats) -> Floats:
    """What the fit's own covariance holds of a jitter of one, as if samples were alone."""
    rising, drawn = edge
    heavy = (weight * drawn.slope) ** 2
    columns = part.phase.shape[1]
    cycle = np.repeat(part.cycle - fit.cycle, columns)
    along = np.concatenate((drawn.by, (-drawn.slope * cycle)[None]))
    places_of = np.array([*places(rising), _PERIOD])
    total = np.zeros((_SIZE, _SIZE))
    total[np.ix_(places_of, places_of)] = (along * heavy * np.repeat(part.count, columns)) @ along.T
    total[_PERIOD, _PERIOD] += float(
        (heavy * drawn.slope**2 * np.repeat(part.spread, columns)).sum()
    )
    return np.asarray(fit.covariance @ total @ fit.covariance)


def _remainder(whole: Floats, part: Floats) -> Floats:
    """`whole` less `part`, and a covariance in any case.

    The fit's weights are those of its last shape but one: a little more may have been counted than
    there is.
    """
    if not part.any():
        return whole
    scale = np.sqrt(np.maximum(whole.diagonal(), 1e-300))
    powers, ways = np.linalg.eigh((whole - part) / np.outer(scale, scale))
    left = (ways * np.maximum(powers, 0.0)) @ ways.T
    return np.asarray(left * np.outer(scale, scale))


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
    samples : shape (n,).
    fitted : the fit, whether these edges rise, and what it expects of them.
    early : how early or late an edge may come, in sample intervals.
    """
    fit, rising, expected = fitted
    value, slope = expected.value, expected.slope
    noise = max(sigma, 0.5 if samples.dtype.kind in "iu" else 0.0)
    noise = max(noise, 1e-6 * float(np.ptp(value)))
    # On the edge a spike cannot be told from an edge that comes early or late.
    reach = _FAR * noise + early * np.abs(slope)
    foreign = rows.foreign()
    if foreign is not None:
        reach[foreign] = np.inf
    rest = np.abs(rows.mean - value)
    spread = np.where(rows.count > 1, 5.0 * noise * np.sqrt(rows.count), 0.0)
    if rows.single:
        beyond = rest > reach
    else:
        rest *= rows.count[:, None]
        beyond = rest > np.maximum(reach, spread[:, None])
    suspect = np.flatnonzero(beyond.any(axis=1)) if beyond.any() else np.empty(0, np.int64)
    if suspect.size:
        # Beside a corner the slope of one place says little of what an early edge would show.
        reach[suspect] = np.maximum(
            reach[suspect], _FAR * noise + _moved(rows, (fit, rising), suspect, early)
        )
        limit = np.maximum(reach[suspect], spread[suspect, None])
        suspect = suspect[(rest[suspect] > limit).any(axis=1)]
    if suspect.size == 0 or (rows.single and _many(suspect.size, rows)):
        return np.empty(0, np.int64)
    return _search(samples, rows, (value, reach), suspect)


def _moved(rows: EdgeRows, edge: tuple[WaveformFit, bool], which: Indices, early: float) -> Floats:
    """By how much the cells of some rows change if their edges come a little early or late."""
    fit, rising = edge
    shape = fit.shape(rising)
    phase = rows.phase_at(float(fit.values[2]), fit.cycle)[which]
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
    found, places = [], []
    block = max(1, _BLOCK // value.shape[1])
    view = windows(samples, value.shape[1])
    for at in range(0, edges.size, block):
        part = edges[at : at + block]
        mine = rows.row[part]
        far = np.abs(view[rows.index[part] - rows.before] - value[mine]) > reach[mine]
        held = np.count_nonzero(far, axis=1)
        found.append(np.repeat(rows.number[part], held))
        places.append(rows.at[mine[held > 0]])
    cycles = np.concatenate(found)
    if _many(cycles.size, rows) or _at_one_place(np.concatenate(places)):
        return np.empty(0, np.int64)
    return cycles


def _at_one_place(phase: Floats) -> bool:
    """Whether samples lie so close in phase as chance hardly puts spikes: they are on an edge."""
    if phase.size < 3:
        return False
    ordered = np.sort(phase % 1.0)
    widest = max(float(np.diff(ordered).max()), float(ordered[0] + 1.0 - ordered[-1]))
    # All within a part of the circle: the chance is n part^(n - 1).
    part = max(1.0 - widest, 1e-300)
    return math.log(phase.size) + (phase.size - 1.0) * math.log(part) < math.log(_TOGETHER)
