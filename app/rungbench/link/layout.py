"""Layout of every message: its type and how its fields become bytes.

Every number is little endian; a tick is 48 bits of 62.5 ns.  Offsets and sizes
stand in `hardware_notes/link_protocol.md`, and a test compares the two.
"""

import struct
from collections.abc import Callable
from typing import Any, Final

import numpy as np

from rungbench.errors import MessageError, OtherProtocol
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
from rungbench.link.framing import MAX_PAYLOAD
from rungbench.link.host_messages import Arm, Hello, KeepAlive, Present, SetMode, ToBoard
from rungbench.link.words import (
    CABLES,
    CODES,
    EVENTS,
    LADDERS,
    MODES,
    OSCILLATORS,
    REASONS,
    RESET_CAUSES,
    RUNGS,
    EventKind,
    Setting,
)

Message = FromBoard | ToBoard

TICK_BITS: Final = 48
SAMPLE_INDEX_BITS: Final = 32
EDGE_INDEX_BITS: Final = 15

IDENTITY: Final = 0x10
SAMPLES: Final = 0x11
EDGES: Final = 0x12
EVENT: Final = 0x13
HEALTH: Final = 0x14
ANSWER: Final = 0x15
HELLO: Final = 0x40
PRESENT: Final = 0x41
SET_MODE: Final = 0x42
KEEP_ALIVE: Final = 0x43
ARM: Final = 0x44

RESTARTS: Final = frozenset({IDENTITY, HELLO})
"""Frame types that begin a new count of sequence numbers."""

_NO_TEMPERATURE: Final = -32768
_PHASES: Final = (1, 2, 3)

_IDENTITY: Final = struct.Struct("<B3B12s10BhhHH")
_SAMPLES: Final = struct.Struct("<IHIHB")
_EDGES: Final = struct.Struct("<IHH")
_EVENT: Final = struct.Struct("<IHBHI")
_HEALTH: Final = struct.Struct("<IHHHHhBHBB")
_ANSWER: Final = struct.Struct("<BBI")
_HELLO: Final = struct.Struct("<B")
_PRESENT: Final = struct.Struct("<HI")
_SET_MODE: Final = struct.Struct("<B")
_NOTHING: Final = struct.Struct("<")

MAX_SAMPLE_BYTES: Final = (MAX_PAYLOAD - _SAMPLES.size) // 16 * 16
MAX_EDGES: Final = (MAX_PAYLOAD - _EDGES.size) // 2


def samples_per_block(bits: int) -> int:
    """Most samples that one block holds: 8 bits take one byte, more take two."""
    return MAX_SAMPLE_BYTES // _bytes_per_sample(bits)


def _bytes_per_sample(bits: int) -> int:
    return 1 if bits <= 8 else 2


def _split_tick(tick: int) -> tuple[int, int]:
    return tick & 0xFFFF_FFFF, tick >> 32 & 0xFFFF


def _write_identity(m: Identity) -> bytes:
    firmware = (int(part) for part in m.firmware.split("."))
    flags = m.can_bypass_diode | m.can_open_pe << 1 | m.simulated << 2 | m.asked << 3
    name = m.board_id.encode("ascii")
    if len(name) > 12:
        raise ValueError(f"board id {m.board_id!r} is longer than 12 characters")
    return _IDENTITY.pack(
        m.protocol,
        *firmware,
        name,
        OSCILLATORS.number(m.oscillator),
        RESET_CAUSES.number(m.reset_cause),
        MODES.mask(m.modes),
        RUNGS.mask(m.rungs),
        LADDERS.mask(m.ladders),
        CABLES.mask(m.cable_codes),
        flags,
        m.phases_sensed,
        m.edge_quantum_ticks,
        m.converter_bits,
        round(m.converter_low_v * 1000),
        round(m.converter_high_v * 1000),
        m.hold_c_s,
        m.hold_d_s,
    )


