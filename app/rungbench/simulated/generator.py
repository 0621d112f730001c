"""The charger's pulse generator: when it goes to which rail.

Times are true seconds since the bench was opened.  The pulses follow a phase
that drifts, edges jitter one by one, and a change of width waits for the next
period, as it does in a timer with a buffered compare register.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]
Rails = npt.NDArray[np.int8]

HIGH, LOW, OFF = 0, 1, 2  # rails by number: index into the generator's levels
_PERIODS_AHEAD = 256
_AFTERWARDS_S = 1e-9


@dataclass(frozen=True, slots=True)
class Pace:
    """Frequency of the pulses, its drift per second, jitter of an edge, offset of the width."""

    frequency_hz: float
    drift_per_s: float
    jitter_s: float
    offset_s: float


@dataclass(frozen=True, slots=True, eq=False)
class Transitions:
    """Moves of the generator, shape (n,): when, from which rail, to which."""

    times: Floats
    before: Rails
    after: Rails

    def from_index(self, first: int) -> "Transitions":
        """The moves from number `first` on."""
        return Transitions(self.times[first:], self.before[first:], self.after[first:])


class Generator:
    """Rails over time; `normal` draws the jitter."""

    def __init__(self, pace: Pace, normal: Callable[[int], Floats]) -> None:
        self._pace = pace
        self._normal = normal
        self._duty: float | None = None
        self._next_period = 0  # index of the first period not yet laid down
        self._start = 0.0  # phase of period 0, in nominal seconds
        self._times: Floats = np.array([-1.0])
        self._after: Rails = np.array([HIGH], dtype=np.int8)  # on long before the board
        self._periods: npt.NDArray[np.int64] = np.array([-1])  # of the running pulses, or -1

    @property
    def pace(self) -> Pace:
        return self._pace

    @property
    def pulsing(self) -> bool:
        return self._duty is not None

    def steady(self, time: float, rail: int) -> None:
        """Go to `rail` and stay, just after `time`: moves at `time` itself were seen already."""
        self._keep(self._times <= time)
        self._duty = None
        self._move(time + _AFTERWARDS_S, rail)

    def stop(self, time: float) -> None:
        """Finish the running period, then stay high."""
        if self._duty is not None:
            self._take_back(time)
            self._duty = None
            self._move(float(self._rise(self._next_period)), HIGH)

    def pulse(self, time: float, duty: float) -> None:
        """Pulse with `duty` (part of the period); a running period is finished first."""
        if self._duty is None:
            self._keep(self._times <= time)
            self._periods = np.full_like(self._periods, -1)
            self._start, self._next_period = self._phase(time), 0
        else:
            self._take_back(time)
        self._duty = duty

    def retune(self, time: float, pace: Pace) -> None:
        """Pulse at another pace once the running period is over."""
        if self._duty is not None:
            self._take_back(time)
            time = float(self._rise(self._next_period))
            self._periods = np.full_like(self._periods, -1)
        self._pace = pace
        self._start, self._next_period = self._phase(time), 0

    def until(self, end: float) -> Transitions:
        """All moves known that can matter before `end`, the last one before them included."""
        while self._duty is not None and self._times[-1] <= end + 2.0 / self._pace.frequency_hz:
            self._lay_down()
        stop = int(np.searchsorted(self._times, end, side="right"))
        after = self._after[:stop]
        before = np.concatenate([after[:1], after[:-1]])
        return Transitions(self._times[:stop], before, after)

    def forget(self, time: float) -> None:
        """Drop all moves before `time` but the last two."""
        first = max(0, int(np.searchsorted(self._times, time, side="right")) - 2)
        if first:
            self._keep(np.arange(self._times.size) >= first)

    def period(self, time: float) -> float:
        """Length of the period at `time`, in seconds."""
        return 1.0 / (self._pace.frequency_hz * (1.0 + self._pace.drift_per_s * time))

    def _phase(self, time: float) -> float:
        return time + self._pace.drift_per_s * time * time / 2.0

    def _rise(self, period: int | npt.NDArray[np.int64]) -> Floats:
        nominal = self._start + np.asarray(period) / self._pace.frequency_hz
        root = np.sqrt(1.0 + 2.0 * self._pace.drift_per_s * nominal)
        return np.asarray(2.0 * nominal / (1.0 + root))

    def _lay_down(self) -> None:
        if self._duty is None:
            return
        rise = self._rise(np.arange(self._next_period, self._next_period + _PERIODS_AHEAD + 1))
        moves = np.empty(2 * _PERIODS_AHEAD)
        moves[0::2] = rise[:-1]
        moves[1::2] = rise[:-1] + self._duty * np.diff(rise) + self._pace.offset_s
        moves += self._pace.jitter_s * self._normal(moves.size)
        rails = np.tile(np.array([HIGH, LOW], dtype=np.int8), _PERIODS_AHEAD)
        periods = np.repeat(self._next_period + np.arange(_PERIODS_AHEAD), 2)
        first = 1 if self._after[-1] == HIGH else 0
        self._next_period += _PERIODS_AHEAD
        self._append(np.maximum.accumulate(moves)[first:], rails[first:], periods[first:])

    def _move(self, time: float, rail: int) -> None:
        if self._after[-1] != rail:
            self._append(np.array([time]), np.array([rail], dtype=np.int8), np.array([-1]))

    def _append(self, times: Floats, rails: Rails, periods: npt.NDArray[np.int64]) -> None:
        self._times = np.concatenate([self._times, times])
        self._after = np.concatenate([self._after, rails])
        self._periods = np.concatenate([self._periods, periods])

    def _keep(self, which: npt.NDArray[np.bool_]) -> None:
        self._times, self._after = self._times[which], self._after[which]
        self._periods = self._periods[which]

    def _take_back(self, time: float) -> None:
        """Undo the periods that have not begun at `time`."""
        while self._next_period > 0 and self._rise(self._next_period - 1) > time:
            self._next_period -= 1
        self._keep(self._periods < self._next_period)
