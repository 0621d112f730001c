"""The diode of the stand-in as a curve: an exponential with a series resistance.

A fast silicon diode, chosen so that it drops 0.70 V at 5 mA, the middle of the
working range (IEC 61851-1:2017 Table A.3: 0.55 to 0.85 V from 2.75 to 10 mA).
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Floats = npt.NDArray[np.float64]

_STEP_V = 0.002
_TOP_V = 16.0


@dataclass(frozen=True, slots=True)
class Diode:
    """``v = emission_v * ln(1 + i / saturation_a) + i * series_ohm``, forward positive."""

    saturation_a: float
    emission_v: float
    series_ohm: float

    def drop(self, current_a: float) -> float:
        """Forward voltage in volts at `current_a`, not negative."""
        return self.emission_v * math.log1p(current_a / self.saturation_a) + (
            current_a * self.series_ohm
        )

    def raised(self, volts: float) -> "Diode":
        """A diode of the same kind that drops `volts` more."""
        less = math.exp(-volts / self.emission_v)
        return Diode(self.saturation_a * less, self.emission_v, self.series_ohm)

    def current(self, behind_v: float, resistance_ohm: float) -> float:
        """Current in amperes when `behind_v` stands over the diode and a resistance in series.

        Newton's rule from above: the curve is convex, so that it does not overshoot.
        """
        if behind_v <= 0.0:
            return -self.saturation_a * -math.expm1(max(behind_v, -5.0) / self.emission_v)
        resistance = resistance_ohm + self.series_ohm
        drop = min(
            behind_v, self.emission_v * math.log1p(behind_v / resistance / self.saturation_a)
        )
        for _ in range(60):
            current = self.saturation_a * math.expm1(drop / self.emission_v)
            slope = 1.0 + resistance * (current + self.saturation_a) / self.emission_v
            step = (drop + resistance * current - behind_v) / slope
            drop -= step
            if abs(step) < 1e-13:
                break
        return self.saturation_a * math.expm1(drop / self.emission_v)


@dataclass(frozen=True, slots=True, eq=False)
class CurrentTable:
    """Current of diode and resistor in series against the voltage over both, every 2 mV."""

    amperes: list[float]

    def at(self, volts: float) -> float:
        """Current in amperes, 0 below 0 V, linear between the points."""
        if volts <= 0.0:
            return 0.0
        place = volts / _STEP_V
        index = int(place)
        low = self.amperes[index]
        return low + (place - index) * (self.amperes[index + 1] - low)


def current_table(diode: Diode, resistance_ohm: float) -> CurrentTable:
    """Table up to 16 V."""
    volts = np.arange(0.0, _TOP_V, _STEP_V)
    current = np.concatenate([[0.0], np.geomspace(1e-12, _TOP_V / resistance_ohm, 20_000)])
    over_both = diode.emission_v * np.log1p(current / diode.saturation_a) + current * (
        resistance_ohm + diode.series_ohm
    )
    return CurrentTable(np.interp(volts, over_both, current).tolist())


FAST_DIODE = Diode(
    saturation_a=4.4813e-14,
    emission_v=0.0274,
    series_ohm=0.6,
)
