"""Frames: published check values, every split of the bytes, damage, loss, order."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rungbench.link.framing import (
    MAX_PAYLOAD,
    Deframer,
    Frame,
    FrameError,
    Trouble,
    crc16,
    encode,
)

payloads = st.binary(max_size=60)
frames = st.lists(st.tuples(st.integers(0, 255), payloads), max_size=12)
RESTART = 0x10


def written(pairs: list[tuple[int, bytes]]) -> tuple[list[Frame], bytes]:
    """Frames numbered from 0, and their bytes."""
    made = [Frame(kind, n % 256, payload) for n, (kind, payload) in enumerate(pairs)]
    return made, b"".join(encode(f.type, f.sequence, f.payload) for f in made)


def unstuffed(piece: bytes) -> bytes:
    """COBS by the paper's decoding procedure: Cheshire and Baker, 1999."""
    out = bytearray()
    place = 0
    while place < len(piece):
        code = piece[place]
        out += piece[place + 1 : place + code]
        place += code
        if code < 0xFF and place < len(piece):
            out.append(0)
    return bytes(out)


def test_checksum_has_its_published_check_value() -> None:
    # Catalogue of parametrised CRC algorithms (G. Cook), CRC-16/IBM-3740: check 0x29b1.
    assert crc16(b"123456789") == 0x29B1


@given(st.integers(0, 255), st.integers(0, 255), st.binary(max_size=MAX_PAYLOAD))
def test_frame_has_the_stated_layout(kind: int, sequence: int, payload: bytes) -> None:
    data = encode(kind, sequence, payload)
    assert len(data) == len(payload) + 6
    assert data.endswith(b"\0")
    assert 0 not in data[:-1]
    body = unstuffed(data[:-1])
    assert body[:2] == bytes((kind, sequence))
    assert body[2:-2] == payload
    assert crc16(body) == 0


def test_payload_above_the_limit_is_refused() -> None:
    with pytest.raises(ValueError, match="at most 240"):
        encode(1, 0, bytes(MAX_PAYLOAD + 1))


@given(frames, st.lists(st.integers(1, 40)), st.binary(max_size=20))
def test_any_split_gives_the_same(
    pairs: list[tuple[int, bytes]], cuts: list[int], noise: bytes
) -> None:
    made, data = written(pairs)
    data = noise + b"\0" + data
    whole = Deframer().feed(data)
    deframer = Deframer()
    found: list[Frame | FrameError] = []
    for cut in cuts:
        found += deframer.feed(data[:cut])
        data = data[cut:]
    for byte in data:
        found += deframer.feed(bytes((byte,)))
    assert found == whole
    if not noise.strip(b"\0"):
        assert found == made


@settings(derandomize=True, max_examples=300)
@given(frames.filter(lambda pairs: len(pairs) > 1), st.data())
def test_one_damaged_byte_never_makes_a_wrong_frame(
    pairs: list[tuple[int, bytes]], data: st.DataObject
) -> None:
    made, clean = written(pairs)
    place = data.draw(st.integers(0, len(clean) - 1))
    value = data.draw(st.integers(0, 255).filter(lambda value: value != clean[place]))
    found = Deframer().feed(clean[:place] + bytes((value,)) + clean[place + 1 :])
    right = [piece for piece in found if isinstance(piece, Frame)]
    assert all(frame in made for frame in right)
    assert len(right) < len(made)


def test_every_damaged_byte_of_a_conversation_is_reported() -> None:
    random = np.random.default_rng(20)
    pairs = [(0x11, random.integers(0, 256, size, np.uint8).tobytes()) for size in (3, 30, 12, 0)]
    made, clean = written(pairs)
    # A frame at the end shows that something before it is missing.
    last = encode(0x14, len(made), b"end")
    for place in range(len(clean)):
        for value in set(range(256)) - {clean[place]}:
            found = Deframer().feed(clean[:place] + bytes((value,)) + clean[place + 1 :] + last)
            assert all(piece in made for piece in found[:-1] if isinstance(piece, Frame))
            assert any(isinstance(piece, FrameError) for piece in found), (place, value)


@given(st.binary(min_size=2, max_size=200), st.data())
def test_checksum_finds_every_burst_of_16_bits(body: bytes, data: st.DataObject) -> None:
    # What 16 check bits promise for any body: W. W. Peterson and D. T. Brown, "Cyclic codes for
    # error detection", Proceedings of the IRE 49 (1), 1961 (bursts no longer than the check bits).
    pattern = data.draw(st.integers(1, 0xFFFF))
    shift = data.draw(st.integers(0, len(body) * 8 - 16))
    damaged = int.from_bytes(body, "big") ^ pattern << shift
    assert crc16(damaged.to_bytes(len(body), "big")) != crc16(body)


@given(st.lists(payloads, min_size=2, max_size=300), st.sets(st.integers(1, 298), max_size=100))
def test_losses_are_counted_in_their_place(bodies: list[bytes], gone: set[int]) -> None:
    made, _ = written([(1, body) for body in bodies])
    # The last frame arrives, so that every loss before it can be seen.
    kept = [f for n, f in enumerate(made) if n not in gone or n == len(made) - 1]
    found = Deframer().feed(b"".join(encode(f.type, f.sequence, f.payload) for f in kept))
    assert [piece for piece in found if isinstance(piece, Frame)] == kept
    lost = [piece for piece in found if isinstance(piece, FrameError)]
    assert {piece.trouble for piece in lost} <= {Trouble.LOST}
    assert sum(piece.count for piece in lost) == len(made) - len(kept)
    for place, piece in enumerate(found):
        if isinstance(piece, FrameError):
            before, after = found[place - 1], found[place + 1]
            assert isinstance(before, Frame)
            assert isinstance(after, Frame)
            assert (after.sequence - before.sequence - 1) % 256 == piece.count


def test_frames_out_of_order_are_reported_and_dropped() -> None:
    data = b"".join(encode(1, n) for n in (0, 1, 3, 2, 4))
    kinds = [
        piece.trouble if isinstance(piece, FrameError) else piece.sequence
        for piece in Deframer().feed(data)
    ]
    assert kinds == [0, 1, Trouble.LOST, 3, Trouble.REORDERED, 4]


def test_a_frame_twice_is_one_frame() -> None:
    found = Deframer().feed(encode(1, 7) + encode(1, 7))
    assert found[0] == Frame(1, 7, b"")
    assert isinstance(found[1], FrameError)
    assert found[1].trouble is Trouble.REORDERED


def test_restarting_frames_begin_a_new_count() -> None:
    data = encode(1, 77) + encode(RESTART, 0) + encode(1, 1)
    found = Deframer(frozenset({RESTART})).feed(data)
    assert [type(piece) for piece in found] == [Frame, Frame, Frame]


def test_endless_noise_is_one_damaged_piece_and_bounded() -> None:
    deframer = Deframer()
    for _ in range(1000):
        assert deframer.feed(b"\x55" * 1000) == []
    assert len(deframer._tail) < 300
    found = deframer.feed(b"\0" + encode(2, 0, b"after"))
    assert isinstance(found[0], FrameError)
    assert found[0].trouble is Trouble.DAMAGED
    assert found[1] == Frame(2, 0, b"after")


def test_zeros_between_frames_mean_nothing() -> None:
    assert Deframer().feed(b"\0\0" + encode(3, 9) + b"\0\0") == [Frame(3, 9, b"")]
