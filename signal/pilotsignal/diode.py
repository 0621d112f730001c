"""The stand-in's diode as a curve: an exponential with a series resistance.

References
----------
.. [1] W. Shockley, The theory of p-n junctions in semiconductors and p-n junction transistors,
   Bell System Technical Journal 28 (1949) 435: the exponential.
.. [2] R. M. Corless and D. J. Jeffrey, The Wright omega function, LNCS 2385 (2002) 76: the current
   through diode and resistor in closed form.
"""

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

from pilotsignal.errors import CircuitError

_ROUNDS = 30
_HARDEST, _SOFTEST = 0.002, 0.25  # emission voltage over drop of what is still a diode


@dataclass(frozen=True, slots=True)
class Point:
    """A calibrated point of the curve: forward current in amperes, drop in volts."""

    current_a: float
    drop_v: float


@dataclass(frozen=True, slots=True)
class Diode:
    """``drop = emission_v * ln(1 + i / saturation_a) + i * series_ohm``, forward positive.

    Parameters
    ----------
    saturation_a : what it lets through in reverse, in amperes, positive.
    emission_v : emission coefficient times kT/q, in volts, positive; 26 to 52 mV for silicon at
        room temperature (coefficient 1 to 2).
    series_ohm : not negative.

    Raises
    ------
    CircuitError : numbers that make no diode.
    """

    saturation_a: float
    emission_v: float
    series_ohm: float = 0.0

    def __post_init__(self) -> None:
        fine = (
            math.isfinite(self.saturation_a)
            and self.saturation_a > 0.0
            and math.isfinite(self.emission_v)
            and self.emission_v > 0.0
            and math.isfinite(self.series_ohm)
            and self.series_ohm >= 0.0
        )
        if not fine:
            raise CircuitError(
                f"A diode of {self.saturation_a:g} A, {self.emission_v:g} V and"
                f" {self.series_ohm:g} ohm cannot be; give positive numbers."
            )

    @classmethod
    def through(cls, first: Point, second: Point, series_ohm: float = 0.0) -> "Diode":
        """The curve through two calibrated points.

        Parameters
        ----------
        first, second : in any order; the larger current must have the larger drop, also after
            `series_ohm` is taken off.

        Raises
        ------
        CircuitError : points that no such curve passes through.

        Examples
        --------
        >>> diode = Diode.through(Point(0.003, 0.68), Point(0.006, 0.71))
        >>> round(diode.drop(0.003), 9), round(diode.drop(0.006), 9)
        (0.68, 0.71)
        """
        low, high = sorted((first, second), key=lambda point: point.current_a)
        if not 0.0 < low.current_a < high.current_a:
            raise CircuitError("A diode's curve needs two points at different, positive currents.")
        folds = math.log(high.current_a / low.current_a)
        low_v, high_v = (point.drop_v - point.current_a * series_ohm for point in (low, high))
        softness = (high_v - low_v) / (folds * low_v) if low_v > 0.0 else math.nan
        if not _HARDEST < softness < _SOFTEST:
            raise CircuitError(
                f"{low.drop_v:g} V at {low.current_a:g} A and {high.drop_v:g} V at"
                f" {high.current_a:g} A are no diode with {series_ohm:g} ohm in series; measure the"
                " drop at both currents again."
            )
        saturation = emission = 0.0
        for _ in range(_ROUNDS):
            before = saturation
            ratio = (high.current_a + saturation) / (low.current_a + saturation)
            emission = (high_v - low_v) / math.log(ratio)
            saturation = low.current_a / math.expm1(low_v / emission)
            if abs(saturation - before) <= 1e-14 * saturation:
                break
        return cls(saturation, emission, series_ohm)

    @classmethod
    def at(cls, point: Point, emission_v: float, series_ohm: float = 0.0) -> "Diode":
        """The curve through one point, with an emission voltage from elsewhere.

        Raises
        ------
        CircuitError : a point or an emission voltage that makes no diode.
        """
        inner_v = point.drop_v - point.current_a * series_ohm
        softness = emission_v / inner_v if inner_v > 0.0 else math.nan
        if not (point.current_a > 0.0 and _HARDEST < softness < _SOFTEST):
            raise CircuitError(
                f"{point.drop_v:g} V at {point.current_a:g} A is no diode with {series_ohm:g} ohm"
                " in series; measure its drop again."
            )
        return cls(point.current_a / math.expm1(inner_v / emission_v), emission_v, series_ohm)

    def drop(self, current_a: float) -> float:
        """Forward voltage in volts at a current in amperes, not negative."""
        inner = self.emission_v * math.log1p(current_a / self.saturation_a)
        return inner + current_a * self.series_ohm

    def slope_ohm(self, current_a: float) -> float:
        """Dynamic resistance in ohm at a current in amperes, not negative."""
        return self.emission_v / (current_a + self.saturation_a) + self.series_ohm

    def current(self, over_both_v: float, resistance_ohm: float = 0.0) -> float:
        """Current in amperes when a voltage stands over the diode and a resistor in series.

        In closed form [2]_; negative, at most `saturation_a`, where the voltage is.
        """
        return float(self.currents(over_both_v, resistance_ohm))

    def currents(self, over_both_v: Any, resistance_ohm: float = 0.0) -> Any:
        """`current` of a number or of an array, shape as given."""
        # Late: SciPy takes long to import, and most of this package does without it.
        from scipy.special import wrightomega

        resistance = resistance_ohm + self.series_ohm
        if resistance <= 0.0:
            return self.saturation_a * np.expm1(over_both_v / self.emission_v)
        lever = self.saturation_a * resistance
        base = math.log(lever / self.emission_v) + lever / self.emission_v
        omega = wrightomega(over_both_v / self.emission_v + base)
        return omega * (self.emission_v / resistance) - self.saturation_a
