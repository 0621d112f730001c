"""How the spread of a quantity compares with its limits.

Sources
-------
ISO 22514-2:2017, performance indices: Pp and Ppk from the overall standard deviation, no claim that
the process is stable.  The interval of Ppk is the approximation of the NIST/SEMATECH e-Handbook of
Statistical Methods, 6.1.6 (from memory): Ppk (1 +/- 1.96 sqrt(1/(9 n Ppk^2) + 1/(2 (n - 1)))).
Both suppose a normal distribution.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from rungbench.lots.control import frozen

_Z95: Final = 1.959964
FEWEST: Final = 2


@dataclass(frozen=True, slots=True)
class Spread:
    """Mean and standard deviation (n - 1) of so many values, with standard uncertainties.

    That of the mean holds the scatter of the values over sqrt(n) and, whole, what the bench adds:
    its calibration is the same for all of them, so it does not average out.
    """

    count: int
    mean: float
    u_mean: float
    deviation: float
    u_deviation: float
    least: float
    most: float
    u_bench: float


@dataclass(frozen=True, slots=True)
class Performance:
    """Pp and Ppk; a limit on one side only gives no Pp.  `low`..`high` holds Ppk with 95 %."""

    pp: float | None
    ppk: float
    low: float
    high: float


def spread(values: npt.ArrayLike, u_bench: float = 0.0) -> Spread | None:
    """Mean and spread of `values`; ``None`` for fewer than two.

    Parameters
    ----------
    u_bench : standard uncertainty of one value, in its unit.

    Raises
    ------
    ValueError : a value that is no number.
    """
    found = frozen(values)
    if found.size < FEWEST:
        return None
    deviation = float(np.std(found, ddof=1))
    return Spread(
        count=found.size,
        mean=float(np.mean(found)),
        u_mean=math.hypot(deviation / math.sqrt(found.size), u_bench),
        deviation=deviation,
        u_deviation=deviation / math.sqrt(2.0 * (found.size - 1)),
        least=float(np.min(found)),
        most=float(np.max(found)),
        u_bench=u_bench,
    )


def performance(found: Spread, low: float | None, high: float | None) -> Performance | None:
    """Ppk of values between two limits, or on the right side of one.

    Returns ``None`` without any limit, and for values without any spread, as counts have: no
    index can be computed of them.

    Raises
    ------
    ValueError : the lower limit lies above the upper one.
    """
    if low is not None and high is not None and low > high:
        raise ValueError("the lower limit lies above the upper one")
    three = 3.0 * found.deviation
    rooms = [found.mean - low] if low is not None else []
    rooms += [high - found.mean] if high is not None else []
    if not rooms or three == 0.0 or low == high:
        return None
    ppk = min(rooms) / three
    both = low is not None and high is not None
    half = _Z95 * math.sqrt(1.0 / (9.0 * found.count) + ppk**2 / (2.0 * (found.count - 1)))
    return Performance(sum(rooms) / (2.0 * three) if both else None, ppk, ppk - half, ppk + half)
