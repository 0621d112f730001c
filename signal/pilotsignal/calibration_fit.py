"""From known inputs to a calibration: the converter's line, the clock's rate, a diode's curve.

References
----------
.. [1] JCGM 100:2008 (GUM), 4.3 (type B), 4.4.5 (correlated), H.3 (a calibration line).
.. [2] R. T. Birge, "The calculation of errors by the method of least squares", Physical Review 40
   (1932): uncertainties grow with the scatter where it is larger than was stated.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Final

import numpy as np
import numpy.typing as npt

from pilotsignal.errors import CalibrationError
from pilotsignal.quantity import Quantity

Floats = npt.NDArray[np.float64]

FEWEST_LEVELS: Final = 3
# A rest is refused beyond three standard uncertainties: 0.3 % of good ones, were they normal.
_REFUSE_AT: Final = 3.0
_PASSES: Final = 3


@dataclass(frozen=True, slots=True)
class Accuracy:
    """What a meter is worth, as standard uncertainties.

    Parameters
    ----------
    relative : part that grows with the reading.
    fixed : part that does not, in the unit of the reading.
    step : value of the last digit, in the unit of the reading; 0 where it does not matter.

    Raises
    ------
    CalibrationError : a negative number, NaN, or nothing at all.
    """

    relative: float = 0.0
    fixed: float = 0.0
    step: float = 0.0

    def __post_init__(self) -> None:
        for value in (self.relative, self.fixed, self.step):
            if not (math.isfinite(value) and value >= 0.0):
                raise CalibrationError(f"The accuracy {value} of a meter cannot be used.")
        if self.relative == 0.0 and self.fixed == 0.0:
            raise CalibrationError(
                "A meter without any uncertainty cannot be; state it by the meter's data sheet or "
                "its own calibration."
            )

    @property
    def u_step(self) -> float:
        """Standard uncertainty of one reading by its last digit: rectangular, half a digit."""
        return self.step / math.sqrt(12.0)

    def shared(self, value: float) -> float:
        """What all readings of this meter share: standard uncertainty without the last digit."""
        return math.hypot(self.relative * value, self.fixed)

    def u(self, value: float) -> float:
        """Standard uncertainty of one reading, in its unit."""
        return math.hypot(self.shared(value), self.u_step)


@dataclass(frozen=True, slots=True)
class Level:
    """One known voltage: the meter's reading in volts, the mean count and its uncertainty."""

    reading_v: float
    count: float
    u_count: float


@dataclass(frozen=True, slots=True)
class Rest:
    """What the line leaves at one level, and how much of it noise, converter and meter allow."""

    reading_v: float
    rest_v: float
    allowed_v: float

    @property
    def too_large(self) -> bool:
        """Whether the level does not belong to the line."""
        return abs(self.rest_v) > self.allowed_v


@dataclass(frozen=True, slots=True, eq=False)
class LineFit:
    """Line through levels: ``volts = gain_v * count + offset_v``.

    `u_gain_relative`, `u_zero_v` (at 0 V) and their `correlation` are the scatter of the fit alone
    with `dof` degrees of freedom; the meter's own doubt, which all levels share, is not in them.
    `birge` is the factor by which the levels scatter more than was stated, at least 1 (it is in
    the uncertainties).  `u_linearity_v` is how far a level lies off the line beyond what was
    stated, standard.
    """

    gain_v: float
    offset_v: float
    u_gain_relative: float
    u_zero_v: float
    correlation: float
    dof: float
    birge: float
    u_linearity_v: float
    rests: tuple[Rest, ...] = field(default=())

    @property
    def worst(self) -> Rest:
        """The level that lies off most, measured by what is allowed."""
        return max(self.rests, key=lambda rest: abs(rest.rest_v) / rest.allowed_v)


def fit_line(levels: Sequence[Level], meter: Accuracy, u_converter: float = 0.0) -> LineFit:
    """Weighted least squares through known levels.

    Weights come from the noise of each mean, the last digit of the meter and the converter's own
    bending.  The covariance is that of the weights, larger where the levels scatter more [2]_.

    Parameters
    ----------
    levels : at least `FEWEST_LEVELS` of them, of different voltages.
    meter : its standard uncertainties.
    u_converter : integral non-linearity of the converter, standard, in counts.

    Raises
    ------
    CalibrationError : too few levels, levels that are no numbers, or counts that do not rise with
        the voltage.
    """
    if len({level.reading_v for level in levels}) < FEWEST_LEVELS:
        raise CalibrationError(
            f"{len(levels)} levels make no line that could be checked; apply at least "
            f"{FEWEST_LEVELS} different ones."
        )
    volts = np.array([level.reading_v for level in levels])
    counts = np.array([level.count for level in levels])
    noise = np.array([math.hypot(level.u_count, u_converter) for level in levels])
    if not (np.isfinite(volts).all() and np.isfinite(counts).all() and np.isfinite(noise).all()):
        raise CalibrationError("A level is not a number; measure and type it again.")
    gain, zero_count = _rough(volts, counts)
    if gain <= 0.0:
        raise CalibrationError("The counts do not rise with the voltage; check the wiring.")
    u = np.hypot(gain * noise, meter.u_step)
    if not (u > 0.0).all():
        raise CalibrationError("A level without any uncertainty cannot be weighted.")
    solved = _Solved(gain, zero_count, u, np.eye(2))
    for _ in range(_PASSES):
        solved = _solve(solved, volts, counts)
    return _line(levels, meter, solved)


