"""Shapes of pilot edges whose level crossings are known in closed form.

Times are microseconds after the generator switched; levels are volts at the
contact.  A shape does not hold its own levels: the wave that it belongs to
hands them in, so that plateau and edge cannot disagree.
"""

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from pilotsignal.errors import CaptureError

Floats = npt.NDArray[np.float64]

_SETTLED_TAUS = 16.0  # what is left of a 24 V step is then 3 uV


class Edge(Protocol):
    """A passage from one level to another."""

    def volts(self, after_us: Floats, start_v: float, end_v: float) -> Floats:
        """Volts at times after the generator switched, shape as given; no time is negative."""

    def crossing_us(self, level_v: float, start_v: float, end_v: float) -> float:
        """Time at which `level_v`, strictly between start and end, is crossed."""

    def settled_us(self, start_v: float, end_v: float) -> float:
        """Time after which the end level is reached for every purpose."""


@dataclass(frozen=True, slots=True)
class Step:
    """An ideal edge."""

    def volts(self, after_us: Floats, start_v: float, end_v: float) -> Floats:
        """See `Edge`."""
        del start_v
        return np.full(after_us.shape, end_v)

    def crossing_us(self, level_v: float, start_v: float, end_v: float) -> float:
        """See `Edge`."""
        _between(level_v, start_v, end_v)
        return 0.0

    def settled_us(self, start_v: float, end_v: float) -> float:
        """See `Edge`."""
        del start_v, end_v
        return 0.0


@dataclass(frozen=True, slots=True)
class Ramp:
    """A straight line from level to level that takes `duration_us` from 0 to 100 %."""

    duration_us: float

    def __post_init__(self) -> None:
        _positive("The duration of a ramp", self.duration_us)

    def volts(self, after_us: Floats, start_v: float, end_v: float) -> Floats:
        """See `Edge`."""
        share = np.clip(after_us / self.duration_us, 0.0, 1.0)
        return np.asarray(start_v + (end_v - start_v) * share)

    def crossing_us(self, level_v: float, start_v: float, end_v: float) -> float:
        """See `Edge`."""
        _between(level_v, start_v, end_v)
        return self.duration_us * (level_v - start_v) / (end_v - start_v)

    def settled_us(self, start_v: float, end_v: float) -> float:
        """See `Edge`."""
        del start_v, end_v
        return self.duration_us


@dataclass(frozen=True, slots=True)
class Relaxation:
    """A single exponential towards the end level."""

    tau_us: float

    def __post_init__(self) -> None:
        _positive("The time constant of an edge", self.tau_us)

    def volts(self, after_us: Floats, start_v: float, end_v: float) -> Floats:
        """See `Edge`."""
        return np.asarray(end_v + (start_v - end_v) * np.exp(-after_us / self.tau_us))

    def crossing_us(self, level_v: float, start_v: float, end_v: float) -> float:
        """See `Edge`."""
        _between(level_v, start_v, end_v)
        return self.tau_us * math.log((start_v - end_v) / (level_v - end_v))

    def settled_us(self, start_v: float, end_v: float) -> float:
        """See `Edge`."""
        del start_v, end_v
        return _SETTLED_TAUS * self.tau_us


@dataclass(frozen=True, slots=True)
class KneeRelaxation:
    """Two exponentials that meet at the diode's knee.

    Parameters
    ----------
    tau_before_us, tau_after_us : time constants before and after the knee: R1 C where the diode
        blocks, (R1 parallel R) C where it conducts.
    knee_v : level at which the diode begins or ceases to conduct.
    target_before_v : level that the first exponential would reach if the knee never came.

    Raises
    ------
    CaptureError : a time constant that is not positive, a target on the near side of the knee.
    """

    tau_before_us: float
    tau_after_us: float
    knee_v: float
    target_before_v: float

    def __post_init__(self) -> None:
        _positive("The time constant of an edge", self.tau_before_us)
        _positive("The time constant of an edge", self.tau_after_us)

    def _knee_us(self, start_v: float, end_v: float) -> float:
        _between(self.knee_v, start_v, end_v)
        _between(self.knee_v, start_v, self.target_before_v)
        return Relaxation(self.tau_before_us).crossing_us(
            self.knee_v, start_v, self.target_before_v
        )

    def volts(self, after_us: Floats, start_v: float, end_v: float) -> Floats:
        """See `Edge`."""
        knee_us = self._knee_us(start_v, end_v)
        before = Relaxation(self.tau_before_us).volts(after_us, start_v, self.target_before_v)
        late_us = np.maximum(after_us - knee_us, 0.0)
        after = Relaxation(self.tau_after_us).volts(late_us, self.knee_v, end_v)
        return np.where(after_us < knee_us, before, after)

    def crossing_us(self, level_v: float, start_v: float, end_v: float) -> float:
        """See `Edge`."""
        _between(level_v, start_v, end_v)
        if (level_v - start_v) / (self.knee_v - start_v) <= 1.0:
            return Relaxation(self.tau_before_us).crossing_us(
                level_v, start_v, self.target_before_v
            )
        late_us = Relaxation(self.tau_after_us).crossing_us(level_v, self.knee_v, end_v)
        return self._knee_us(start_v, end_v) + late_us

    def settled_us(self, start_v: float, end_v: float) -> float:
        """See `Edge`."""
        return self._knee_us(start_v, end_v) + _SETTLED_TAUS * self.tau_after_us


def _positive(what: str, value: float) -> None:
    if not (math.isfinite(value) and value > 0.0):
        raise CaptureError(f"{what} is {value} us; give a positive time.")


def _between(level_v: float, start_v: float, end_v: float) -> None:
    if not min(start_v, end_v) < level_v < max(start_v, end_v):
        raise CaptureError(
            f"{level_v:g} V is not between {start_v:g} and {end_v:g} V; choose a level that is."
        )
