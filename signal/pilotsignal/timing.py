"""Edge times to period, phase and cycle numbers: one straight line for each direction.

References
----------
.. [1] Kay, Fundamentals of Statistical Signal Processing: Estimation Theory, 1993, 3.7 (line
   fitting); both directions share one slope, the period.
"""

from dataclasses import dataclass, replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from pilotsignal.quick import median

Floats = npt.NDArray[np.float64]
Indices = npt.NDArray[np.int64]
_SOME = 4096


@dataclass(frozen=True, slots=True, eq=False)
class Comb:
    """Times of a periodic waveform's edges: ``rise + k * period`` and ``fall + k * period``.

    Parameters
    ----------
    period, rise, fall : in the unit of the times given, `rise` <= `fall` < `rise + period`.
    rise_cycle, fall_cycle : cycle number of each edge.
    rise_residual, fall_residual : edge times less the comb.
    """

    period: float
    rise: float
    fall: float
    rise_cycle: Indices
    fall_cycle: Indices
    rise_residual: Floats
    fall_residual: Floats

    @property
    def width(self) -> float:
        """Time from the rising to the falling edge."""
        return self.fall - self.rise

    @property
    def cycles(self) -> int:
        """Cycles from the first to the last edge of either direction."""
        spans = [c[-1] - c[0] for c in (self.rise_cycle, self.fall_cycle) if c.size]
        return int(max(spans))

    def with_period(self, period: float) -> "Comb":
        """Another period about the middle of the record; residuals stay those of this one."""
        change = period - self.period
        return replace(
            self,
            period=period,
            rise=self.rise - change * float(np.mean(self.rise_cycle)),
            fall=self.fall - change * float(np.mean(self.fall_cycle)),
        )

    @property
    def residuals(self) -> Floats:
        """Both directions' residuals."""
        return np.concatenate((self.rise_residual, self.fall_residual))

    @property
    def leverage(self) -> float:
        """Sum of squared cycle numbers about their means: what the period's variance divides by."""
        return sum(_spread(cycle) for cycle in (self.rise_cycle, self.fall_cycle))


def fit_comb(rise: Floats, fall: Floats) -> Comb | None:
    """Fit a comb to edge times.

    Parameters
    ----------
    rise, fall : times of rising and falling edges, each of shape (n,), in order, finite.

    Returns
    -------
    Comb or None : None where fewer than four edges, or fewer than two of a direction, are there.
    """
    if min(rise.size, fall.size) < 2:
        return None
    # The usual distance: some thousand tell it as well as all.
    some = [part[1 : _SOME + 1] - part[:_SOME][: part.size - 1] for part in (rise, fall)]
    first = median(np.concatenate(some))
    if first <= 0:
        return None
    rise_cycle = _number(rise, first)
    fall_cycle = _number(fall, first)
    # The falling edge of cycle 0 is the one that ends the first high pulse.
    fall_cycle += int(np.floor((fall[0] - rise[0]) / first))
    return _line(rise, fall, rise_cycle, fall_cycle)


def fit_comb_around(times: Floats, rising: npt.NDArray[np.bool_], lost: Indices) -> Comb | None:
    """Comb of edges of which some lie where samples are missing.

    Parameters
    ----------
    times : of all edges, in order; of a lost one any time inside the gap.
    rising : shape (n,).
    lost : places in the arrays of the edges whose time nobody saw.

    Returns
    -------
    Comb or None : of the edges seen; a lost one stands where it is expected, with no residual.
    """
    if lost.size == 0:
        return fit_comb(times[rising], times[~rising])
    seen = np.ones(times.size, bool)
    seen[lost] = False
    comb = fit_comb(times[seen & rising], times[seen & ~rising])
    if comb is None:
        return None
    times = times.copy()
    reference = np.where(rising[lost], comb.rise, comb.fall)
    cycle = np.rint((times[lost] - reference) / comb.period)
    times[lost] = reference + comb.period * cycle
    return fit_comb(times[rising], times[~rising])


def refit(comb: Comb, rise: Floats, fall: Floats) -> Comb:
    """The comb of corrected times, each of shape (n,), of the same edges."""
    return _line(rise, fall, comb.rise_cycle, comb.fall_cycle)


def _number(times: Floats, period: float) -> Indices:
    """Cycle numbers from the first edge on; whole missing cycles are counted over."""
    number = np.zeros(times.size, np.int64)
    number[1:] = np.rint((times[1:] - times[:-1]) / period).cumsum()
    return number


def _line(rise: Floats, fall: Floats, rise_cycle: Indices, fall_cycle: Indices) -> Comb:
    rise_sums, fall_sums = _sums(rise_cycle, rise), _sums(fall_cycle, fall)
    period = (rise_sums.moment + fall_sums.moment) / (rise_sums.spread + fall_sums.spread)
    at_rise = rise_sums.time - period * rise_sums.cycle
    at_fall = fall_sums.time - period * fall_sums.cycle
    return Comb(
        period,
        at_rise,
        at_fall,
        rise_cycle,
        fall_cycle,
        rise - (at_rise + period * rise_cycle),
        fall - (at_fall + period * fall_cycle),
    )


def _spread(cycle: Indices) -> float:
    return float(np.sum((cycle - np.mean(cycle)) ** 2)) if cycle.size else 0.0


class _Sums(NamedTuple):
    """Mean cycle and time of edges, and the sums of squares and of products about them."""

    cycle: float
    time: float
    spread: float
    moment: float


def _sums(cycle: Indices, times: Floats) -> _Sums:
    middle, mean = float(cycle.sum()) / cycle.size, float(times.sum()) / times.size
    off = cycle - middle
    return _Sums(middle, mean, float((off * off).sum()), float((off * (times - mean)).sum()))
