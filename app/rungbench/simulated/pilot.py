"""The pilot as the board's front end sees it: voltages at any time, crossings of 0 V.

Edges of the circuit are worked out once per rail and load, passed through the
time constant of the front end, and looked up afterwards, so that a second of
samples costs a few array operations.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rungbench.simulated.circuit import Edge, Load, PilotCircuit
from rungbench.simulated.generator import Floats, Transitions

_RAILS = 3
_HYSTERESIS_V = 0.03  # nearer to zero than this, a level does not turn the comparator


@dataclass(frozen=True, slots=True, eq=False)
class Sight:
    """One edge behind the front end: seconds and volts after the generator moves.

    `zero_s` is when it crosses 0 V, NaN where it does not; `slope` is in V/s there.
    """

    times: Floats
    volts: Floats
    zero_s: float
    slope: float


@dataclass(frozen=True, slots=True, eq=False)
class Crossings:
    """Passages through 0 V, shape (n,): seconds, direction, slope in V/s."""

    times: Floats
    rising: npt.NDArray[np.bool_]
    slopes: Floats


class Pilot:
    """Voltages behind the front end; `rails` are the generator's levels in volts by number."""

    def __init__(
        self, circuit: PilotCircuit, rails: tuple[float, float, float], filter_s: float
    ) -> None:
        self.circuit, self.rails, self._filter_s = circuit, rails, filter_s
        self._sights: dict[tuple[int, int, Load], Sight] = {}

    def plateaus(self, load: Load) -> tuple[float, float]:
        """High and low plateau in volts."""
        return self.circuit.plateau(self.rails[0], load), self.circuit.plateau(self.rails[1], load)

    def sight(self, before: int, after: int, load: Load) -> Sight:
        """The edge from one rail to another under a load."""
        key = (before, after, load)
        if key not in self._sights:
            self._sights[key] = self._look(before, after, load)
        return self._sights[key]

    def volts(self, times: Floats, moves: Transitions, load: Load) -> Floats:
        """Voltage at `times`, shape (n,), none of them before the first move."""
        at = np.searchsorted(moves.times, times, side="right") - 1
        since = times - moves.times[at]
        kinds = moves.before[at] * _RAILS + moves.after[at]
        result = np.empty(times.size)
        for kind in np.unique(kinds).tolist():
            which = kinds == kind
            seen = self.sight(kind // _RAILS, kind % _RAILS, load)
            result[which] = np.interp(since[which], seen.times, seen.volts)
        return result

    def crossings(self, moves: Transitions, load: Load) -> Crossings:
        """Passages through 0 V that follow `moves`; the moves without one leave no entry."""
        delays = np.empty(moves.times.size)
        slopes = np.empty(moves.times.size)
        kinds = moves.before * _RAILS + moves.after
        for kind in np.unique(kinds).tolist():
            seen = self.sight(kind // _RAILS, kind % _RAILS, load)
            delays[kinds == kind] = seen.zero_s
            slopes[kinds == kind] = seen.slope
        real = np.isfinite(delays)
        return Crossings((moves.times + delays)[real], slopes[real] > 0, slopes[real])

    def _look(self, before: int, after: int, load: Load) -> Sight:
        start = self.circuit.plateau(self.rails[before], load)
        end = self.circuit.plateau(self.rails[after], load)
        if before == after:
            return Sight(np.array([0.0]), np.array([end]), math.nan, math.nan)
        edge = self.circuit.edge(self.rails[before], self.rails[after], load)
        seen = front_end(edge, self._filter_s)
        if start * end >= 0 or min(abs(start), abs(end)) < _HYSTERESIS_V:
            return Sight(seen.times, seen.volts, math.nan, math.nan)
        zero_s = seen.crossing(0.0) or math.nan
        near = int(np.searchsorted(seen.times, zero_s))
        rise = seen.volts[near] - seen.volts[near - 1]
        return Sight(
            seen.times,
            seen.volts,
            zero_s,
            float(rise / (seen.times[near] - seen.times[near - 1])),
        )


def front_end(edge: Edge, constant_s: float) -> Edge:
    """The edge behind one time constant: exact for straight lines between the points."""
    steps = np.diff(edge.times)
    inclines = np.diff(edge.volts) / steps
    decays = np.exp(-steps / constant_s)
    # The lag behind a straight line tends to incline * constant.
    lag, lags = 0.0, [0.0]
    for decay, incline in zip(decays.tolist(), (inclines * constant_s).tolist(), strict=True):
        lag = incline + (lag - incline) * decay
        lags.append(lag)
    volts = edge.volts - np.array(lags)
    volts[-1] = edge.volts[-1]
    return Edge(edge.times, volts)
