"""What is known about the converter, the time base and the stand-in.

Raw counts become volts only through one of these; each carries an id and a
date, and the ids name the budget rows, so that every quantity of a run that
went through one calibration shares its inputs.
"""

import math
from dataclasses import dataclass
from datetime import date

from pilotsignal.errors import CalibrationError


@dataclass(frozen=True, slots=True)
class VoltCalibration:
    """Line from converter counts to volts at the contact: ``volts = gain_v * count + offset_v``.

    Parameters
    ----------
    id : stable id, part of the budget's input ids.
    gain_v : volts per count, positive: counts rise with the voltage.
    offset_v : volts at count 0.
    u_gain_relative : standard uncertainty of the gain, relative, or ``None``: nobody stated it.
    u_offset_v : standard uncertainty of the offset in volts, or ``None``: nobody stated it.
    u_linearity_v : standard uncertainty for what a straight line leaves, in volts.
    dof : degrees of freedom of the fit.
    made, valid_until : dates, or ``None`` where it is not a calibration but a statement.
    by : who made it.
    simulated : it belongs to a simulated bench.

    Raises
    ------
    CalibrationError : a gain that is not positive, a negative uncertainty, an end before the
        beginning.
    """

    id: str
    gain_v: float
    offset_v: float
    u_gain_relative: float | None = None
    u_offset_v: float | None = None
    u_linearity_v: float = 0.0
    dof: float = math.inf
    made: date | None = None
    valid_until: date | None = None
    by: str = ""
    simulated: bool = False

    def __post_init__(self) -> None:
        if not (math.isfinite(self.gain_v) and self.gain_v > 0 and math.isfinite(self.offset_v)):
            raise CalibrationError(
                f"Calibration {self.id}: a gain of {self.gain_v} V a count cannot be used; counts"
                " must rise with the voltage."
            )
        for u in (self.u_gain_relative, self.u_offset_v, self.u_linearity_v):
            if u is not None and not (math.isfinite(u) and u >= 0):
                raise CalibrationError(f"calibration {self.id}: uncertainty {u} cannot be used")
        if self.made and self.valid_until and self.valid_until < self.made:
            raise CalibrationError(f"calibration {self.id} ends before it begins")

    @property
    def described(self) -> bool:
        """Whether gain and offset uncertainty were stated: without them no voltage is judged."""
        return self.u_gain_relative is not None and self.u_offset_v is not None

    def valid_on(self, day: date) -> bool:
        """Whether `day` lies inside the validity; open ends count as valid."""
        return (self.made is None or self.made <= day) and (
            self.valid_until is None or day <= self.valid_until
        )


@dataclass(frozen=True, slots=True)
class TimeBase:
    """The clock that spaces the samples.

    Parameters
    ----------
    id : stable id, part of the budget's input ids.
    kind : ``crystal``, ``resonator``, ``calibrated``, ``stated`` or ``unknown``.
    u_relative : standard uncertainty of the rate, relative, or ``None``: nobody stated it.
    correction : true rate over nominal rate less 1, from a calibration.
    made, valid_until : dates of the calibration, or ``None`` where there was none.
    """

    id: str
    kind: str
    u_relative: float | None = None
    correction: float = 0.0
    made: date | None = None
    valid_until: date | None = None

    def __post_init__(self) -> None:
        if self.u_relative is not None and not (
            math.isfinite(self.u_relative) and self.u_relative >= 0
        ):
            raise CalibrationError(f"time base {self.id}: uncertainty cannot be used")
        if not math.isfinite(self.correction):
            raise CalibrationError(f"time base {self.id}: correction cannot be used")
        if self.made and self.valid_until and self.valid_until < self.made:
            raise CalibrationError(f"time base {self.id} ends before it begins")


@dataclass(frozen=True, slots=True)
class WidthBias:
    """Shift of a pulse width by the comparator and its path.

    Parameters
    ----------
    id : stable id, part of the budget's input ids.
    bias_us : what the comparator adds to a high pulse, in microseconds; it is subtracted.
    u_us : its standard uncertainty.
    """

    id: str
    bias_us: float = 0.0
    u_us: float = 0.0


@dataclass(frozen=True, slots=True)
class KnownPart:
    """A part of the stand-in with its calibrated value: `u` standard, in the part's unit."""

    id: str
    value: float
    u: float
    unit: str


UNKNOWN_TIME_BASE = TimeBase("undescribed", "unknown")
CRYSTAL_50_PPM = TimeBase("crystal-50ppm", "crystal", 50e-6 / math.sqrt(3.0))
