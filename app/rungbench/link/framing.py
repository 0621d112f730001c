"""Frames from bytes and bytes from frames, without any input or output.

A frame is ``type, sequence, payload, CRC`` in COBS, ended by a zero byte.  The
CRC is CRC-16/IBM-3740 (polynomial 0x1021, start 0xFFFF, not reflected, no final
xor), high byte first, so that the CRC over a whole frame is zero.
"""

import binascii
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from cobs import cobs

MAX_PAYLOAD: Final = 240
_OVERHEAD: Final = 4
# COBS adds one byte as long as a frame stays below 255 bytes.
_MAX_ENCODED: Final = MAX_PAYLOAD + _OVERHEAD + 1
_HALF_TURN: Final = 128


@dataclass(frozen=True, slots=True)
class Frame:
    """One whole frame."""

    type: int
    sequence: int
    payload: bytes


class Trouble(StrEnum):
    """What can happen to frames on the way."""

    DAMAGED = "damaged"
    LOST = "lost"
    REORDERED = "reordered"


@dataclass(frozen=True, slots=True)
class FrameError:
    """Frames that did not arrive as sent: what happened to how many of them."""

    trouble: Trouble
    count: int
    detail: str


def crc16(data: bytes) -> int:
    """CRC-16/IBM-3740; ``crc16(b"123456789") == 0x29B1``."""
    return binascii.crc_hqx(data, 0xFFFF)


def encode(kind: int, sequence: int, payload: bytes = b"") -> bytes:
    """Bytes of one frame, closing zero included.

    Raises
    ------
    ValueError : a payload above `MAX_PAYLOAD` bytes, a type or sequence that is no byte.
    """
    if len(payload) > MAX_PAYLOAD:
        raise ValueError(f"payload of {len(payload)} bytes, at most {MAX_PAYLOAD} fit")
    body = bytes((kind, sequence)) + payload
    return bytes(cobs.encode(body + crc16(body).to_bytes(2, "big"))) + b"\0"


class Deframer:
    """Turns bytes, however they are split, into frames and the troubles between them.

    A damaged piece is reported where it ends.  A jump of the sequence is reported before the
    frame that shows it: its numbers include frames that arrived damaged.  A frame behind its
    turn is reported and not delivered.

    Parameters
    ----------
    restarts : frame types that begin a new count of sequence numbers.
    """

    def __init__(self, restarts: frozenset[int] = frozenset()) -> None:
        self._restarts = restarts
        self._tail = b""
        self._expected: int | None = None

    def feed(self, data: bytes) -> list[Frame | FrameError]:
        """Frames and troubles that `data` completes, in order."""
        *pieces, tail = (self._tail + data).split(b"\0")
        # One byte above the limit is kept as the mark that the piece is too long.
        self._tail = tail[: _MAX_ENCODED + 1]
        found: list[Frame | FrameError] = []
        for piece in pieces:
            if piece:
                found += self._examine(piece)
        return found

    def _examine(self, piece: bytes) -> list[Frame | FrameError]:
        decoded = _decode(piece)
        if isinstance(decoded, FrameError):
            return [decoded]
        trouble = self._place(decoded)
        if trouble is None:
            return [decoded]
        return [trouble] if trouble.trouble is Trouble.REORDERED else [trouble, decoded]

    def _place(self, frame: Frame) -> FrameError | None:
        expected = self._expected
        if expected is None or frame.type in self._restarts:
            expected = frame.sequence
        ahead = (frame.sequence - expected) % 256
        if ahead >= _HALF_TURN:
            return FrameError(
                Trouble.REORDERED, 1, f"frame {frame.sequence} came where {expected} was due"
            )
        self._expected = (frame.sequence + 1) % 256
        if ahead:
            return FrameError(Trouble.LOST, ahead, f"{ahead} missing before frame {frame.sequence}")
        return None


def _decode(piece: bytes) -> Frame | FrameError:
    if len(piece) > _MAX_ENCODED:
        return FrameError(Trouble.DAMAGED, 1, f"more than {_MAX_ENCODED} bytes without an end")
    try:
        body = bytes(cobs.decode(piece))
    except cobs.DecodeError:
        return FrameError(Trouble.DAMAGED, 1, "broken byte stuffing")
    if len(body) < _OVERHEAD:
        return FrameError(Trouble.DAMAGED, 1, f"only {len(body)} bytes")
    if crc16(body):
        return FrameError(Trouble.DAMAGED, 1, "wrong checksum")
    return Frame(body[0], body[1], body[2:-2])
