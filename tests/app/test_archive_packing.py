"""Packing loses nothing, notices damage, and saves what it claims."""

from dataclasses import replace

import numpy as np
import pytest
from archive_examples import counts, edges
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from pilotsignal.capture import Capture
from rungbench.archive.describing import describe, restore
from rungbench.archive.packing import pack, pack_rising, signed_times, split_times, unpack

TYPES = ("u1", "i1", ">u2", "<u2", "i2", ">i4", "u4", "i8", "f4", "f8")


@given(st.sampled_from(TYPES).flatmap(lambda kind: hnp.arrays(kind, st.integers(1, 300))))
def test_every_type_comes_back_bit_by_bit(values: np.ndarray) -> None:
    restored = unpack(pack(values))
    assert restored.dtype == values.dtype.newbyteorder("<")
    assert restored.tobytes() == values.astype(restored.dtype).tobytes()
    assert not restored.flags.writeable


@given(hnp.arrays(np.int64, st.integers(1, 300)))
def test_differences_come_back_even_where_they_overflow(values: np.ndarray) -> None:
    np.testing.assert_array_equal(unpack(pack_rising(values)), values)


@given(
    hnp.arrays(np.int64, 20, elements=st.integers(-(2**61), 2**61)),
    hnp.arrays(np.bool_, 20),
)
def test_times_and_directions_share_an_array(times: np.ndarray, rising: np.ndarray) -> None:
    record = replace(edges(), times=np.sort(times), rising=rising, gaps=())
    again = split_times(signed_times(record))
    np.testing.assert_array_equal(again[0], record.times)
    np.testing.assert_array_equal(again[1], record.rising)


def test_an_empty_edge_record_comes_back() -> None:
    none = replace(edges(), times=np.array([], np.int64), rising=np.array([], bool), gaps=())
    restored = restore(describe(none))
    assert not isinstance(restored, Capture)
    assert restored.times.size == 0


def test_damage_is_noticed() -> None:
    packed = pack(counts().samples)
    for damaged in (
        replace(packed, data=packed.data[:-9]),
        replace(packed, data=b""),
        replace(packed, length=packed.length - 1),
        replace(packed, sha256="0" * 64),
        replace(packed, codec="rot13"),
    ):
        with pytest.raises(ValueError, match="damaged|bytes instead|hash|not known"):
            unpack(damaged)


def test_the_hash_is_that_of_the_capture() -> None:
    assert pack(counts().samples).sha256 == counts().sha256()


def test_saved_room() -> None:
    """What the module claims, with some slack: 0.29 bytes a sample, 0.41 an edge."""
    samples = counts(200_000)
    assert len(pack(samples.samples).data) / 200_000 < 0.5
    record = edges(20_000)
    noise = np.random.default_rng(3).integers(-2, 3, record.times.size)
    record = replace(record, times=record.times + noise, gaps=())
    assert len(pack_rising(signed_times(record)).data) / record.times.size < 0.5
