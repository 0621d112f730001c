"""The sample interval from a column of times or of sample numbers.

Oscilloscopes round the times that they print, some so coarsely that times
repeat.  What the text can resolve is taken from its digits: it decides how far
a time may lie off an even spacing, and how well the interval is known.
"""

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from pilotsignal.capture import Gap
from pilotsignal.errors import CsvError

Floats = npt.NDArray[np.float64]

EVEN: Final = 0.02  # share of an interval by which an evenly spaced time may lie off
_EXACT: Final = 1e-3  # share of a printed step within which times count as exact
_FLOAT32: Final = 2.0**-22  # some instruments print times that passed through 32 bits
_MOST_FLOAT32: Final = 0.25  # intervals; more would hide a missing sample
_CELL = re.compile(r"[-+]?0*(\d*)\.?(\d*)(?:[eE]([-+]?\d+))?")


@dataclass(frozen=True, slots=True)
class Spacing:
    """How the rows of a time column are spaced, in the unit of the column.

    Parameters
    ----------
    interval : least-squares spacing; not positive where the times do not rise.
    step : step of the printed times.
    off : largest distance of a time from even spacing.
    rounding : part of `off` that single-precision times explain.
    break_row : row (from 1) after the step that differs most from the usual one.
    """

    interval: float
    step: float
    off: float
    rounding: float
    break_row: int
    rows: int

    @property
    def rounded(self) -> bool:
        """Whether the times are rounded; steps equal to the last digit are taken as exact."""
        return self.off > _EXACT * self.step + self.rounding

    @property
    def doubt(self) -> float:
        """Relative doubt of the interval that rounding leaves."""
        if self.interval <= 0:
            return math.inf
        if not self.rounded:
            return 0.0
        return self.step / (self.interval * (self.rows - 1))

    @property
    def coarse(self) -> bool:
        """Whether the times are rounded so that a missing sample would not show."""
        return self.rounded and self.step > 0.5 * self.interval

    def even(self, slack: float = EVEN) -> bool:
        """Whether no time lies off by more than `slack` intervals beyond rounding."""
        return self.interval > 0 and self.off <= (self.step + self.rounding + slack * self.interval)


def spacing_of_times(times: Floats, texts: Sequence[str]) -> Spacing:
    """Least-squares spacing of a column of times.

    Parameters
    ----------
    times : shape (n,), n at least 2, finite.
    texts : some of the cells as they were written.
    """
    number = np.arange(times.size) - 0.5 * (times.size - 1)
    interval = float(number @ times / (number @ number))
    largest = float(np.abs(times).max())
    steps = np.diff(times)
    return Spacing(
        interval,
        printed_step(texts, largest),
        float(np.abs(times - (number * interval + times.mean())).max()),
        min(_FLOAT32 * largest, _MOST_FLOAT32 * max(interval, 0.0)),
        int(np.argmax(np.abs(steps - np.median(steps)))) + 2,
        times.size,
    )


def printed_step(texts: Sequence[str], largest: float) -> float:
    """Step between printable values near `largest`, in the unit of the column.

    Cells with equally many decimals give their last place; cells with equally many digits give
    the last place of the largest value; in a mixture the cell with most digits counts, since
    trailing zeros may have been left out.
    """
    places: set[int] = set()
    digits: set[int] = set()
    for text in texts:
        found = _CELL.fullmatch(text.strip())
        if found is None or not (found[1] + found[2]).strip("0"):
            continue  # a zero has no digits to count
        places.add(int(found[3] or 0) - len(found[2]))
        digits.add(len((found[1] + found[2]).lstrip("0")))
    if not places or largest == 0.0:
        return 0.0
    if len(places) == 1:
        return float(10.0 ** places.pop())
    return float(10.0 ** (math.floor(math.log10(largest)) + 1 - max(digits)))


def gaps_of_numbers(numbers: Floats) -> tuple[Gap, ...]:
    """Places where a column of sample numbers, shape (n,), jumps.

    Raises
    ------
    CsvError : numbers that do not count up by one apart from a few jumps.
    """
    steps = np.diff(numbers)
    if steps.size and (np.median(steps) != 1.0 or steps.min() < 1.0 or (steps % 1.0).any()):
        raise CsvError(
            "The column of sample numbers does not count up by one; export every sample, in order."
        )
    jumps = np.flatnonzero(steps > 1.0)
    return tuple(Gap(int(at) + 1, int(steps[at]) - 1) for at in jumps)
