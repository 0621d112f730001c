"""Two numpy routines without their fixed cost, which decides in short records."""

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


def windows(samples: npt.NDArray[Any], length: int) -> npt.NDArray[Any]:
    """All stretches of `length` samples, shape (n - length + 1, length), without a copy."""
    if not samples.flags.c_contiguous:
        return np.lib.stride_tricks.sliding_window_view(samples, length)
    shape = (samples.size - length + 1, length)
    found: npt.NDArray[Any] = np.ndarray(
        shape, samples.dtype, samples.data, 0, (samples.itemsize, samples.itemsize)
    )
    return found
