"""A host as plain as can be: frames over a line, time by the board's ticks."""

from collections.abc import Callable
from typing import TypeVar

from rungbench.link.framing import FrameError, encode
from rungbench.link.line import Line
from rungbench.link.messages import (
    HELLO,
    TICKS_PER_SECOND,
    Answer,
    Arm,
    EdgeBlock,
    Event,
    EventKind,
    FromBoard,
    Health,
    Hello,
    Identity,
    KeepAlive,
    Present,
    SampleBlock,
    Setting,
    ToBoard,
    frame_bytes,
    new_deframer,
    unpack,
)

_ALIVE_TICKS = TICKS_PER_SECOND // 4
_READS = 200_000

M = TypeVar("M", bound=FromBoard)


class BoardSession:
    """Talks to a board; keeps it alive unless `alive` is false; keeps all it hears."""

    def __init__(self, line: Line) -> None:
        self.line = line
        self.alive = True
        self.heard: list[FromBoard] = []
        self.troubles: list[FrameError] = []
        self.now = 0
        self._deframer = new_deframer()
        self._sequence = 0
        self._alive_at = 0

    def hello(self, version: int | None = None) -> Identity:
        """Begin a session; returns the identity that answers."""
        self._sequence = 0
        since = len(self.heard)
        self.line.write(b"\0")
        if version is None:
            self.say(Hello())
        else:
            self.line.write(encode(HELLO, 0, bytes((version,))))
            self._sequence = 1
        return self.wait(Identity, since=since)

    def say(self, message: ToBoard) -> int:
        """Send a message; returns its sequence number."""
        sequence = self._sequence
        self._sequence = (sequence + 1) % 256
        self.line.write(frame_bytes(message, sequence))
        return sequence

    def say_bytes(self, kind: int, payload: bytes) -> int:
        """Send a frame of any contents; returns its sequence number."""
        sequence = self._sequence
        self._sequence = (sequence + 1) % 256
        self.line.write(encode(kind, sequence, payload))
        return sequence

    def skip_sequence(self, count: int) -> None:
        """As if so many frames had been lost on the way to the board."""
        self._sequence = (self._sequence + count) % 256

    def answer_to(self, sequence: int, since: int) -> Answer:
        """The answer to a request, among what was heard from number `since` on."""
        return self.wait(Answer, lambda answer: answer.to_sequence == sequence, since=since)

    def ask(self, message: ToBoard) -> Answer:
        """Send a request and wait for its answer."""
        since = len(self.heard)
        return self.answer_to(self.say(message), since)

    def present(self, setting: Setting) -> Event:
        """Present a setting, armed if it energises; returns the event that reports it."""
        nonce = self.ask(Arm()).nonce if setting.energising else 0
        since = len(self.heard)
        assert self.ask(Present(setting, nonce)).accepted
        return self.event(EventKind.SETTING_APPLIED, since=since)

    def event(self, kind: EventKind, *, since: int = 0, within_s: float = 3.0) -> Event:
        """The first event of a kind among what is heard from number `since` on."""
        return self.wait(Event, lambda event: event.kind is kind, since=since, within_s=within_s)

    def events(self, kind: EventKind, since: int = 0) -> list[Event]:
        """All events of a kind heard so far."""
        return [m for m in self.heard[since:] if isinstance(m, Event) and m.kind is kind]

    def wait(
        self,
        kind: type[M],
        wanted: Callable[[M], bool] = lambda message: True,
        *,
        since: int | None = None,
        within_s: float = 3.0,
    ) -> M:
        """The first fitting message, waiting for it until so much board time has passed."""
        place = len(self.heard) if since is None else since
        end: int | None = None
        for _ in range(_READS):
            while place < len(self.heard):
                message = self.heard[place]
                place += 1
                if isinstance(message, kind) and wanted(message):
                    return message
            end = self.now + int(within_s * TICKS_PER_SECOND) if end is None else end
            if self.now > end:
                raise AssertionError(f"no {kind.__name__} within {within_s} s of board time")
            self.read()
        raise AssertionError(f"no {kind.__name__}, and the board's time stands still")

    def listen(self, seconds: float) -> list[FromBoard]:
        """All that is heard in so many seconds of board time; needs a board that was greeted."""
        since, end = len(self.heard), self.now + int(seconds * TICKS_PER_SECOND)
        for _ in range(_READS):
            if self.now >= end:
                return self.heard[since:]
            self.read()
        raise AssertionError("the board's time stands still")

    def read(self) -> None:
        """Hear what one read brings."""
        for found in self._deframer.feed(self.line.read()):
            if isinstance(found, FrameError):
                self.troubles.append(found)
                continue
            message = unpack(found)
            assert isinstance(message, FromBoard), f"the board said {message}"
            self.heard.append(message)
            self._note_time(message)
        if self.alive and self.now - self._alive_at >= _ALIVE_TICKS:
            self._alive_at = self.now
            self.say(KeepAlive())

    def _note_time(self, message: FromBoard) -> None:
        if isinstance(message, Identity):
            self.now = self._alive_at = 0
        elif isinstance(message, Health):
            self.now = message.tick
        elif isinstance(message, Event | SampleBlock | EdgeBlock):
            self.now = max(self.now, message.tick)
