"""Mains at the outlet, and the board's insulated senses of both half waves.

A sense conducts while its phase stands above a threshold, so that around every
zero crossing it is blind for a while: that is the doubt about an opening.
"""

import math
from dataclasses import dataclass

_PEAK_V = 325.3  # 230 V
_THRESHOLD_V = 40.0
_FREQUENCY_HZ = 49.98  # invented: a grid that is not quite nominal
_BLIND = math.asin(_THRESHOLD_V / _PEAK_V) / math.pi  # part of a half wave, at either end

BLIND_S = 2 * _BLIND / (2 * _FREQUENCY_HZ)
"""Longest time without conduction while mains is on, in seconds: 0.785 ms."""
DECLARE_OFF_S = 0.002  # without conduction for so long, the board says off


@dataclass(frozen=True, slots=True)
class Phase:
    """One phase of the grid: `turn` is its place in the cycle at time zero, 0 to 1."""

    turn: float

    def _place(self, time: float) -> float:
        """Place in the half wave, 0 to 1."""
        return (2 * _FREQUENCY_HZ * time + 2 * self.turn) % 1.0

    def next_conduction(self, time: float) -> float:
        """First time from `time` on at which the sense would conduct."""
        place = self._place(time)
        if place < _BLIND:
            return time + (_BLIND - place) / (2 * _FREQUENCY_HZ)
        if place <= 1 - _BLIND:
            return time
        return time + (1 + _BLIND - place) / (2 * _FREQUENCY_HZ)

    def last_conduction(self, time: float) -> float:
        """Last time up to `time` at which the sense would have conducted."""
        place = self._place(time)
        if place < _BLIND:
            return time - (place + _BLIND) / (2 * _FREQUENCY_HZ)
        if place <= 1 - _BLIND:
            return time
        return time - (place - 1 + _BLIND) / (2 * _FREQUENCY_HZ)


@dataclass(frozen=True, slots=True)
class Sensed:
    """A sense found mains (`on`) first, or last, at `time`; known at `known`."""

    time: float
    known: float
    phase: int
    on: bool


class Sense:
    """The sense of one phase: what it tells of a contact that opens and closes."""

    def __init__(self, number: int, phase: Phase) -> None:
        self._number, self._phase = number, phase
        self._closed_at: float | None = None
        self._due: Sensed | None = None
        self.on = False

    @property
    def next_time(self) -> float:
        """When it will tell something, or infinity."""
        return self._due.known if self._due else math.inf

    def move(self, time: float, closed: bool) -> None:
        """The contact closes or opens at `time`."""
        self._due = None
        if closed:
            self._closed_at = time
            if not self.on:
                first = self._phase.next_conduction(time)
                self._due = Sensed(first, first, self._number, True)
            return
        last = self._phase.last_conduction(time)
        if self.on:
            self._due = Sensed(last, max(time, last + DECLARE_OFF_S), self._number, False)

    def take(self) -> Sensed:
        """What is told at `next_time`."""
        told = self._due
        assert told is not None
        self._due, self.on = None, told.on
        return told


def senses(turn: float) -> tuple[Sense, ...]:
    """Three senses on three phases a third of a cycle apart."""
    return tuple(Sense(number + 1, Phase(turn - number / 3)) for number in range(3))
