"""Some numpy routines without their fixed cost, which decides in short records."""

import math
from typing import Any

import numpy as np
import numpy.typing as npt


def median(values: npt.NDArray[Any]) -> float:
    """Median of `values`, shape (n,), n at least one; of an even number the middle two's mean."""
    middle = values.size // 2
    if values.size % 2:
        return float(np.partition(values, middle)[middle])
    pair = np.partition(values, (middle - 1, middle))
    return 0.5 * (float(pair[middle - 1]) + float(pair[middle]))


def inside(places: npt.NDArray[Any], reach: int, size: int) -> npt.NDArray[Any]:
    """Those of rising `places`, shape (n,), with `reach` samples before and after among `size`."""
    first, last = places.searchsorted((reach, size - reach + 1))
    return places[first:last]


def above(samples: npt.NDArray[Any], level: float) -> npt.NDArray[np.bool_]:
    """Which samples, of any shape, exceed a level.

    Whole numbers are compared as such, which is far faster.
    """
    limit = math.floor(level) if samples.dtype.kind in "iu" else level
    return np.asarray(samples > limit)


def below(samples: npt.NDArray[Any], level: float) -> npt.NDArray[np.bool_]:
    """Which samples, of any shape, lie below a level."""
    limit = math.ceil(level) if samples.dtype.kind in "iu" else level
    return np.asarray(samples < limit)


def between(samples: npt.NDArray[Any], low: float, high: float) -> int:
    """How many samples, of any shape, lie above one level and below another."""
    return int(np.count_nonzero(above(samples, low) & below(samples, high)))


def windows(samples: npt.NDArray[Any], length: int) -> npt.NDArray[Any]:
    """All stretches of `length` samples, shape (n - length + 1, length), without a copy."""
    if not samples.flags.c_contiguous:
        return np.lib.stride_tricks.sliding_window_view(samples, length)
    shape = (samples.size - length + 1, length)
    found: npt.NDArray[Any] = np.ndarray(
        shape, samples.dtype, samples.data, 0, (samples.itemsize, samples.itemsize)
    )
    return found
