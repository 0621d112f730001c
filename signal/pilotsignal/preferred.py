"""Preferred values of resistors: the series E96, single parts and pairs of them.

References
----------
.. [1] IEC 60063:2015, Preferred number series for resistors and capacitors: E96 is
   ``10**(n / 96)``, rounded to three digits, for n from 0 to 95.
"""

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

import numpy as np
import numpy.typing as npt

from pilotsignal.errors import CircuitError

E96: Final = tuple(round(10.0 ** (n / 96.0), 2) for n in range(96))
"""One decade of E96, from 1.00 to 9.76."""

LOWEST_OHM: Final = 1.0
HIGHEST_OHM: Final = 9.76e6
_FACTOR: Final = 30.0
"""Partners that are further apart than this from what is wanted hardly help."""


class Joined(StrEnum):
    """How the parts of a choice are put together."""

    ALONE = "alone"
    SERIES = "in series"
    PARALLEL = "in parallel"


@dataclass(frozen=True, slots=True)
class Preferred:
    """One or two parts of E96 in ohm, and how they are joined."""

    joined: Joined
    parts_ohm: tuple[float, ...]

    @property
    def ohm(self) -> float:
        """Resistance of all parts together."""
        if self.joined is Joined.PARALLEL:
            return 1.0 / sum(1.0 / part for part in self.parts_ohm)
        return sum(self.parts_ohm)


def e96_values(low_ohm: float, high_ohm: float) -> npt.NDArray[np.float64]:
    """All E96 values from `low_ohm` to `high_ohm`, both included, in rising order.

    Raises
    ------
    CircuitError : the ends are no resistances, or lie beyond 1 ohm to 9.76 Mohm.
    """
    for ohm in (low_ohm, high_ohm):
        _check(ohm)
    decades = range(math.floor(math.log10(low_ohm)), math.floor(math.log10(high_ohm)) + 1)
    # Rounded, so that 2.74e3 is 2740 and not its neighbour among the floats.
    found = np.array([round(value * 10.0**decade, 6) for decade in decades for value in E96])
    return found[(found >= low_ohm) & (found <= high_ohm)]


def neighbours(ohm: float) -> tuple[Preferred, ...]:
    """The single E96 parts next to `ohm`: one if it is a value itself, else below and above.

    Raises
    ------
    CircuitError : outside 1 ohm to 9.76 Mohm.
    """
    _check(ohm)
    values = e96_values(max(LOWEST_OHM, ohm / 1.2), min(HIGHEST_OHM, ohm * 1.2))
    same = values[np.isclose(values, ohm, rtol=1e-9, atol=0.0)]
    if same.size:
        return (Preferred(Joined.ALONE, (float(same[0]),)),)
    below, above = values[values < ohm], values[values > ohm]
    ends = [*below[-1:], *above[:1]]
    return tuple(Preferred(Joined.ALONE, (float(one),)) for one in ends)


def nearest_pair(ohm: float, joined: Joined) -> Preferred | None:
    """The pair of E96 parts whose resistance is next to `ohm`, the larger part first.

    Returns
    -------
    ``None`` where no such pair exists within the series.

    Raises
    ------
    CircuitError : outside 1 ohm to 9.76 Mohm.
    """
    _check(ohm)
    if joined is Joined.ALONE:
        return min(neighbours(ohm), key=lambda one: abs(one.ohm - ohm))
    low, high = max(LOWEST_OHM, ohm / _FACTOR), min(HIGHEST_OHM, ohm * _FACTOR)
    values = e96_values(low, high)
    if joined is Joined.SERIES:
        pairs = values[:, None] + values[None, :]
    else:
        pairs = 1.0 / (1.0 / values[:, None] + 1.0 / values[None, :])
    if not pairs.size:
        return None
    row, column = divmod(int(np.argmin(np.abs(pairs - ohm))), pairs.shape[1])
    two = sorted((float(values[row]), float(values[column])), reverse=True)
    return Preferred(joined, tuple(two))


def _check(ohm: float) -> None:
    if not LOWEST_OHM <= ohm <= HIGHEST_OHM:
        raise CircuitError(
            f"There is no part of {ohm:g} ohm here; ask for {LOWEST_OHM:g} ohm to "
            f"{HIGHEST_OHM / 1e6:g} Mohm."
        )
