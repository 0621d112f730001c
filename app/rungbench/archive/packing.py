"""Samples and edges as bytes, compressed without loss.

The bytes of equal weight are stored together before zlib sees them: the high
bytes of a pilot's counts hardly change.  Measured on 10-bit counts of a pilot
with half a step of noise (576,900 samples): 0.29 bytes a sample at level 6,
against 0.33 without that, at 13 million samples a second; level 9 gains 10 %
more and takes eight times as long.  Edge times are stored as differences:
0.41 bytes an edge instead of 8.
"""

import hashlib
import zlib
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from pilotsignal.capture import EdgeRecord

_LEVEL = 6
PLANES = "planes+zlib"
DIFFERENCES = "differences+planes+zlib"


@dataclass(frozen=True, slots=True)
class Packed:
    """One array: `sha256` is that of its plain bytes, little endian, with their type in front."""

    sha256: str
    codec: str
    dtype: str
    length: int
    data: bytes


def pack(values: npt.NDArray[Any]) -> Packed:
    """Compress a 1-D array of numbers of any type."""
    plain = _little(values)
    return Packed(_hash(plain), PLANES, plain.dtype.str, plain.size, _squeeze(plain))


def pack_rising(values: npt.NDArray[np.int64]) -> Packed:
    """Compress a 1-D array of whole numbers whose differences are small."""
    plain = _little(values)
    steps = np.diff(plain, prepend=plain.dtype.type(0))
    return Packed(_hash(plain), DIFFERENCES, plain.dtype.str, plain.size, _squeeze(steps))


def unpack(packed: Packed) -> npt.NDArray[Any]:
    """The array again, read-only.

    Raises
    ------
    ValueError : the bytes are damaged or packed in a way that this version does not know.
    """
    if packed.codec not in (PLANES, DIFFERENCES):
        raise ValueError(f"packing {packed.codec!r} is not known")
    dtype = np.dtype(packed.dtype)
    try:
        raw = zlib.decompress(packed.data)
    except zlib.error as problem:
        raise ValueError(f"the packed bytes are damaged: {problem}") from problem
    if len(raw) != packed.length * dtype.itemsize:
        raise ValueError(f"{len(raw)} bytes instead of {packed.length * dtype.itemsize}")
    planes = np.frombuffer(raw, np.uint8).reshape(dtype.itemsize, -1)
    values = np.ascontiguousarray(planes.T).view(dtype).reshape(-1)
    if packed.codec == DIFFERENCES:
        values = np.cumsum(values, dtype=dtype)
    if _hash(values) != packed.sha256:
        raise ValueError("the content does not match its hash")
    values.flags.writeable = False
    return values


def signed_times(edges: EdgeRecord) -> npt.NDArray[np.int64]:
    """Times and directions in one array: twice the tick, plus one where the edge rises."""
    joined: npt.NDArray[np.int64] = edges.times * 2 + edges.rising
    return joined


def split_times(
    joined: npt.NDArray[np.int64],
) -> tuple[npt.NDArray[np.int64], npt.NDArray[np.bool_]]:
    """Inverse of `signed_times`."""
    return joined >> 1, (joined & 1).astype(np.bool_)


def _little(values: npt.NDArray[Any]) -> npt.NDArray[Any]:
    raw = np.ascontiguousarray(values)
    return raw.astype(raw.dtype.newbyteorder("<"), copy=False)


def _hash(plain: npt.NDArray[Any]) -> str:
    return hashlib.sha256(plain.dtype.str.encode() + plain.tobytes()).hexdigest()


def _squeeze(plain: npt.NDArray[Any]) -> bytes:
    planes = plain.view(np.uint8).reshape(plain.size, plain.dtype.itemsize).T
    return zlib.compress(np.ascontiguousarray(planes).tobytes(), _LEVEL)
