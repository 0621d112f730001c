"""Running numbers that wrap on the wire, made to run on."""

import dataclasses
from typing import TypeVar

from rungbench.link.messages import (
    EDGE_INDEX_BITS,
    SAMPLE_INDEX_BITS,
    TICK_BITS,
    EdgeBlock,
    Event,
    Health,
    SampleBlock,
)

_Timed = TypeVar("_Timed", bound=SampleBlock | EdgeBlock | Event | Health)


class Unwrapper:
    """Takes a number of `bits` bits for the nearest one to the last, forward or back."""

    def __init__(self, bits: int) -> None:
        self._turn = 1 << bits
        self.last: int | None = None

    def unwrap(self, wrapped: int) -> int:
        """The number without wrapping; the first one is taken as it comes."""
        if self.last is None:
            self.last = wrapped
            return wrapped
        ahead = (wrapped - self.last) % self._turn
        if ahead >= self._turn // 2:
            ahead -= self._turn
        value = self.last + ahead
        self.last = max(self.last, value)
        return value


class Timeline:
    """Unwraps the ticks and running numbers of messages; knows the latest tick."""

    def __init__(self) -> None:
        self._ticks = Unwrapper(TICK_BITS)
        self._samples: dict[int, Unwrapper] = {}
        self._edges = Unwrapper(EDGE_INDEX_BITS)

    @property
    def latest_tick(self) -> int | None:
        """Latest tick of any message, unwrapped."""
        return self._ticks.last

    def restart_numbers(self) -> None:
        """Running numbers begin anew after a hello; ticks go on."""
        self._samples.clear()
        self._edges = Unwrapper(EDGE_INDEX_BITS)

    def place(self, message: _Timed) -> _Timed:
        """The message with its tick, and its index if it has one, unwrapped."""
        tick = self._ticks.unwrap(message.tick)
        if isinstance(message, SampleBlock):
            numbers = self._samples.setdefault(message.channel, Unwrapper(SAMPLE_INDEX_BITS))
            return dataclasses.replace(message, tick=tick, index=numbers.unwrap(message.index))
        if isinstance(message, EdgeBlock):
            index = self._edges.unwrap(message.index)
            return dataclasses.replace(message, tick=tick, index=index)
        return dataclasses.replace(message, tick=tick)
