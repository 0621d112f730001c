"""The page that firmware is written from says what the code does: tables, numbers, examples."""

import re
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from rungbench.link import framing, greeting, messages, words
from rungbench.link.framing import Frame
from rungbench.link.messages import (
    Answer,
    Arm,
    Code,
    EdgeBlock,
    Event,
    EventKind,
    Health,
    Hello,
    Identity,
    KeepAlive,
    Message,
    Mode,
    Oscillator,
    Present,
    Reason,
    ResetCause,
    Rung,
    SampleBlock,
    SetMode,
    Setting,
)

SIZES = {"u8": 1, "u16": 2, "u32": 4, "u48": 6, "i16": 2, "12 ascii": 12}


@pytest.fixture(scope="module")
def page(root: Path) -> str:
    return (root / "hardware_notes/link_protocol.md").read_text()


def section(page: str, title: str) -> str:
    """Text under a heading that begins with `title`, up to the next heading."""
    found = re.search(rf"^#+ {re.escape(title)}.*?$(.*?)(?=^#|\Z)", page, re.M | re.S)
    assert found, title
    return found[1]


def rows(text: str, columns: int) -> list[list[str]]:
    """Cells of the table rows with that many columns, header included."""
    cells = [
        [cell.strip() for cell in line.strip().strip("|").split("|")]
        for line in text.splitlines()
        if line.startswith("|") and not re.fullmatch(r"[|\-\s]+", line)
    ]
    return [row for row in cells if len(row) == columns]


def layout(page: str, kind: int) -> list[tuple[int, str, str]]:
    """Offset, type and field of one message as the page has them."""
    return [
        (int(offset), form, field)
        for offset, form, field, _ in rows(section(page, f"{kind:#04x}"), 4)
        if offset.isdigit()
    ]


def decoded(page: str, kind: int, payload: bytes) -> dict[str, Any]:
    """Fields of a payload, read by the page's table alone."""
    values: dict[str, Any] = {}
    for offset, form, field in layout(page, kind):
        if form in SIZES:
            raw = payload[offset : offset + SIZES[form]]
            assert len(raw) == SIZES[form], field
            values[field] = (
                raw.rstrip(b"\0").decode()
                if "ascii" in form
                else int.from_bytes(raw, "little", signed=form[0] == "i")
            )
        else:
            values[field] = payload[offset:]
    return values


def fixed_size(page: str, kind: int) -> int:
    """Length of the fixed part, which must have neither holes nor overlaps."""
    place = 0
    for offset, form, field in layout(page, kind):
        assert offset == place, field
        place += SIZES.get(form, 0)
    return place


IDENTITY = Identity(
    "1.2.3",
    "RB-0009",
    Oscillator.RESONATOR,
    ResetCause.WATCHDOG,
    modes=(Mode.OFF, Mode.STREAM8),
    rungs=(Rung.OPEN, Rung.C),
    ladders=(words.LadderSet.HIGH,),
    cable_codes=(words.CableCode.SHORT,),
    can_bypass_diode=False,
    simulated=True,
    phases_sensed=1,
    edge_quantum_ticks=4,
    converter_low_v=-14.5,
    converter_high_v=15.25,
    hold_c_s=45,
    hold_d_s=20,
)
SETTING = Setting(Rung.D, words.LadderSet.HIGH, False, True, words.CableCode.A63)


@pytest.mark.parametrize(
    ("message", "expected"),
    [
        (
            IDENTITY,
            {
                "protocol": 1,
                "firmware major": 1,
                "firmware minor": 2,
                "firmware patch": 3,
                "board id": "RB-0009",
                "oscillator": 2,
                "reset cause": 4,
                "modes": 0b1001,
                "rungs": 0b00101,
                "ladder sets": 0b100,
                "cable codes": 0b100000,
                "flags": 0b1110,
                "phases sensed": 1,
                "edge quantum": 4,
                "converter bits": 10,
                "converter low": -14500,
                "converter high": 15250,
                "hold limit C": 45,
                "hold limit D": 20,
            },
        ),
        (
            SampleBlock(2, 0x0102_0304_0506, 0x0708_090A, 208, 8, np.array([1, 255, 0])),
            {
                "tick": 0x0102_0304_0506,
                "index": 0x0708_090A,
                "interval": 208,
                "form": 0x28,
                "counts": b"\x01\xff\x00",
            },
        ),
        (
            EdgeBlock(77, 5, np.array([1, 0x1234], np.uint16), True),
            {"tick": 77, "numbered": 0x8005, "offsets": b"\x01\x00\x34\x12"},
        ),
        (
            Event(2**40, EventKind.MAINS_OFF, 3, 160_000),
            {"tick": 2**40, "kind": 2, "value": 3, "interval": 160_000},
        ),
        (
            Health(9, 1, 2, 3, -5.5, True, False, SETTING, Mode.STREAM10, (2, 3)),
            {
                "tick": 9,
                "overruns": 1,
                "dropped edges": 2,
                "dropped samples": 3,
                "temperature": -55,
                "flags": 1,
                "setting": SETTING.packed(),
                "mode": 2,
                "mains": 0b110,
            },
        ),
        (Answer(200, Code.WRONG_NONCE, 0), {"to": 200, "code": 2, "nonce": 0}),
        (Hello(), {"protocol": 1}),
        (Present(SETTING, 0xA1B2_C3D4), {"setting": SETTING.packed(), "nonce": 0xA1B2_C3D4}),
        (SetMode(Mode.BURST10), {"mode": 1}),
        (KeepAlive(), {}),
        (Arm(), {}),
    ],
    ids=lambda value: type(value).__name__,
)
def test_bytes_lie_where_the_page_says(
    page: str, message: Message, expected: dict[str, Any]
) -> None:
    kind, payload = messages.pack(message)
    assert decoded(page, kind, payload) == expected
    if not any(isinstance(value, bytes) for value in expected.values()):
        assert len(payload) == fixed_size(page, kind)


