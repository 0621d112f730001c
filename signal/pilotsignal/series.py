"""One value per period, its scatter, and what the sampling's own error may feign in it.

A sampled edge is off by an amount that repeats with its place between two samples.  That is no
noise: near a simple ratio of rate and frequency it creeps, and a creep looks like a drift.
How far it can move a sum follows from the places themselves.

References
----------
.. [1] Kuipers and Niederreiter, Uniform Distribution of Sequences, 1974, 2.5.1 (the inequality
   of Koksma: a mean is off by at most total variation times discrepancy).
.. [2] von Neumann et al., Ann. Math. Statist. 12 (1941) 153: scatter from successive differences,
   which a slow change does not reach.
"""

import itertools
import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, Literal

import numpy as np

from pilotsignal.timing import Floats, Indices

Kind = Literal["drift", "stretch", "step", "kink", "bend"]

_LONGEST_LAG: Final = 32
_PLACES: Final = 4096
_FEW_PLACES: Final = 1024
_DIGITS: Final = 1e-9
_FEW: Final = 512
# So few places miss some of the range: what they show by so much more than is asked is certain.
_ROUGH: Final = 256
_SURE: Final = 1.25
# The period itself is a fit to such edges: off by so many cells over the record.
_PERIOD_OFF: Final = (0.0, -0.5, 0.5, -0.25, 0.25)
_PLENTY: Final = 1 << 14


