"""A calibrator at the pilot contact instead of a charger: a steady level, or known pulses.

Its values are exact in volts and in true seconds; what is not exact is the board.
"""

import math
from dataclasses import dataclass

import numpy as np

from rungbench.simulated.generator import Floats
from rungbench.simulated.pilot import Crossings
from rungbench.simulated.traits import Traits

_HIGH_V = 10.0
_SLOPE = 1e9  # V/s: edges of 20 ns


@dataclass(frozen=True, slots=True)
class Calibrator:
    """`steady_v`, or pulses of +/- 10 V with a frequency in hertz and a width in seconds."""

    steady_v: float | None
    frequency_hz: float = math.nan
    width_s: float = math.nan

    @classmethod
    def of(cls, traits: Traits) -> "Calibrator | None":
        """The one that the traits connect, if they do."""
        if traits.applied_hz is not None:
            width_s = min(traits.applied_width_us * 1e-6, 0.99 / traits.applied_hz)
            return cls(None, traits.applied_hz, width_s)
        return None if traits.applied_v is None else cls(traits.applied_v)

    def volts(self, times: Floats) -> Floats:
        """Voltage at true `times`, shape (n,)."""
        if self.steady_v is not None:
            return np.full(times.size, self.steady_v)
        since = np.mod(times, 1.0 / self.frequency_hz)
        return np.where(since < self.width_s, _HIGH_V, -_HIGH_V)

    def crossings(self, start: float, end: float) -> Crossings:
        """Passages of 0 V after `start`, up to `end`."""
        if self.steady_v is not None:
            return Crossings(np.empty(0), np.empty(0, np.bool_), np.empty(0))
        first, last = math.floor(start * self.frequency_hz), math.ceil(end * self.frequency_hz)
        ups = np.arange(first, last + 1) / self.frequency_hz
        times = np.stack([ups, ups + self.width_s], axis=1).ravel()
        rising = np.tile([True, False], ups.size)
        which = (times > start) & (times <= end)
        return Crossings(times[which], rising[which], np.where(rising, _SLOPE, -_SLOPE)[which])
