"""An edge of the pilot as a curve: volts and slopes at times, a cubic between them."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pilotsignal.errors import CircuitError

Floats = npt.NDArray[np.float64]

_ROUNDS = 60


@dataclass(frozen=True, slots=True, eq=False)
class EdgeCurve:
    """The pilot after the generator begins to move, settled at the end.

    Parameters
    ----------
    times_us : shape (n,), from 0, rising.
    at_v : volts at these times, shape (n,).
    slopes : volts per microsecond at these times, shape (n,).
    end_v : what it settles at, exactly.

    Notes
    -----
    It is also an `Edge` of `pilotsignal.synth_edges`, so that a `PilotWave` can have it: there the
    wave hands in its levels, and the curve is stretched to them.
    """

    times_us: Floats
    at_v: Floats
    slopes: Floats
    end_v: float

    def __post_init__(self) -> None:
        for values in (self.times_us, self.at_v, self.slopes):
            values.flags.writeable = False

    @property
    def start_v(self) -> float:
        """The level that it leaves."""
        return float(self.at_v[0])

    def volts_at(self, times_us: Floats) -> Floats:
        """Volts at any times, shape as given: the start before 0, the end behind the last."""
        times = np.asarray(times_us, dtype=np.float64)
        index = np.clip(np.searchsorted(self.times_us, times, side="right") - 1, 0, None)
        index = np.minimum(index, self.times_us.size - 2)
        step = self.times_us[index + 1] - self.times_us[index]
        share = np.clip((times - self.times_us[index]) / step, 0.0, 1.0)
        found = _cubic(self._piece(index), step, share)
        return np.where(times >= self.times_us[-1], self.end_v, found)

    def pass_us(self, level_v: float) -> float | None:
        """First time at which `level_v` is passed, or ``None`` if it is not."""
        above = self.at_v > level_v
        changes = np.flatnonzero(above[1:] != above[:-1])
        if changes.size == 0:
            return None
        index = int(changes[0])
        start, step = float(self.times_us[index]), float(np.diff(self.times_us)[index])
        piece = self._piece(np.array(index))
        low, high = 0.0, 1.0
        upward = bool(above[index + 1])
        for _ in range(_ROUNDS):
            middle = 0.5 * (low + high)
            passed = bool(_cubic(piece, np.array(step), np.array(middle)) > level_v) == upward
            low, high = (low, middle) if passed else (middle, high)
        return start + high * step

    def transition_us(self) -> float:
        """From 10 to 90 % of the difference between start and end, in microseconds."""
        return self._at_share(0.9) - self._at_share(0.1)

    def _at_share(self, share: float) -> float:
        found = self.pass_us(self.start_v + share * (self.end_v - self.start_v))
        if found is None:
            raise CircuitError(
                f"From {self.start_v:.3g} to {self.end_v:.3g} V there is no edge to be timed."
            )
        return found

    def _piece(self, index: npt.NDArray[np.intp]) -> tuple[Floats, Floats, Floats, Floats]:
        return (
            self.at_v[index],
            self.at_v[index + 1],
            self.slopes[index],
            self.slopes[index + 1],
        )

    # As an edge of a synthetic wave -----------------------------------------------------------

    def volts(self, after_us: Floats, start_v: float, end_v: float) -> Floats:
        """See `pilotsignal.synth_edges.Edge`."""
        share = (self.volts_at(after_us) - self.start_v) / (self.end_v - self.start_v)
        return np.asarray(start_v + (end_v - start_v) * share)

    def crossing_us(self, level_v: float, start_v: float, end_v: float) -> float:
        """See `pilotsignal.synth_edges.Edge`.

        Raises
        ------
        CircuitError : a level that is not between start and end.
        """
        if not min(start_v, end_v) < level_v < max(start_v, end_v):
            raise CircuitError(
                f"{level_v:g} V is not between {start_v:g} and {end_v:g} V; choose a level that is."
            )
        return self._at_share((level_v - start_v) / (end_v - start_v))

    def settled_us(self, start_v: float, end_v: float) -> float:
        """See `pilotsignal.synth_edges.Edge`."""
        del start_v, end_v
        return math.ceil(float(self.times_us[-1]))


def _cubic(ends: tuple[Floats, Floats, Floats, Floats], step: Floats, share: Floats) -> Floats:
    """Hermite's cubic between two points with their slopes."""
    start, end, start_slope, end_slope = ends
    square = share * share
    cube = square * share
    return np.asarray(
        (2.0 * cube - 3.0 * square + 1.0) * start
        + (cube - 2.0 * square + share) * step * start_slope
        + (3.0 * square - 2.0 * cube) * end
        + (cube - square) * step * end_slope
    )
