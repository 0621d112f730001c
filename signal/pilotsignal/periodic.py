"""A periodic waveform fitted: comb, folded edges and their crossings, plateaus.

Order: coarse edge times give a comb; the samples around the edges, folded at its period, give each
edge's shape; the shape gives every single edge's time again, without the error of a straight line
between samples; the comb is fitted to those. Twice is enough: the first fold is smeared by the
coarse period, the second is not.
"""

from dataclasses import dataclass, replace

import numpy as np

from pilotsignal.bracket import PeriodRange, room_between
from pilotsignal.capture import Capture
from pilotsignal.edges import Edges
from pilotsignal.folded_edges import (
    EdgeSamples,
    FoldedEdge,
    Window,
    fold_edge,
    gather,
    missing_before,
    window_of,
)
from pilotsignal.levels import Levels
from pilotsignal.plateaus import Margins, Plateau, plateau, settled_pulses
from pilotsignal.quick import between
from pilotsignal.timing import Comb, Floats, fit_comb, fit_comb_around
from pilotsignal.transitions import (
    Crossing,
    Offsets,
    PeriodStep,
    Swing,
    crossing,
    edge_offsets,
    period_step,
)

_ROUNDS = 3
_TELLING = 9.0  # a fit must be three times sharper than the samples' own room to replace it
_LEAST_WINDOW = 12  # samples to each side of an edge that a close-up keeps
_DENSE = 1.0  # samples per edge from which on interpolated times are good enough to begin with


@dataclass(frozen=True, slots=True, eq=False)
class Direction:
    """What was found about the edges of one direction."""

    samples: EdgeSamples
    folded: FoldedEdge
    swing: Swing
    middle: Crossing
    offsets: Offsets | None
    step: PeriodStep | None

    def between(self, start: Plateau, end: Plateau) -> "Direction | None":
        """The same edge, its middle by the settled plateaus."""
        swing = Swing(start.value, end.value, max(self.swing.sigma, start.sigma, end.sigma))
        middle = crossing(self.folded, 0.5 * (swing.start + swing.end), swing)
        return None if middle is None else replace(self, swing=swing, middle=middle)

    def cross(self, level: float) -> Crossing | None:
        """Crossing of another level, in sample units."""
        return crossing(self.folded, level, self.swing)


@dataclass(frozen=True, slots=True)
class Doubt:
    """Standard uncertainty from scatter, its degrees of freedom, half width from the sampling."""

    u: float
    dof: float
    bound: float


@dataclass(frozen=True, slots=True, eq=False)
class PeriodicFit:
    """Everything in sample units and sample intervals.

    Parameters
    ----------
    comb : its `rise` and `fall` are references; crossings count from them.
    period : what is in doubt about `comb.period`.
    high, low : plateaus.
    room : what the sampling alone allows, where samples on the edges are rare.
    """

    comb: Comb
    period: Doubt
    rise: Direction
    fall: Direction
    high: Plateau
    low: Plateau
    room: PeriodRange | None

    @property
    def unresolved(self) -> PeriodRange | None:
        """`room` if neither direction has samples enough on its edges."""
        resolved = self.rise.middle.resolved or self.fall.middle.resolved
        return None if resolved else self.room


@dataclass(frozen=True, slots=True)
class _Start:
    """What the fit sets out from: first levels, and the room between samples where it matters."""

    swings: tuple[Swing, Swing]
    room: PeriodRange | None


def coarse_comb(capture: Capture, levels: Levels, edges: Edges) -> Comb | None:
    """Comb of edge times by straight lines between samples; None where edges are too few.

    An edge that falls where samples are missing has no time of its own.
    """
    times = _coarse_times(capture, levels, edges)
    if not capture.gaps:
        return fit_comb(times[edges.rising], times[~edges.rising])
    gaps = {gap.index: gap.missing for gap in capture.gaps}
    lost = np.flatnonzero(np.isin(edges.index, list(gaps)))
    times[lost] -= [0.5 * gaps[int(at)] for at in edges.index[lost]]
    return fit_comb_around(times, edges.rising, lost)


def fit_periodic(capture: Capture, levels: Levels, edges: Edges, comb: Comb) -> PeriodicFit | None:
    """Fold, fit and fold again.

    Parameters
    ----------
    comb : the coarse one of the same edges.

    Returns
    -------
    PeriodicFit or None : None where no edge can be folded or no pulse settles.
    """
    room = None
    if _on_edges(capture, levels, edges) < _DENSE:
        room = room_between(capture, levels, edges, comb)
        comb = comb.with_period(room.period)
    found = _shapes(capture, edges, comb, _Start(_swings(levels), room))
    if found is None:
        return None
    margins = _margins(found[1], found[2])
    pulses = settled_pulses(capture, edges, margins)
    high = plateau(capture.samples, pulses, True)
    low = plateau(capture.samples, pulses, False)
    if high is None or low is None:
        return None
    comb = found[0]
    rise, fall = found[1].between(low, high), found[2].between(high, low)
    if rise is None or fall is None:
        return None
    return PeriodicFit(comb, _period_doubt(comb, rise, fall, room), rise, fall, high, low, room)


def _shapes(
    capture: Capture, edges: Edges, comb: Comb, start: _Start
) -> tuple[Comb, Direction, Direction] | None:
    window = window_of(comb)
    found = _rounds(_parts(capture, edges, comb, window), comb, start)
    close = _close_up(found, window) if found is not None else None
    if found is None or close is None:
        return found
    return _rounds(_parts(capture, edges, found[0], close), found[0], start) or found


