"""Every message of the link by name, and its way into a frame and out of it."""

import struct
from typing import Final

from rungbench.errors import MessageError
from rungbench.link.board_messages import (
    PROTOCOL,
    Answer,
    EdgeBlock,
    Event,
    FromBoard,
    Health,
    Identity,
    SampleBlock,
)
from rungbench.link.framing import MAX_PAYLOAD, Deframer, Frame, encode
from rungbench.link.host_messages import Arm, Hello, KeepAlive, Present, SetMode, ToBoard
from rungbench.link.layout import (
    ANSWER,
    ARM,
    EDGE_INDEX_BITS,
    EDGES,
    EVENT,
    HEALTH,
    HELLO,
    IDENTITY,
    KEEP_ALIVE,
    MAX_EDGES,
    PRESENT,
    READERS,
    RESTARTS,
    SAMPLE_INDEX_BITS,
    SAMPLES,
    SET_MODE,
    TICK_BITS,
    WRITERS,
    Message,
    samples_per_block,
)
from rungbench.link.words import (
    CHECK_CHANNELS,
    MODE_FACTS,
    OPEN,
    REASONS,
    TICK_S,
    TICKS_PER_SECOND,
    CableCode,
    Channel,
    Code,
    EventKind,
    LadderSet,
    Mode,
    ModeFacts,
    Oscillator,
    Reason,
    ResetCause,
    Rung,
    Setting,
)

__all__ = [
    "ANSWER",
    "ARM",
    "ARM_TICKS",
    "CHECK_CHANNELS",
    "EDGES",
    "EDGE_INDEX_BITS",
    "EVENT",
    "HEALTH",
    "HEALTH_TICKS",
    "HELLO",
    "IDENTITY",
    "KEEP_ALIVE",
    "KEEP_ALIVE_LIMIT_TICKS",
    "MAX_EDGES",
    "MODE_FACTS",
    "OPEN",
    "PRESENT",
    "PROTOCOL",
    "REASONS",
    "RESTARTS",
    "SAMPLES",
    "SAMPLE_INDEX_BITS",
    "SET_MODE",
    "TICKS_PER_SECOND",
    "TICK_BITS",
    "TICK_S",
    "Answer",
    "Arm",
    "CableCode",
    "Channel",
    "Code",
    "EdgeBlock",
    "Event",
    "EventKind",
    "FromBoard",
    "Health",
    "Hello",
    "Identity",
    "KeepAlive",
    "LadderSet",
    "Message",
    "Mode",
    "ModeFacts",
    "Oscillator",
    "Present",
    "Reason",
    "ResetCause",
    "Rung",
    "SampleBlock",
    "SetMode",
    "Setting",
    "ToBoard",
    "frame_bytes",
    "new_deframer",
    "pack",
    "samples_per_block",
    "unpack",
]

KEEP_ALIVE_LIMIT_TICKS: Final = TICKS_PER_SECOND
ARM_TICKS: Final = 10 * TICKS_PER_SECOND
HEALTH_TICKS: Final = TICKS_PER_SECOND // 10


def pack(message: Message) -> tuple[int, bytes]:
    """Frame type and payload of a message; ticks and running numbers wrap as on the wire.

    Raises
    ------
    ValueError : a field that does not fit, such as more samples than a block holds.
    """
    kind, write = WRITERS[type(message)]
    try:
        payload = write(message)
    except (struct.error, UnicodeEncodeError) as misfit:
        raise ValueError(f"{type(message).__name__} does not fit its frame: {misfit}") from misfit
    if len(payload) > MAX_PAYLOAD:
        raise ValueError(f"{type(message).__name__} of {len(payload)} bytes exceeds a frame")
    return kind, payload


def unpack(frame: Frame) -> Message:
    """The message in a frame.

    Raises
    ------
    MessageError : an unknown type, a wrong length or a code that this version does not know.
    OtherProtocol : the identity of a board with another version of the link.
    """
    read = READERS.get(frame.type)
    if read is None:
        raise MessageError(
            f"The board sent a message of type {frame.type:#04x}, which this version does not "
            "know; update Rungbench or the firmware."
        )
    try:
        return read(frame.payload)
    except (struct.error, UnicodeDecodeError) as misfit:
        raise MessageError(
            f"The board sent a message of type {frame.type:#04x} whose {len(frame.payload)} bytes "
            "do not fit its layout; update the firmware."
        ) from misfit


def frame_bytes(message: Message, sequence: int) -> bytes:
    """Bytes of the frame that carries a message."""
    kind, payload = pack(message)
    return encode(kind, sequence, payload)


def new_deframer() -> Deframer:
    """A deframer that knows which messages begin a new count of sequence numbers."""
    return Deframer(RESTARTS)
