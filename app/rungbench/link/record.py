"""A link recorded as JSON lines, and played back.

The first line says what the recording is; each other line is a piece of the
conversation: ``{"t": seconds, "to": "host"|"board", "bytes": hex}``.  Played
back, everything that the host says must come as it was recorded, in the same
order, and nothing may be left unread.  Only keep-alives are free: when they
fall depends on the speed of the computer.
"""

import json
import time
from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any, Final, NoReturn, TextIO

from rungbench.errors import LinkLost, ReplayError
from rungbench.link.framing import Deframer, Frame, FrameError, encode
from rungbench.link.greeting import greet
from rungbench.link.line import Line, Port
from rungbench.link.messages import ANSWER, KEEP_ALIVE, RESTARTS, new_deframer

SCHEMA: Final = "rungbench.link/1"


class RecordingLine:
    """A line that writes down all that passes over it; the stream stays its owner's to close."""

    def __init__(
        self, line: Line, stream: TextIO, clock: Callable[[], float] = time.monotonic
    ) -> None:
        self._line = line
        self._stream = stream
        self._clock = clock
        self._start = clock()
        self._note({"schema": SCHEMA, "url": line.url, "lock_step": line.lock_step})

    @property
    def url(self) -> str:
        return self._line.url

    @property
    def lock_step(self) -> bool:
        return self._line.lock_step

    def read(self) -> bytes:
        data = self._line.read()
        if data:
            self._note_bytes("host", data)
        return data

    def write(self, data: bytes) -> None:
        self._line.write(data)
        self._note_bytes("board", data)

    def close(self) -> None:
        self._line.close()

    def _note_bytes(self, to: str, data: bytes) -> None:
        self._note({"t": round(self._clock() - self._start, 6), "to": to, "bytes": data.hex()})

    def _note(self, entry: dict[str, Any]) -> None:
        self._stream.write(json.dumps(entry) + "\n")
        self._stream.flush()


@dataclass(frozen=True, slots=True)
class _Said:
    """A frame of the host as recorded."""

    line_number: int
    frame: Frame


@dataclass(frozen=True, slots=True)
class _Heard:
    """Bytes of the board as recorded."""

    line_number: int
    data: bytes


class ReplayLine:
    """The board of a recording.

    Parameters
    ----------
    lines : the lines of the recording.

    Raises
    ------
    ReplayError : lines that are no recording; on `write`, anything but what was recorded; on
        `close`, pieces that nobody read or said.
    """

    lock_step: Final = True
    """A recording has no time of its own: the host's pace follows the ticks in it."""

    def __init__(self, lines: Iterable[str], name: str = "recording") -> None:
        self._name = name
        self._script = deque(_script(lines, name))
        self._said = new_deframer()
        self._heard = new_deframer()
        self._numbers: dict[int, int] = {}
        self._closed = False
        self._refusal: ReplayError | None = None

    @property
    def url(self) -> str:
        return f"replay://{self._name}"

    def read(self) -> bytes:
        """The next piece that the board said, or nothing while the host has the word."""
        if not self._script:
            raise LinkLost(f"The recording {self._name} has come to its end.")
        entry = self._script[0]
        if isinstance(entry, _Said):
            return b""
        self._script.popleft()
        return self._renumbered(entry.data)

    def write(self, data: bytes) -> None:
        """Compare what the host says now with what it said then."""
        for piece in self._said.feed(data):
            if isinstance(piece, FrameError):
                self._refuse(f"the host sent a broken frame ({piece.detail})")
            elif piece.type != KEEP_ALIVE:
                self._compare(piece)

    def close(self) -> None:
        """End; `ReplayError` if the recording was not used as it was made, to its end."""
        if self._closed:
            return
        self._closed = True
        if self._refusal is not None:
            # Said again here, because whoever wrote may have had no way to tell.
            raise self._refusal
        if self._script:
            raise ReplayError(
                f"{self.url} was left with {len(self._script)} pieces unused, from line "
                f"{self._script[0].line_number} on."
            )

    def _compare(self, now: Frame) -> None:
        then = self._script[0] if self._script else None
        if not isinstance(then, _Said):
            place = f"line {then.line_number} is the board's" if then else "it has ended"
            self._refuse(f"{_shown(now)} was sent, but {place}")
        elif (now.type, now.payload) != (then.frame.type, then.frame.payload):
            self._refuse(
                f"{_shown(now)} was sent, but line {then.line_number} has {_shown(then.frame)}"
            )
        else:
            self._script.popleft()
            if now.type in RESTARTS:
                self._numbers.clear()
            self._numbers[then.frame.sequence] = now.sequence

    def _refuse(self, why: str) -> NoReturn:
        refusal = ReplayError(f"{self.url}: {why}; record the link again if this is right.")
        self._refusal = self._refusal or refusal
        raise refusal

    def _renumbered(self, data: bytes) -> bytes:
        """Answers name the number of a request, which keep-alives in between may have moved."""
        return b"\0".join(map(self._renumber, data.split(b"\0")))

    def _renumber(self, piece: bytes) -> bytes:
        match Deframer().feed(piece + b"\0"):
            case [Frame(type=kind, sequence=sequence, payload=payload)] if kind == ANSWER:
                to = self._numbers.get(payload[0], payload[0])
                return encode(kind, sequence, bytes((to,)) + payload[1:])[:-1]
        return piece


def replay(lines: Iterable[str], name: str = "recording") -> Port:
    """The port of a recorded board; raises as `ReplayLine` and `greet` do."""
    return greet(ReplayLine(lines, name))


def _shown(frame: Frame) -> str:
    return f"a frame of type {frame.type:#04x} with payload {frame.payload.hex() or 'nothing'}"


def _script(lines: Iterable[str], name: str) -> list[_Said | _Heard]:
    numbered = enumerate(lines, start=1)
    head = next(numbered, (1, ""))[1]
    if _parsed(head, name, 1).get("schema") != SCHEMA:
        raise ReplayError(f"{name} is no recording of the link ({SCHEMA}).")
    script: list[_Said | _Heard] = []
    deframer = new_deframer()
    rest = b""
    for number, text in numbered:
        entry = _parsed(text, name, number)
        to, data = _piece(entry, name, number)
        if to == "board":
            script += _said(number, data, deframer)
            continue
        # Pieces end where frames end, so that an answer can be renumbered as a whole.
        whole, zero, rest = (rest + data).rpartition(b"\0")
        if zero:
            script.append(_Heard(number, whole + zero))
    if rest:
        script.append(_Heard(0, rest))
    return script


def _said(number: int, data: bytes, deframer: Deframer) -> list[_Said]:
    return [
        _Said(number, piece)
        for piece in deframer.feed(data)
        if isinstance(piece, Frame) and piece.type != KEEP_ALIVE
    ]


def _piece(entry: dict[str, Any], name: str, number: int) -> tuple[str, bytes]:
    try:
        to, data = entry["to"], bytes.fromhex(entry["bytes"])
    except (ValueError, KeyError, TypeError) as problem:
        raise ReplayError(f"{name}, line {number}, is no piece of a recording.") from problem
    if to not in ("host", "board"):
        raise ReplayError(f"{name}, line {number}, goes to {to!r}, not to host or board.")
    return to, data


def _parsed(text: str, name: str, number: int) -> dict[str, Any]:
    try:
        entry = json.loads(text)
    except ValueError as problem:
        raise ReplayError(f"{name}, line {number}, is not JSON.") from problem
    if not isinstance(entry, dict):
        raise ReplayError(f"{name}, line {number}, is no piece of a recording.")
    return entry
