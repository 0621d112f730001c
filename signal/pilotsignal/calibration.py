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
        With `u_meter_relative` it is the scatter of the fit only.
    u_offset_v : standard uncertainty at 0 V in volts, or ``None``: nobody stated it.  With
        `u_meter_v` it is the scatter of the fit only.
    u_linearity_v : standard uncertainty for what a straight line leaves, in volts.
    dof : degrees of freedom of the fit.
    made, valid_until : dates, or ``None`` where it is not a calibration but a statement.
    by : who made it.
    simulated : it belongs to a simulated bench.
    u_meter_relative, u_meter_v : standard uncertainty of the reference meter: the part that grows
        with the voltage, and the part that does not, in volts.  ``None``: not told apart from gain
        and offset.
    made_at_c : temperature of the calibration in degrees Celsius, or ``None``.
    drift_relative_per_k, u_drift_v_per_k : standard uncertainty of the temperature coefficient of
        gain and offset, relative and in volts per kelvin; the coefficients themselves are taken as
        zero.
    span_k : how far from `made_at_c` the bench may be used, in kelvin.
    u_nonlinearity_lsb : integral non-linearity of the converter, standard, in counts.
    gain_offset_correlation : correlation of the fit's gain (relative) and offset; zero where its
        points lie evenly around 0 V.
    front_end_us : time constant of the path from the contact to the converter, in microseconds; 0
        where nobody stated one.

    Raises
    ------
    CalibrationError : a gain that is not positive, a negative uncertainty, a correlation beyond 1,
        an end before the beginning.
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
    u_meter_relative: float | None = None
    u_meter_v: float | None = None
    made_at_c: float | None = None
    drift_relative_per_k: float = 0.0
    u_drift_v_per_k: float = 0.0
    span_k: float = 0.0
    u_nonlinearity_lsb: float = 0.0
    gain_offset_correlation: float = 0.0
    front_end_us: float = 0.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.gain_v) and self.gain_v > 0 and math.isfinite(self.offset_v)):
            raise CalibrationError(
                f"Calibration {self.id}: a gain of {self.gain_v} V a count cannot be used; counts"
                " must rise with the voltage."
            )
        for u in self._uncertainties():
            if u is not None and not (math.isfinite(u) and u >= 0):
                raise CalibrationError(f"calibration {self.id}: uncertainty {u} cannot be used")
        if not self.dof >= 1:
            raise CalibrationError(f"calibration {self.id}: {self.dof} degrees of freedom")
        if not abs(self.gain_offset_correlation) <= 1.0:
            raise CalibrationError(
                f"calibration {self.id}: a correlation of {self.gain_offset_correlation} cannot be"
            )
        if self.made_at_c is not None and not math.isfinite(self.made_at_c):
            raise CalibrationError(f"calibration {self.id}: its temperature is not a number")
        if self.made and self.valid_until and self.valid_until < self.made:
            raise CalibrationError(f"calibration {self.id} ends before it begins")

    def _uncertainties(self) -> tuple[float | None, ...]:
        """Whatever must be finite and not negative."""
        return (
            self.u_gain_relative,
            self.u_offset_v,
            self.u_linearity_v,
            self.u_meter_relative,
            self.u_meter_v,
            self.drift_relative_per_k,
            self.u_drift_v_per_k,
            self.span_k,
            self.u_nonlinearity_lsb,
            self.front_end_us,
        )

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

    Raises
    ------
    CalibrationError : a number that is none, a negative uncertainty.
    """

    id: str
    bias_us: float = 0.0
    u_us: float = 0.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.bias_us) and math.isfinite(self.u_us) and self.u_us >= 0):
            raise CalibrationError(
                f"width bias {self.id}: {self.bias_us} us with {self.u_us} us cannot be used"
            )


@dataclass(frozen=True, slots=True)
class KnownPart:
    """A part of the stand-in with its calibrated value: `u` standard, in the part's unit.

    Parameters
    ----------
    inputs : what `u` is made of, as pairs of an input's id and what one standard deviation of it
        does to the value, with its sign.  Parts that were measured with one meter share an input.
        Empty: the part is an input of its own.

    Raises
    ------
    CalibrationError : a number that is none, a negative uncertainty, inputs that do not make `u`.
    """

    id: str
    value: float
    u: float
    unit: str
    inputs: tuple[tuple[str, float], ...] = ()

    def __post_init__(self) -> None:
        # Read back from a record they come as lists.
        object.__setattr__(self, "inputs", tuple((str(key), float(by)) for key, by in self.inputs))
        if not (math.isfinite(self.value) and math.isfinite(self.u) and self.u >= 0):
            raise CalibrationError(f"part {self.id}: {self.value} with {self.u} cannot be used")
        made = math.hypot(*(by for _, by in self.inputs))
        if self.inputs and not math.isclose(made, self.u, rel_tol=1e-6):
            raise CalibrationError(f"part {self.id}: its inputs make {made} and not {self.u}")


UNKNOWN_TIME_BASE = TimeBase("undescribed", "unknown")
CRYSTAL_50_PPM = TimeBase("crystal-50ppm", "crystal", 50e-6 / math.sqrt(3.0))
