"""The chart of individuals and of their moving ranges.

Sources
-------
ISO 7870-2:2013 (Shewhart control charts), individuals and moving ranges of two; the same chart in
the NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2.  The constants are those of two
observations: d2 = 2/sqrt(pi) = 1.128, D4 = 1 + 3 d3/d2 = 3.267 with d3 = sqrt(2 - 4/pi) = 0.853.
"""

from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

D2: Final = 1.128
D4: Final = 3.267
FEWEST: Final = 8
"""With fewer values limits would mean little (ours)."""

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class ControlChart:
    """Individuals in order with their limits, and the moving ranges, one fewer.

    All in the unit of the values.  `beyond` and `jumps` are positions, counted from 0: values
    outside `low`..`high`, and values that are further than `range_high` from the one before.
    """

    values: Floats
    ranges: Floats
    centre: float
    mean_range: float
    sigma: float
    low: float
    high: float
    range_high: float
    beyond: tuple[int, ...]
    jumps: tuple[int, ...]


def control_chart(values: npt.ArrayLike) -> ControlChart | None:
    """The chart of `values` in the order of testing; ``None`` for fewer than `FEWEST`.

    Limits are the mean and three sigma around it, sigma the mean moving range over d2; so slow
    drift does not widen them, as it would widen a standard deviation.

    Raises
    ------
    ValueError : a value that is no number.
    """
    found = frozen(values)
    if found.size < FEWEST:
        return None
    ranges = np.abs(np.diff(found))
    mean_range, centre = float(np.mean(ranges)), float(np.mean(found))
    sigma = mean_range / D2
    low, high, range_high = centre - 3.0 * sigma, centre + 3.0 * sigma, D4 * mean_range
    ranges.flags.writeable = False
    return ControlChart(
        values=found,
        ranges=ranges,
        centre=centre,
        mean_range=mean_range,
        sigma=sigma,
        low=low,
        high=high,
        range_high=range_high,
        beyond=_places((found < low) | (found > high)),
        jumps=tuple(at + 1 for at in _places(ranges > range_high)),
    )


def _places(flags: npt.NDArray[np.bool_]) -> tuple[int, ...]:
    return tuple(int(at) for at in np.flatnonzero(flags))


def frozen(values: npt.ArrayLike) -> Floats:
    """`values` as numbers that nobody can change; `ValueError` for NaN, infinity or a table."""
    found = np.array(values, dtype=np.float64)
    if found.ndim != 1 or not np.all(np.isfinite(found)):
        raise ValueError("statistics need a row of finite numbers")
    found.flags.writeable = False
    return found
