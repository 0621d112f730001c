"""The board's input capture: edges become blocks of 16-bit offsets."""

import numpy as np
import numpy.typing as npt

from rungbench.link.messages import MAX_EDGES, EdgeBlock

_REACH = 2**16
_INDEX = 2**15


class EdgeStamper:
    """Collects edges in order; closes a block when the next edge or the time is out of reach."""

    def __init__(self) -> None:
        self._high: bool | None = None  # what the comparator said last
        self._waiting: list[tuple[int, bool]] = []
        self._block: list[int] = []
        self._first_rising = False
        self._index = 0

    def put(self, ticks: npt.NDArray[np.int64], rising: npt.NDArray[np.bool_]) -> None:
        """Edges that follow; one in the direction of the last is none to a comparator."""
        for tick, up in zip(ticks.tolist(), rising.tolist(), strict=True):
            if up != self._high:
                self._high = up
                self._waiting.append((tick, up))

    def blocks(self, now: int) -> list[EdgeBlock]:
        """The blocks that are complete at tick `now`."""
        done: list[EdgeBlock] = []
        while self._waiting and self._waiting[0][0] <= now:
            tick, up = self._waiting.pop(0)
            if self._block and (tick - self._block[0] >= _REACH or len(self._block) == MAX_EDGES):
                done.append(self._close())
            if not self._block:
                self._first_rising = up
            self._block.append(tick)
        if self._block and now - self._block[0] >= _REACH:
            done.append(self._close())
        return done

    def _close(self) -> EdgeBlock:
        first = self._block[0]
        offsets = (np.array(self._block) - first).astype(np.uint16)
        block = EdgeBlock(first, self._index, offsets, self._first_rising)
        self._index = (self._index + offsets.size) % _INDEX
        self._block = []
        return block
