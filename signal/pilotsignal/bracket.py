"""The period that fits between the samples.

A monotone edge passes the middle between the last sample on one side and the first on the other:
that much is certain whatever its shape.  The periods for which one comb passes through all those
intervals form an interval of their own, found here; a line fitted to interpolated times would be
off by a good part of a sample where no sample lies on the edges.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from pilotsignal.capture import Capture
from pilotsignal.edges import Edges
from pilotsignal.folded_edges import missing_before
from pilotsignal.levels import Levels
from pilotsignal.timing import Comb, Floats, Indices

_MOST = 1 << 12
_STEPS = 48


@dataclass(frozen=True, slots=True, eq=False)
class Bracket:
    """Edges of one direction: each lies between `before` and `after`, in cycle `cycle`."""

    before: Floats
    after: Floats
    cycle: Indices

    def thinned(self) -> "Bracket":
        """At most some 4,000 edges, first and last kept."""
        if self.cycle.size <= _MOST:
            return self
        keep = np.unique(np.linspace(0, self.cycle.size - 1, _MOST).astype(np.int64))
        return Bracket(self.before[keep], self.after[keep], self.cycle[keep])

    def room(self, period: float) -> tuple[float, float]:
        """Earliest and latest time of cycle 0's edge; earliest beyond latest if none fits all."""
        shift = period * self.cycle
        return float(np.max(self.before - shift)), float(np.min(self.after - shift))


@dataclass(frozen=True, slots=True)
class PeriodRange:
    """Periods and widths that fit between the samples: middle and half width of each range."""

    period: float
    bound: float
    width: float
    width_bound: float


def period_range(comb: Comb, rise: Bracket, fall: Bracket) -> PeriodRange:
    """Periods, and widths of the high pulse, for which both directions fit between the samples.

    Parameters
    ----------
    comb : a first guess, within two samples over the record.

    Returns
    -------
    PeriodRange : where noise or jitter let no period fit, the one that misses by least, with what
        it misses by in the bounds.
    """
    rise, fall = rise.thinned(), fall.thinned()

    def slack(period: float) -> float:
        rooms = (rise.room(period), fall.room(period))
        return min(latest - earliest for earliest, latest in rooms)

    def widest(period: float) -> float:
        return fall.room(period)[1] - rise.room(period)[0]

    def narrowest(period: float) -> float:
        return rise.room(period)[1] - fall.room(period)[0]

    reach = 3.0 / comb.cycles
    best = _highest(slack, comb.period - reach, comb.period + reach)
    most = slack(best)
    if most <= 0.0:
        long, short = widest(best), -narrowest(best)
        missed = 0.05 - most
        room = missed + max(0.0, 0.5 * (long - short))
        return PeriodRange(best, missed / comb.cycles, 0.5 * (long + short), room)
    low = _zero(slack, best, comb.period - 2.0 * reach)
    high = _zero(slack, best, comb.period + 2.0 * reach)
    longest = widest(_highest(widest, low, high))
    shortest = -narrowest(_highest(narrowest, low, high))
    return PeriodRange(
        0.5 * (low + high),
        0.5 * (high - low),
        0.5 * (longest + shortest),
        0.5 * (longest - shortest),
    )


def brackets(capture: Capture, levels: Levels, edges: Edges, comb: Comb) -> tuple[Bracket, Bracket]:
    """The samples before and after every edge, rising and falling ones."""
    # Noise may put a sample on the wrong side. As edges are rarely met, the middle half of their
    # swing takes less than a sample, so that three sigma are less than this many samples.
    noise = 6.0 * float(np.hypot(levels.noise, levels.step / np.sqrt(12.0))) / levels.swing
    sides = []
    for up, cycle in ((True, comb.rise_cycle), (False, comb.fall_cycle)):
        after = edges.of(up)
        places = [
            np.asarray(at + missing_before(capture.gaps, at) + off, np.float64)
            for at, off in ((after - 1, -noise), (after, noise))
        ]
        sides.append(Bracket(places[0], places[1], cycle))
    return sides[0], sides[1]


def room_between(capture: Capture, levels: Levels, edges: Edges, comb: Comb) -> PeriodRange:
    """Periods and widths that fit between a capture's samples."""
    return period_range(comb, *brackets(capture, levels, edges, comb))


def comb_between(capture: Capture, levels: Levels, edges: Edges, comb: Comb) -> Comb:
    """The comb in the middle of what fits between a capture's samples."""
    rise, fall = brackets(capture, levels, edges, comb)
    period = period_range(comb, rise, fall).period
    first, second = (0.5 * sum(side.thinned().room(period)) for side in (rise, fall))
    return replace(comb, period=period, rise=first, fall=second)


def _highest(function: Callable[[float], float], low: float, high: float) -> float:
    """Ternary search; the slack is concave."""
    for _ in range(_STEPS):
        third = (high - low) / 3.0
        if function(low + third) < function(high - third):
            low += third
        else:
            high -= third
    return 0.5 * (low + high)


def _zero(function: Callable[[float], float], inside: float, outside: float) -> float:
    for _ in range(_STEPS):
        middle = 0.5 * (inside + outside)
        if function(middle) > 0.0:
            inside = middle
        else:
            outside = middle
    return inside