@dataclass(frozen=True, slots=True, eq=False)
class Series:
    """One value per period.

    Parameters
    ----------
    cycle : int64, shape (n,), rising: number of each period.
    value : float64, shape (n,), in any unit.
    turns : sampling cells per period; its fraction tells how an edge's place between samples goes
        on from period to period.
    variation : total variation of one edge's sampling error over one cell, in the value's unit; 0
        where values carry none.
    cell : what an edge's time is rounded to at worst, in the value's unit.
    edges : how many edges a value is made of.
    floor : what a change must exceed besides, in the value's unit.
    """

    cycle: Indices
    value: Floats
    turns: float = 0.0
    variation: float = 0.0
    cell: float = 0.0
    edges: int = 1
    floor: float = 0.0

    def part(self, begin: int, end: int) -> "Series":
        """Periods `begin` (counted in the arrays) to `end`, not included."""
        return Series(
            self.cycle[begin:end],
            self.value[begin:end],
            self.turns,
            self.variation,
            self.cell,
            self.edges,
            self.floor,
        )


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that happens in a series.

    Parameters
    ----------
    kind : ``drift`` (line), ``stretch`` (from `begin` to `end` another value; up to one end of the
        series: a step), ``step``, ``kink`` (another slope from `begin` on) or ``bend`` (parabola).
    begin, end : places in the arrays, `end` not included.
    size : of the step, or the change over the whole series; a kink's: change of slope per period.
    u : standard uncertainty of `size` from noise.
    bound : what the sampling alone could feign.
    score : size over `u`.
    """

    kind: Kind
    begin: int
    end: int
    size: float
    u: float
    bound: float
    score: float


def scatter(series: Series) -> tuple[float, float]:
    """Standard deviation from period to period and its degrees of freedom.

    Periods are compared that have their edges at nearly the same place between samples.  Of the
    four quarters of the record the second calmest counts: a change disturbs two of them at most.
    """
    value = series.value
    lag, _ = recurrence(series)
    change = value[lag:] - value[:-lag]
    change *= change
    ends = [number * change.size // 4 for number in range(5)]
    sums = np.add.reduceat(change, ends[:4]).tolist()
    quarters = [part / (b - a) for part, (a, b) in zip(sums, itertools.pairwise(ends), strict=True)]
    variance = 0.5 * sorted(quarters)[1]
    # Three edges out of all might have met the other sample without having done so here.
    rare = series.edges * (0.5 * series.variation) ** 2 * 3.0 / value.size
    dof = max(2.0, 0.5 * change.size)
    # Sums of many equal values differ in their last digits.
    digits = (_DIGITS * max(float(value.max()), -float(value.min()))) ** 2
    noise = math.sqrt(variance * (1.0 + 2.0 / math.sqrt(dof)) + rare + digits)
    return noise or _DIGITS, dof


def recurrence(series: Series) -> tuple[int, float]:
    """Lag after which an edge comes back to nearly its place between samples; how far off it is."""
    if series.variation == 0.0:
        return 1, 0.0
    return _best_lag(series.turns, max(1, min(_LONGEST_LAG, series.value.size // 16)))


@lru_cache(maxsize=64)
def _best_lag(turns: float, longest: int) -> tuple[int, float]:
    lags = np.arange(1, longest + 1)
    off = np.abs((lags * turns + 0.5) % 1.0 - 0.5)
    best = int(off.argmin())
    return int(lags[best]), float(off[best])


def feigned(series: Series, weight: Floats, enough: float = math.inf) -> float:
    """How far the sampling's own error can move a weighted sum of a series.

    With D(x) the sum of the weights of the edges that lie below the place x in a cell, less what
    evenly spread ones would have, the error is the integral of D over the error's increments.  It
    is at most half the total variation times the range of D (Koksma on a circle).  And as the time
    that is read never falls when a monotone edge comes later, its increments are positive and add
    up to one cell: then it is at most one cell times what D departs from its mean.

    Parameters
    ----------
    weight : float64, shape (n,): with sum zero, or one for a mean.
    enough : once it is known to reach this far, what is known so far is returned.
    """
    if series.variation == 0.0:
        return 0.0
    span = float(series.cycle[-1] - series.cycle[0]) + 1.0
    places = _PLACES if series.cycle.size > _FEW else _FEW_PLACES
    most = 0.0
    for off in _PERIOD_OFF:
        place = _cells(series, series.turns + off / span, places)
        if most == 0.0 and enough < math.inf:
            rough = _moved(series, place // (places // _ROUGH), weight, _ROUGH)
            if rough >= _SURE * enough:
                return rough
        most = max(most, _moved(series, place, weight, places))
        if most >= enough:
            break
    return most


def _cells(series: Series, turns: float, places: int) -> Indices:
    """In which of so many parts of a cell the edge of each period lies."""
    at = series.cycle * (turns % 1.0)
    at -= np.floor(at)  # the remainder by one, but faster
    at *= places
    return at.astype(np.int64)


def _moved(series: Series, place: Indices, weight: Floats, places: int) -> float:
    """How far the error can move the sum for edges in these places."""
    reach, off_mean = _excess(series, place, weight, places)
    return series.edges * min(0.5 * series.variation * reach, series.cell * off_mean)


def _excess(series: Series, place: Indices, weight: Floats, places: int) -> tuple[float, float]:
    """Range of D and its largest departure from its mean."""
    share = np.bincount(place, weight, places)
    even = float(weight.sum()) / places
    excess = np.zeros(places + 1)
    (share - even).cumsum(out=excess[1:])
    top, bottom, mean = float(excess.max()), float(excess.min()), float(excess.sum() / excess.size)
    # Where many periods share a place their order in it is open; in a rough one they need not.
    many = series.cycle.size > places != _ROUGH
    room = float(np.bincount(place, np.abs(weight), places).max()) if many else 0.0
    return top - bottom + room, max(top - mean, mean - bottom) + room


def unseen(series: Series, size: float) -> int:
    """For how many periods a step of `size` may move no edge to another sample."""
    if series.variation == 0.0 or size == 0.0:
        return 0
    for periods in (1, 2, 4, 8, 16, 32, 64):
        places = np.sort((np.arange(periods) * series.turns) % 1.0)
        gap = float(np.diff(places, append=places[0] + 1.0).max())
        if gap * 0.5 * series.variation < abs(size):
            return periods
    return 64


def without_strays(value: Floats, least: float = 0.0) -> Floats:
    """Single values, shape (n,), far from both neighbours replaced by the median of the three.

    Parameters
    ----------
    least : what rounding alone explains; values off by less stay, however rare.
    """
    if value.size < 5:
        return value
    change = np.abs(value[1:] - value[:-1])
    some = change[:_PLENTY]
    limit = max(8.0 * float(some.sum()) / some.size, least)
    if float(change.max()) <= limit:
        return value
    left, middle, right = value[:-2], value[1:-1], value[2:]
    median = np.maximum(np.minimum(left, right), np.minimum(np.maximum(left, right), middle))
    stray = np.abs(middle - median) > limit
    cleaned = value.copy()
    cleaned[1:-1][stray] = median[stray]
    return cleaned