def _parts(capture: Capture, edges: Edges, comb: Comb, window: Window) -> list[EdgeSamples]:
    directions = ((True, comb.rise_cycle), (False, comb.fall_cycle))
    return [
        gather(capture.samples, capture.gaps, edges.of(up), cycle, window)
        for up, cycle in directions
    ]


def _close_up(found: tuple[Comb, "Direction", "Direction"], window: Window) -> Window | None:
    """Narrower window where edges are much faster than the first one allowed for."""
    span = max(transition_span(found[1]), transition_span(found[2]))
    half = max(_LEAST_WINDOW, int(np.ceil(2.5 * span)))
    return Window(half, half) if 2 * half < window.before else None


def _on_edges(capture: Capture, levels: Levels, edges: Edges) -> float:
    """Samples per edge between a quarter and three quarters of the way, on average."""
    near = [edges.index - 2, edges.index - 1, edges.index, edges.index + 1]
    held = [np.clip(place, 0, capture.samples.size - 1) for place in near]
    values = capture.samples[np.array(held)]
    return between(values, levels.at(0.25), levels.at(0.75)) / edges.index.size


def _coarse_times(capture: Capture, levels: Levels, edges: Edges) -> Floats:
    before = capture.samples[np.maximum(edges.index - 1, 0)].astype(np.float64)
    after = capture.samples[edges.index].astype(np.float64)
    rest = np.where(after == before, 1.0, after - before)
    share = np.minimum(np.maximum((levels.at(0.5) - before) / rest, 0.0), 1.0)
    shift = missing_before(capture.gaps, edges.index)
    return np.asarray(edges.index + shift - 1.0 + share, dtype=np.float64)


def _swings(levels: Levels) -> tuple[Swing, Swing]:
    sigma = float(np.hypot(levels.noise, levels.step / np.sqrt(12.0)))
    return Swing(levels.low, levels.high, sigma), Swing(levels.high, levels.low, sigma)


def _rounds(
    parts: list[EdgeSamples], comb: Comb, start: _Start
) -> tuple[Comb, Direction, Direction] | None:
    found = None
    for _ in range(_ROUNDS):
        rise = _direction(parts[0], comb.rise, comb.period, start.swings[0])
        fall = _direction(parts[1], comb.fall, comb.period, start.swings[1])
        if rise is None or fall is None:
            return None
        found = comb, rise, fall
        if not _telling(comb, rise, fall, start.room):
            break
        comb = comb.with_period(comb.period + _correction(rise, fall, 1.0 / comb.cycles))
    return found


def _direction(part: EdgeSamples, at: float, period: float, swing: Swing) -> Direction | None:
    folded = fold_edge(part, at, period)
    middle = crossing(folded, 0.5 * (swing.start + swing.end), swing)
    if middle is None:
        return None
    offsets = step = None
    if middle.resolved:
        offsets = edge_offsets(part, middle, at, period, swing.sigma)
        step = period_step(part, middle, at, period, swing.sigma)
    return Direction(part, folded, swing, middle, offsets, step)


def _telling(comb: Comb, rise: Direction, fall: Direction, room: PeriodRange | None) -> bool:
    """Whether the samples on the edges say more of the period than is known without them."""
    known = 1.0 / comb.cycles if room is None else room.bound
    return _leverage(rise, fall) * known**2 > _TELLING


def _leverage(rise: Direction, fall: Direction) -> float:
    return sum(d.step.leverage for d in (rise, fall) if d.step)


def _correction(rise: Direction, fall: Direction, most: float) -> float:
    """Change of the period by all samples on the edges, at most `most`."""
    change = sum(d.step.pull for d in (rise, fall) if d.step) / _leverage(rise, fall)
    return min(max(change, -most), most)


def _period_doubt(comb: Comb, rise: Direction, fall: Direction, room: PeriodRange | None) -> Doubt:
    bound = 2.0 * max(rise.middle.bound, fall.middle.bound) / comb.cycles
    if room is not None and not _telling(comb, rise, fall, room):
        # Coarse times of unresolved edges scatter by the sampling alone, which the bound covers.
        noise = max(rise.middle.u, fall.middle.u, 1e-12)
        return Doubt(noise / float(np.sqrt(comb.leverage)), comb.residuals.size - 3.0, room.bound)
    if room is not None:
        bound = min(bound, room.bound)
    weighted = [d.offsets for d in (rise, fall) if d.offsets and d.offsets.cycle.size]
    chi2 = sum(float(np.dot(part.weight, part.late**2)) for part in weighted)
    dof = max(1.0, sum(part.cycle.size for part in weighted) - 3.0)
    leverage = max(_leverage(rise, fall), float(comb.cycles) ** 2)  # never beyond a sample
    return Doubt(float(np.sqrt(max(1.0, chi2 / dof) / leverage)), dof, bound)


def _margins(rise: Direction, fall: Direction) -> Margins:
    """Leave out ten time constants after an edge, and what comes before its middle."""
    longest = max(transition_span(rise), transition_span(fall))
    return Margins(int(np.ceil(4.5 * longest)) + 2, int(np.ceil(0.8 * longest)) + 1)


def transition_span(direction: Direction) -> float:
    """10 to 90 % time in sample intervals; the folded gap where the edge is not resolved."""
    swing = direction.swing
    ten = direction.cross(swing.start + 0.1 * (swing.end - swing.start))
    ninety = direction.cross(swing.start + 0.9 * (swing.end - swing.start))
    if ten is None or ninety is None:
        return direction.middle.gap
    return float(max(ninety.phase - ten.phase, 0.0))
