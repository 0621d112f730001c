"""A board that does as a test tells it: one half of the link, shared by tests of the other half."""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field

from rungbench.errors import LinkLost
from rungbench.link.framing import Frame
from rungbench.link.greeting import greet
from rungbench.link.line import READ_S, Port
from rungbench.link.messages import (
    Answer,
    Arm,
    Code,
    FromBoard,
    Health,
    Hello,
    Identity,
    KeepAlive,
    Message,
    Present,
    SetMode,
    frame_bytes,
    new_deframer,
    unpack,
)

IDENTITY = Identity(firmware="1.2.3", board_id="TEST-1")
TICKS_PER_READ = round(READ_S * 16_000_000)
NONCE = 0x0102_0304


@dataclass
class Clock:
    """Seconds that pass only when somebody reads."""

    now_s: float = 100.0

    def __call__(self) -> float:
        return self.now_s


@dataclass
class ScriptedLine:
    """A `Line` without a wire.

    Every read takes 20 ms of `clock` and of the board's time, and every fifth brings a health.
    `on_read` is called first, with this line; it may push messages, renew leases, break the line.
    """

    lock_step: bool = False
    clock: Clock = field(default_factory=Clock)
    on_read: Callable[["ScriptedLine"], None] | None = None
    deaf_to_hellos: int = 0
    swallowed_answers: int = 0
    mute: bool = False
    broken: bool = False
    url: str = "scripted"
    said: list[tuple[float, Message]] = field(default_factory=list)
    closed: int = 0
    tick: int = 0
    sequence: int = 0
    reads: int = 0
    _out: deque[bytes] = field(default_factory=deque)

    def __post_init__(self) -> None:
        self._host = new_deframer()

    def port(self) -> Port:
        """The port after a greeting."""
        return greet(self)

    def read(self) -> bytes:
        self.reads += 1
        self.clock.now_s += READ_S
        self.tick += TICKS_PER_READ
        if self.on_read is not None:
            self.on_read(self)
        if self.broken:
            raise LinkLost("The scripted line was cut.")
        if self.reads % 5 == 0 and not self.mute:
            self.push(Health(self.tick))
        data = b"".join(self._out)
        self._out.clear()
        return data

    def write(self, data: bytes) -> None:
        if self.broken:
            raise LinkLost("The scripted line was cut.")
        for frame in self._host.feed(data):
            assert isinstance(frame, Frame), frame
            self._hear(frame.sequence, unpack(frame))

    def close(self) -> None:
        self.closed += 1

    def push(self, message: FromBoard) -> None:
        """Send a message with the next read."""
        if isinstance(message, Identity):
            self.sequence = 0
        self._out.append(frame_bytes(message, self.sequence))
        self.sequence = (self.sequence + 1) % 256

    def push_bytes(self, data: bytes) -> None:
        """Send raw bytes with the next read."""
        self._out.append(data)

    def times_of(self, kind: type[Message]) -> list[float]:
        """When the host said messages of one kind."""
        return [when for when, message in self.said if isinstance(message, kind)]

    def requests(self) -> list[Message]:
        """All that the host said but hello and keep-alive."""
        return [m for _, m in self.said if not isinstance(m, Hello | KeepAlive)]

    def _hear(self, sequence: int, message: Message) -> None:
        self.said.append((self.clock.now_s, message))
        match message:
            case Hello() if self.deaf_to_hellos:
                self.deaf_to_hellos -= 1
            case Hello():
                self.push(IDENTITY)
            case Present() | SetMode() | Arm() if self.swallowed_answers:
                self.swallowed_answers -= 1
            case Present() | SetMode():
                self.push(Answer(sequence, Code.ACCEPTED))
            case Arm():
                self.push(Answer(sequence, Code.ACCEPTED, NONCE))
            case _:
                assert isinstance(message, KeepAlive)
