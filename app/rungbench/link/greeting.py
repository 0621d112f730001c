"""Hello until a board says who it is, or until it is clear why none does."""

from dataclasses import dataclass, field
from typing import Final

from rungbench.errors import MessageError, NotABoard, NothingHeard, OtherProtocol, PortSilent
from rungbench.link.framing import Deframer, Frame
from rungbench.link.line import Line, Pace, Port
from rungbench.link.messages import (
    HELLO,
    IDENTITY,
    RESTARTS,
    Arm,
    FromBoard,
    Hello,
    Identity,
    KeepAlive,
    Present,
    SetMode,
    frame_bytes,
    new_deframer,
    unpack,
)

HELLO_FOR_S: Final = 3.0
HELLO_EVERY_S: Final = 0.25
_TO_BOARD: Final = (Hello, Present, SetMode, KeepAlive, Arm)


@dataclass(slots=True)
class _Heard:
    """What has come so far, to tell a silent port from a strange one."""

    total: int = 0
    frames: int = 0
    echoes: int = 0
    sample: bytearray = field(default_factory=bytearray)

    def note(self, data: bytes) -> None:
        self.total += len(data)
        self.sample += data[: 16 - len(self.sample)]


def greet(line: Line) -> Port:
    """Say hello for 3 s and return the port of the board that answers.

    Raises
    ------
    PortSilent : frames but no identity; NothingHeard, which is one, if nothing came at all.
    NotABoard : bytes came that are no frames, or only what was sent.
    OtherProtocol : a board with another version of the link.
    LinkLost : the line ended meanwhile.
    """
    pace = Pace(line)
    deframer = new_deframer()
    heard = _Heard()
    hellos = 0
    while pace.elapsed_s() < HELLO_FOR_S:
        if pace.elapsed_s() >= hellos * HELLO_EVERY_S:
            # The zero ends whatever lies half-received in the board.
            line.write(b"\0" + frame_bytes(Hello(), 0))
            hellos += 1
        port = _listen(line, pace.read(), deframer, heard)
        if port is not None:
            # A board that was slow answers every hello, the later ones after we have begun.
            port.spare_identities = hellos - 1
            return port
    raise _why(line.url, heard)


def _listen(line: Line, data: bytes, deframer: Deframer, heard: _Heard) -> Port | None:
    heard.note(data)
    frames = [piece for piece in deframer.feed(data) if isinstance(piece, Frame)]
    heard.frames += len(frames)
    heard.echoes += sum(frame.type == HELLO for frame in frames)
    for place, frame in enumerate(frames):
        if frame.type == IDENTITY:
            identity = _identity(line.url, frame)
            if not identity.asked:
                # It has just been reset; the hello that it hears is still to come.
                continue
            early = tuple(_messages(frames[place + 1 :]))
            return Port(line, identity, deframer, 1, early)
    return None


def _identity(url: str, frame: Frame) -> Identity:
    try:
        identity = unpack(frame)
    except OtherProtocol as other:
        raise OtherProtocol(f"{url}: {other}") from other
    except MessageError as strange:
        raise NotABoard(f"{url}: {strange}") from strange
    if not isinstance(identity, Identity):
        raise NotABoard(f"{url} answers hello with {type(identity).__name__}; update the firmware.")
    return identity


def _messages(frames: list[Frame]) -> list[FromBoard]:
    """Messages behind the identity; an answer to an earlier, repeated hello is not one of them."""
    found: list[FromBoard] = []
    for frame in frames:
        if frame.type not in RESTARTS:
            message = unpack(frame)
            if not isinstance(message, _TO_BOARD):
                found.append(message)
    return found


def _why(url: str, heard: _Heard) -> PortSilent | NotABoard:
    if not heard.total:
        return NothingHeard(
            f"Nothing answers on {url} within {HELLO_FOR_S:.0f} s; check that the board is "
            "powered, that its firmware is loaded and that this is its port."
        )
    if heard.frames and heard.echoes == heard.frames:
        return NotABoard(
            f"{url} only sends back what it is sent; this is a loop and no board, "
            "choose another port."
        )
    if heard.frames:
        return PortSilent(
            f"The device on {url} sends frames but does not answer hello; reset the board and "
            "try again."
        )
    shown = heard.sample.hex(" ")
    return NotABoard(
        f"{url} sends bytes that are no frames of the link ({shown}...); the board may still be in "
        "its boot loader, run other firmware, or use another baud rate."
    )