def _read_identity(payload: bytes) -> Identity:
    # Protocol, firmware and board id keep their place in every version of the link.
    if payload[:1] != bytes((PROTOCOL,)):
        raise _other_protocol(payload)
    (protocol, major, minor, patch, name, *rest) = _IDENTITY.unpack(payload)
    oscillator, cause, modes, rungs, ladders, cables, flags, phases, quantum, bits = rest[:10]
    low_mv, high_mv, hold_c_s, hold_d_s = rest[10:]
    return Identity(
        firmware=f"{major}.{minor}.{patch}",
        board_id=_text(name),
        oscillator=OSCILLATORS.word(oscillator),
        reset_cause=RESET_CAUSES.word(cause),
        modes=MODES.words(modes),
        rungs=RUNGS.words(rungs),
        ladders=LADDERS.words(ladders),
        cable_codes=CABLES.words(cables),
        can_bypass_diode=bool(flags & 1),
        can_open_pe=bool(flags & 2),
        simulated=bool(flags & 4),
        asked=bool(flags & 8),
        phases_sensed=phases,
        edge_quantum_ticks=quantum,
        converter_bits=bits,
        converter_low_v=low_mv / 1000,
        converter_high_v=high_mv / 1000,
        hold_c_s=hold_c_s,
        hold_d_s=hold_d_s,
        protocol=protocol,
    )


def _text(name: bytes) -> str:
    return name.rstrip(b"\0").decode("ascii")


def _other_protocol(payload: bytes) -> MessageError | OtherProtocol:
    if len(payload) < 16:
        return MessageError("The board sent an identity that is too short; update the firmware.")
    major, minor, patch = payload[1:4]
    remedy = "update the firmware of the board" if payload[0] < PROTOCOL else "update Rungbench"
    return OtherProtocol(
        f"The board {_text(payload[4:16])} (firmware {major}.{minor}.{patch}) speaks version "
        f"{payload[0]} of the link and this program version {PROTOCOL}; {remedy}."
    )


def _write_samples(m: SampleBlock) -> bytes:
    if m.counts.size > samples_per_block(m.bits):
        raise ValueError(f"{m.counts.size} samples of {m.bits} bits exceed a block")
    kind = "<u1" if _bytes_per_sample(m.bits) == 1 else "<u2"
    head = _SAMPLES.pack(
        *_split_tick(m.tick), m.index & 0xFFFF_FFFF, m.interval_ticks, m.bits | m.channel << 4
    )
    return head + m.counts.astype(kind).tobytes()


def _read_samples(payload: bytes) -> SampleBlock:
    low, high, index, interval, form = _SAMPLES.unpack_from(payload)
    kind = "<u1" if _bytes_per_sample(form & 15) == 1 else "<u2"
    counts = _array(payload, kind, _SAMPLES.size)
    return SampleBlock(form >> 4, high << 32 | low, index, interval, form & 15, counts)


def _write_edges(m: EdgeBlock) -> bytes:
    numbered = m.index & 0x7FFF | m.first_rising << 15
    return _EDGES.pack(*_split_tick(m.tick), numbered) + m.offsets.astype("<u2").tobytes()


def _read_edges(payload: bytes) -> EdgeBlock:
    low, high, numbered = _EDGES.unpack_from(payload)
    offsets = _array(payload, "<u2", _EDGES.size)
    return EdgeBlock(high << 32 | low, numbered & 0x7FFF, offsets, bool(numbered >> 15))


def _array(payload: bytes, kind: str, offset: int) -> Any:
    """Entries after a header; read-only, because the bytes are."""
    if (len(payload) - offset) % np.dtype(kind).itemsize or len(payload) == offset:
        raise struct.error("entries are cut or absent")
    return np.frombuffer(payload, kind, offset=offset)


def _write_event(m: Event) -> bytes:
    return _EVENT.pack(*_split_tick(m.tick), EVENTS.number(m.kind), m.value, m.interval_ticks)


def _read_event(payload: bytes) -> Event:
    low, high, kind, value, interval = _EVENT.unpack(payload)
    event = Event(high << 32 | low, EVENTS.word(kind), value, interval)
    _check_value(event)
    return event


