"""What the link needs of a byte stream, and a stream on which a board has said who it is."""

import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Protocol

from rungbench.link.framing import Deframer
from rungbench.link.messages import FromBoard, Identity

READ_S: Final = 0.02
"""Longest time that one `read` takes: of the host's, or of the board's on a lock-step line."""


class Line(Protocol):
    """A byte stream with a board at its other end."""

    @property
    def url(self) -> str:
        """The URL, for records and messages."""
        ...

    @property
    def lock_step(self) -> bool:
        """Whether the board's time advances only inside `read`."""
        ...

    def read(self) -> bytes:
        """Bytes that arrived within `READ_S`, perhaps none; `LinkLost` when the stream ended."""
        ...

    def write(self, data: bytes) -> None:
        """Send all of `data`; `LinkLost` when that is not possible."""
        ...

    def close(self) -> None:
        """Give the stream back; may be called twice."""
        ...


@dataclass(slots=True)
class Port:
    """A line whose board has answered hello.

    `deframer` holds what arrived behind the identity, `early` the messages that came with it,
    `sequence` is the number of the next frame to the board, and `spare_identities` is how many
    more identities may follow, because hello was said more than once.
    """

    line: Line
    identity: Identity
    deframer: Deframer
    sequence: int
    early: tuple[FromBoard, ...] = ()
    spare_identities: int = 0

    @property
    def url(self) -> str:
        """The URL, for records and messages."""
        return self.line.url

    @property
    def lock_step(self) -> bool:
        """Whether the board's time advances only while the host reads."""
        return self.line.lock_step

    def read(self) -> bytes:
        """See `Line.read`."""
        return self.line.read()

    def write(self, data: bytes) -> None:
        """See `Line.write`."""
        self.line.write(data)

    def close(self) -> None:
        """See `Line.close`."""
        self.line.close()


class Pace:
    """Seconds that pass for somebody who waits for a board.

    On a lock-step line they are counted in reads, so that a slow computer changes nothing.
    """

    def __init__(self, line: Line, clock: Callable[[], float] = time.monotonic) -> None:
        self._line = line
        self._clock = clock
        self._start = clock()
        self._reads = 0

    def read(self) -> bytes:
        """Bytes of one read."""
        self._reads += 1
        return self._line.read()

    def elapsed_s(self) -> float:
        """Seconds since the beginning."""
        if self._line.lock_step:
            return self._reads * READ_S
        return self._clock() - self._start