@dataclass(frozen=True, slots=True, eq=False)
class _Solved:
    gain: float
    zero_count: float
    u: Floats
    covariance: Floats


def _solve(start: _Solved, volts: Floats, counts: Floats) -> _Solved:
    """One pass about 0 V, where the offset is stated."""
    about = np.stack([np.ones(volts.size), counts - start.zero_count], axis=1)
    design = about / start.u[:, None]
    covariance = np.asarray(np.linalg.inv(design.T @ design), np.float64)
    zero_v, gain = (covariance @ design.T @ (volts / start.u)).tolist()
    return _Solved(gain, start.zero_count - zero_v / gain, start.u, covariance)


def _rough(volts: Floats, counts: Floats) -> tuple[float, float]:
    """Gain, and the count at 0 V, without weights."""
    spread = counts - counts.mean()
    if not spread.any():
        raise CalibrationError("All levels gave the same count; check the wiring.")
    gain = float((spread * (volts - volts.mean())).sum() / (spread**2).sum())
    return gain, float(counts.mean() - volts.mean() / gain) if gain else 0.0


def _line(levels: Sequence[Level], meter: Accuracy, solved: _Solved) -> LineFit:
    gain, zero_count, u = solved.gain, solved.zero_count, solved.u
    rest = np.array([one.reading_v - gain * (one.count - zero_count) for one in levels])
    dof = len(levels) - 2.0
    birge = max(1.0, math.sqrt(float(((rest / u) ** 2).sum()) / dof))
    excess = float((rest**2).sum()) / dof - float((u**2).mean())
    (zero_var, shared), (_, gain_var) = (solved.covariance * birge**2).tolist()
    allowed = [
        _REFUSE_AT * math.hypot(float(one_u), meter.shared(level.reading_v))
        for one_u, level in zip(u, levels, strict=True)
    ]
    return LineFit(
        gain_v=gain,
        offset_v=-gain * zero_count,
        u_gain_relative=math.sqrt(gain_var) / gain,
        u_zero_v=math.sqrt(zero_var),
        correlation=max(-1.0, min(1.0, shared / math.sqrt(zero_var * gain_var))),
        dof=dof,
        birge=birge,
        u_linearity_v=math.sqrt(max(0.0, excess)),
        rests=tuple(
            Rest(level.reading_v, float(left), limit)
            for level, left, limit in zip(levels, rest, allowed, strict=True)
        ),
    )


@dataclass(frozen=True, slots=True)
class Known:
    """A number with its standard uncertainty; the unit is the caller's."""

    value: float
    u: float


def clock_correction(reference_hz: Known, measured: Quantity, u_wander: float) -> Known:
    """True rate of a clock over its nominal rate, less 1, from a known frequency that it measured.

    A clock that runs fast counts more ticks to a period, and so shows too low a frequency.

    Parameters
    ----------
    reference_hz : frequency of the reference, in hertz.
    measured : the same frequency by the clock, its correction being none.
    u_wander : relative standard uncertainty of the rate by ageing and temperature until the
        calibration ends.

    Raises
    ------
    CalibrationError : a frequency that is not positive.
    """
    if not (reference_hz.value > 0.0 and measured.value > 0.0):
        raise CalibrationError("A frequency of nothing calibrates no clock.")
    ratio = reference_hz.value / measured.value
    own = [row.contribution for row in measured.rows if not row.id.startswith("timebase@")]
    u_measured = math.hypot(*own) if own else measured.u
    parts = (reference_hz.u / reference_hz.value, u_measured / measured.value, u_wander)
    return Known(ratio - 1.0, math.hypot(*parts))


@dataclass(frozen=True, slots=True)
class DropCurve:
    """Forward drop of a diode through two points: volts over the logarithm of the current.

    Currents in amperes, drops in volts with standard uncertainties.  A diode's drop is linear in
    that logarithm but for its series resistance (0.6 ohm from 2 to 10 mA: less than 1 mV).

    Raises
    ------
    CalibrationError : currents that are not positive or too close, or a drop that falls.
    """

    low_a: float
    low_v: Known
    high_a: float
    high_v: Known

    def __post_init__(self) -> None:
        if not (self.low_a > 0.0 and self.high_a >= 1.5 * self.low_a):
            raise CalibrationError(
                "The curve of a diode needs two currents above 0, the second at least 1.5 times "
                "the first, such as 2 mA and 10 mA."
            )
        if not 0.0 < self.low_v.value < self.high_v.value:
            raise CalibrationError("A diode drops more at the higher current; check both values.")

    def at(self, current_a: float) -> Known:
        """Drop at a current, with the doubt of both points."""
        part = self._part(current_a)
        value = self.low_v.value + part * (self.high_v.value - self.low_v.value)
        return Known(value, math.hypot((1.0 - part) * self.low_v.u, part * self.high_v.u))

    def at_one_meter(self, current_a: float) -> float:
        """What one standard deviation of a meter that read both points does to the drop, in V."""
        part = self._part(current_a)
        return (1.0 - part) * self.low_v.u + part * self.high_v.u

    def _part(self, current_a: float) -> float:
        return math.log(current_a / self.low_a) / math.log(self.high_a / self.low_a)