def test_setting_bits_are_as_on_the_page(page: str) -> None:
    shifts = {
        field: int(bits.split("-")[0])
        for bits, field, _ in rows(section(page, "0x41"), 3)
        if bits[0].isdigit() and field
    }
    assert SETTING.packed() == (
        3 << shifts["rung"]
        | 2 << shifts["ladder set"]
        | 0 << shifts["diode"]
        | 1 << shifts["PE return"]
        | 4 << shifts["cable code"]
    )


@pytest.mark.parametrize(
    "numbers",
    [
        words.RUNGS,
        words.LADDERS,
        words.CABLES,
        words.MODES,
        words.OSCILLATORS,
        words.RESET_CAUSES,
        words.EVENTS,
        words.REASONS,
        words.CODES,
    ],
    ids=lambda numbers: str(numbers._title),
)
def test_every_number_of_a_word_stands_on_the_page(page: str, numbers: words.Numbers[Any]) -> None:
    listed = ", ".join(f"{number} {word}" for word, number in numbers._numbers.items())
    assert listed in page


EXAMPLES: list[Message] = [
    Hello(),
    Identity("1.0.0", "RB-0001", Oscillator.CRYSTAL, ResetCause.POWER_ON),
    Present(Setting(Rung.B)),
    Answer(1, Code.ACCEPTED),
    Arm(),
    Answer(2, Code.ACCEPTED, 0x5AC3_0F01),
    Present(Setting(Rung.C), 0x5AC3_0F01),
    SetMode(Mode.STREAM10),
    KeepAlive(),
    Event(16_000_000, EventKind.SETTING_APPLIED, Setting(Rung.B).packed()),
    Event(32_000_000, EventKind.MAINS_OFF, 2, 160_000),
    Event(48_000_000, EventKind.FELL_OPEN, words.REASONS.number(Reason.KEEP_ALIVE_LOST)),
    Health(1_600_000, temperature_c=21.5, setting=Setting(Rung.B), mode=Mode.STREAM10, mains=(1,)),
    SampleBlock(0, 2**32, 112, 832, 10, np.array([512, 513, 0, 1023], np.uint16)),
    EdgeBlock(65_536, 8, np.array([0, 4267, 16_000], np.uint16), True),
]


def test_example_frames_are_those_of_the_code(page: str) -> None:
    shown = [
        bytes.fromhex(cell.strip("`"))
        for _, cell in rows(section(page, "10 Example frames"), 2)
        if cell.startswith("`")
    ]
    assert len(shown) == len(EXAMPLES)
    for data, message in zip(shown, EXAMPLES, strict=True):
        (frame,) = framing.Deframer().feed(data)
        assert isinstance(frame, Frame)
        assert messages.frame_bytes(message, frame.sequence) == data
        assert messages.pack(messages.unpack(frame)) == messages.pack(message)


def test_limits_on_the_page_are_those_of_the_code(page: str) -> None:
    stated = {
        "0x29B1": framing.crc16(b"123456789"),
        "0..240": framing.MAX_PAYLOAD,
        "at most 224": messages.samples_per_block(8),
        "at most 112": messages.samples_per_block(10),
        "at most 116": messages.MAX_EDGES,
        "every 250 ms until": greeting.HELLO_EVERY_S * 1000,
        "for 3 s at most": greeting.HELLO_FOR_S,
        "holds 10 s": messages.ARM_TICKS * words.TICK_S,
        "1 s without a `keep-alive`": messages.KEEP_ALIVE_LIMIT_TICKS * words.TICK_S,
        "Every 100 ms": messages.HEALTH_TICKS * words.TICK_S * 1000,
        "Version 1.": messages.PROTOCOL,
    }
    for text, value in stated.items():
        assert text in page
        number = re.findall(r"0x[0-9A-F]+|\d+", text)[-1]
        assert int(number, 0) == pytest.approx(value), text


def test_rates_on_the_page_can_be_worked_out_again(page: str) -> None:
    """Full blocks, 2000 edges a second with nine to a block, ten healths a second."""
    stated = {row[0]: row for row in rows(section(page, "8 Rates"), 6)[1:]}
    frame, head = 6, fixed_size(page, messages.SAMPLES)
    edges = 2000 / 9 * (fixed_size(page, messages.EDGES) + 9 * 2 + frame)
    always = edges + 10 * (fixed_size(page, messages.HEALTH) + frame)
    lines = {"off": always}
    for mode, facts in words.MODE_FACTS.items():
        name, bits, interval, per_second, _, _ = stated[mode]
        assert (name, int(bits), int(interval)) == (mode, facts.bits, facts.interval_ticks)
        rate = words.TICKS_PER_SECOND / facts.interval_ticks
        assert float(per_second.replace(",", "")) == pytest.approx(rate, abs=0.5)
        width = 1 if facts.bits == 8 else 2
        block = messages.samples_per_block(facts.bits)
        if facts.burst:
            count = -(-facts.burst // block)
            lines[mode] = always + 40 * (facts.burst * width + count * (head + frame))
        else:
            lines[mode] = always + rate / block * (block * width + head + frame)
    for name, line in lines.items():
        assert float(stated[name][5].replace(",", "")) == pytest.approx(line, abs=50)
        assert line < 91_000
