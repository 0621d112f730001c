"""Values that do not belong to the rest.

Source: B. Rosner, "Percentage Points for a Generalized ESD Many-Outlier Procedure", Technometrics
25 (1983) 165-172; described with an example in the NIST/SEMATECH e-Handbook of Statistical Methods,
1.3.5.17.3.  It supposes that the rest is normal.
"""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from rungbench.lots.control import frozen

FEWEST: Final = 15
"""Rosner found the critical values good from 25 values on, and fair from 15 on."""

SIGNIFICANCE: Final = 0.05
_MOST: Final = 10


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the procedure: the value furthest from the mean of those that are left."""

    at: int
    statistic: float
    critical: float


def outliers(values: npt.ArrayLike, most: int | None = None) -> tuple[int, ...]:
    """Positions of outliers, counted from 0, the furthest first; none for fewer than `FEWEST`.

    `most` is how many there may be; without it a tenth of the values, from 1 to 10.

    Raises
    ------
    ValueError : a value that is no number.
    """
    found = frozen(values)
    if found.size < FEWEST:
        return ()
    steps = many_outlier_steps(found, most or max(1, min(_MOST, found.size // 10)))
    beyond = [number for number, step in enumerate(steps, 1) if step.statistic > step.critical]
    return tuple(step.at for step in steps[: max(beyond, default=0)])


def many_outlier_steps(values: npt.ArrayLike, most: int) -> tuple[Step, ...]:
    """The statistics of the procedure and their critical values, one step each.

    It ends early where the values that are left are all equal.
    """
    found = frozen(values)
    left = np.ones(found.size, dtype=np.bool_)
    steps: list[Step] = []
    for number in range(1, min(most, found.size - 2) + 1):
        deviation = float(np.std(found[left], ddof=1))
        if deviation == 0.0:
            break
        distance = np.where(left, np.abs(found - np.mean(found[left])), -1.0)
        at = int(np.argmax(distance))
        critical = _critical(found.size, number)
        steps.append(Step(at, float(distance[at]) / deviation, critical))
        left[at] = False
    return tuple(steps)


def _critical(count: int, number: int) -> float:
    from scipy.special import stdtrit

    degrees = count - number - 1
    probability = 1.0 - SIGNIFICANCE / (2.0 * (count - number + 1))
    student = float(stdtrit(degrees, probability))
    return (count - number) * student / math.sqrt((degrees + student**2) * (count - number + 1))