def _check_value(event: Event) -> None:
    """A value that means nothing is refused here, not where somebody first looks at it."""
    if event.kind is EventKind.SETTING_APPLIED:
        Setting.unpacked(event.value)
    elif event.kind in (EventKind.DISARMED, EventKind.FELL_OPEN):
        REASONS.word(event.value)
    elif event.kind in (EventKind.MAINS_ON, EventKind.MAINS_OFF) and event.value not in _PHASES:
        raise MessageError(
            f"The board sent an event of mains phase {event.value}, which does not exist; "
            "update the firmware."
        )


def _write_health(m: Health) -> bytes:
    warmth = _NO_TEMPERATURE if m.temperature_c is None else round(m.temperature_c * 10)
    mains = sum(1 << phase - 1 for phase in set(m.mains))
    return _HEALTH.pack(
        *_split_tick(m.tick),
        min(m.overruns, 0xFFFF),
        min(m.dropped_edges, 0xFFFF),
        min(m.dropped_samples, 0xFFFF),
        warmth,
        m.armed | m.interlock_closed << 1,
        m.setting.packed(),
        MODES.number(m.mode),
        mains,
    )


def _read_health(payload: bytes) -> Health:
    low, high, overruns, edges, samples, warmth, flags, setting, mode, mains = _HEALTH.unpack(
        payload
    )
    return Health(
        tick=high << 32 | low,
        overruns=overruns,
        dropped_edges=edges,
        dropped_samples=samples,
        temperature_c=None if warmth == _NO_TEMPERATURE else warmth / 10,
        armed=bool(flags & 1),
        interlock_closed=bool(flags & 2),
        setting=Setting.unpacked(setting),
        mode=MODES.word(mode),
        mains=tuple(phase for phase in _PHASES if mains >> phase - 1 & 1),
    )


def _read_answer(payload: bytes) -> Answer:
    to_sequence, code, nonce = _ANSWER.unpack(payload)
    return Answer(to_sequence, CODES.word(code), nonce)


def _read_present(payload: bytes) -> Present:
    setting, nonce = _PRESENT.unpack(payload)
    return Present(Setting.unpacked(setting), nonce)


def _read_keep_alive(payload: bytes) -> KeepAlive:
    _NOTHING.unpack(payload)
    return KeepAlive()


def _read_arm(payload: bytes) -> Arm:
    _NOTHING.unpack(payload)
    return Arm()


WRITERS: Final[dict[type[Any], tuple[int, Callable[[Any], bytes]]]] = {
    Identity: (IDENTITY, _write_identity),
    SampleBlock: (SAMPLES, _write_samples),
    EdgeBlock: (EDGES, _write_edges),
    Event: (EVENT, _write_event),
    Health: (HEALTH, _write_health),
    Answer: (ANSWER, lambda m: _ANSWER.pack(m.to_sequence, CODES.number(m.code), m.nonce)),
    Hello: (HELLO, lambda m: _HELLO.pack(m.protocol)),
    Present: (PRESENT, lambda m: _PRESENT.pack(m.setting.packed(), m.nonce)),
    SetMode: (SET_MODE, lambda m: _SET_MODE.pack(MODES.number(m.mode))),
    KeepAlive: (KEEP_ALIVE, lambda _: b""),
    Arm: (ARM, lambda _: b""),
}

READERS: Final[dict[int, Callable[[bytes], Message]]] = {
    IDENTITY: _read_identity,
    SAMPLES: _read_samples,
    EDGES: _read_edges,
    EVENT: _read_event,
    HEALTH: _read_health,
    ANSWER: _read_answer,
    HELLO: lambda payload: Hello(*_HELLO.unpack(payload)),
    PRESENT: _read_present,
    SET_MODE: lambda payload: SetMode(MODES.word(*_SET_MODE.unpack(payload))),
    KEEP_ALIVE: _read_keep_alive,
    ARM: _read_arm,
}
