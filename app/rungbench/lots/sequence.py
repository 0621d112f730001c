"""Values in the order of testing: how often they cross their median, and how they are spread."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from rungbench.lots.control import Floats, frozen

_MOST_BINS: Final = 24


@dataclass(frozen=True, slots=True)
class RunChart:
    """Stretches of values on one side of the median; values on it are left out.

    Parameters
    ----------
    stretches : how many there are.
    expected : how many there would be on average in random order, 1 + 2 n1 n2 / (n1 + n2)
        (A. Wald, J. Wolfowitz, Annals of Mathematical Statistics 11 (1940) 147-162).
    deviation : standard deviation of that number.
    longest : length of the longest stretch.
    """

    median: float
    stretches: int
    expected: float
    deviation: float
    longest: int

    @property
    def score(self) -> float:
        """How many deviations there are too few (negative: drift) or too many stretches."""
        if self.deviation == 0.0:
            return 0.0
        return (self.stretches - self.expected) / self.deviation


def run_chart(values: npt.ArrayLike) -> RunChart | None:
    """Stretches of `values`, in order; ``None`` if fewer than two lie off the median.

    Raises
    ------
    ValueError : a value that is no number.
    """
    found = frozen(values)
    if found.size == 0:
        return None
    median = float(np.median(found))
    above = found[found != median] > median
    if above.size < 2:
        return None
    starts = np.flatnonzero(np.diff(above)) + 1
    lengths = np.diff(np.concatenate(([0], starts, [above.size])))
    high, count = int(np.count_nonzero(above)), above.size
    product = 2 * high * (count - high)
    variance = product * (product - count) / (count**2 * (count - 1))
    return RunChart(
        median=median,
        stretches=lengths.size,
        expected=1.0 + product / count,
        deviation=math.sqrt(max(variance, 0.0)),
        longest=int(np.max(lengths)),
    )


@dataclass(frozen=True, slots=True, eq=False)
class Histogram:
    """Counts between edges, one edge more than counts; the last bin holds its upper edge."""

    edges: Floats
    counts: npt.NDArray[np.int64]


def histogram(values: npt.ArrayLike) -> Histogram | None:
    """Bins of equal width over `values`; ``None`` without any.

    The width is the larger number of bins of Sturges and of Freedman and Diaconis, as numpy has
    it, at most 24 bins.

    Raises
    ------
    ValueError : a value that is no number.
    """
    found = frozen(values)
    if found.size == 0:
        return None
    counts, edges = np.histogram(found, bins="auto")
    if counts.size > _MOST_BINS:
        counts, edges = np.histogram(found, bins=_MOST_BINS)
    counts = counts.astype(np.int64)
    counts.flags.writeable = False
    return Histogram(frozen(edges), counts)
