"""What a verdict must stand on: a described calibration, a time base good enough.

A limit in volts (or in ohms and picofarads, which are worked out from volts)
needs a calibration whose gain and offset uncertainty somebody stated, that is
valid on the day, belongs to this bench, and is the one that the quantity's own
budget names.  A frequency can pass only by a crystal of 50 ppm or better or a
dated calibration: ceramic resonators are up to 0.5 % off (common practice, no
source).  A time needs a clock of stated uncertainty.  Only what is counted may
come without any uncertainty.
"""

import math
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, datetime
from enum import StrEnum
from typing import Final

from pilotsignal.calibration import TimeBase, VoltCalibration
from pilotsignal.errors import QuantityError
from pilotsignal.quantity import BudgetRow, Quantity

CRYSTAL_BOUND: Final = 50e-6
_RECTANGULAR: Final = math.sqrt(3.0)
_SLACK: Final = 1.0 + 1e-9  # a bound written as 50e-6 / sqrt(3) is still 50 ppm
_OF_CALIBRATION: Final = ("gain", "offset", "meter", "meter-zero")


class Need(StrEnum):
    """What a limit asks for besides the quantity."""

    NOTHING = "nothing"
    COUNT = "count"
    VOLTS = "volts"
    TIME_BASE = "time base"
    CLOCK = "clock"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Grounds:
    """What the measurement stands on; whatever is left out is taken as unknown.

    Parameters
    ----------
    volts : calibration of the converter that the voltages went through.
    time_base : the clock.
    on : day of the measurement; without it no calibration that has an end is taken as valid.
    simulated : whether the bench is a simulated one; a simulated calibration holds nowhere else.
    temperature_c : of the bench during the measurement, if known: a calibration with a span of
        temperature does not hold outside it.

    Raises
    ------
    QuantityError : a moment in place of a day.
    """

    volts: VoltCalibration | None = None
    time_base: TimeBase | None = None
    on: date | None = None
    simulated: bool = False
    temperature_c: float | None = None

    def __post_init__(self) -> None:
        if isinstance(self.on, datetime):
            raise QuantityError(f"{self.on} is a moment; state the day of the measurement.")


NO_GROUNDS: Final = Grounds()

_NEEDS: Final = {
    "V": Need.VOLTS,
    "ohm": Need.VOLTS,
    "pF": Need.VOLTS,
    "Hz": Need.TIME_BASE,
    "s": Need.CLOCK,
    "ms": Need.CLOCK,
    "us": Need.NOTHING,
    "%": Need.NOTHING,
    "A": Need.NOTHING,
    "phases": Need.COUNT,
    "edges": Need.COUNT,
    "events": Need.COUNT,
    "windows": Need.COUNT,
}


def need_of(unit: str) -> Need:
    """What a limit in `unit` needs; pulse widths are judged by the measured period: nothing."""
    return _NEEDS.get(unit, Need.UNKNOWN)


def budget_doubt(quantity: Quantity, grounds: Grounds) -> str:
    """Why nothing may be judged by this quantity's budget, a sentence; empty if it may.

    A value without uncertainty is no measurement, unless it was counted.  A voltage must have gone
    through the calibration of `grounds`: its budget says through which.
    """
    need = need_of(quantity.unit)
    if need is Need.UNKNOWN:
        return f"Nothing is known here about what a value in {quantity.unit} needs."
    if need is not Need.COUNT and not _uncertain(quantity):
        return f"uncalibrated: {quantity.name} comes without any uncertainty; state one."
    if need is Need.VOLTS:
        return next(_foreign(quantity, grounds.volts), "")
    return ""


def volts_doubt(grounds: Grounds) -> str:
    """Why no voltage may be judged, a sentence; empty if one may."""
    calibration = grounds.volts
    if calibration is None or not calibration.described:
        return (
            "uncalibrated: nobody stated the gain and offset uncertainty of the voltage; "
            "calibrate, or state both."
        )
    if calibration.simulated and not grounds.simulated:
        return (
            f"uncalibrated: calibration {calibration.id} belongs to a simulated bench; "
            "calibrate this one."
        )
    if not (_any(calibration.u_gain_relative, calibration.u_meter_relative)) or not (
        _any(calibration.u_offset_v, calibration.u_meter_v)
    ):
        return (
            f"uncalibrated: {calibration.id} states an uncertainty of zero, which no instrument "
            "has; state the real one."
        )
    if doubt := _temperature_doubt(calibration, grounds.temperature_c):
        return doubt
    return _date_doubt(
        f"calibration {calibration.id}", calibration.made, calibration.valid_until, grounds.on
    )


def time_base_doubt(grounds: Grounds) -> str:
    """Why no frequency may pass, a sentence; empty if one may."""
    clock = grounds.time_base
    if clock is None or not clock.u_relative:
        return (
            "uncalibrated: nobody stated the uncertainty of the time base; "
            "calibrate it, or use a board with a crystal."
        )
    if clock.kind == "crystal":
        return _crystal_doubt(clock)
    if clock.kind != "calibrated" or clock.made is None:
        return (
            f"uncalibrated: the time base is {_kind_text(clock)}; a frequency passes only by a "
            "crystal of 50 ppm or better or a dated calibration."
        )
    return _date_doubt(f"time base {clock.id}", clock.made, clock.valid_until, grounds.on)


def clock_doubt(quantity: Quantity, grounds: Grounds) -> str:
    """Why nothing timed may be judged, not even failed: its U does not hold the clock."""
    clock = grounds.time_base
    if clock is None or not clock.u_relative:
        return time_base_doubt(grounds)
    for row in quantity.rows:
        name, _, owner = row.id.partition("@")
        if not row.stated and "timebase" in name:
            return time_base_doubt(Grounds())
        if name == "timebase" and (owner != clock.id or not _same(row.u, clock.u_relative)):
            return (
                f"uncalibrated: {quantity.name} was timed by {owner}, not by the {clock.id} of "
                "this bench; measure again."
            )
    return ""


def _temperature_doubt(calibration: VoltCalibration, now_c: float | None) -> str:
    made_c, span = calibration.made_at_c, calibration.span_k
    if now_c is None or made_c is None or span <= 0.0 or abs(now_c - made_c) <= span:
        return ""
    return (
        f"uncalibrated: the bench is at {now_c:.1f} degrees Celsius, and calibration "
        f"{calibration.id} of {made_c:.1f} holds within {span:g} K; let it settle, or "
        "calibrate here."
    )


def _foreign(quantity: Quantity, line: VoltCalibration | None) -> Iterator[str]:
    """What in a voltage's budget does not belong to the calibration `line`, as sentences."""
    stated = {} if line is None else {"gain": line.u_gain_relative, "offset": line.u_offset_v}
    mine = "" if line is None else line.id
    names = set()
    for row in quantity.rows:
        name, _, owner = row.id.partition("@")
        if not row.stated and name.endswith(("gain", "offset")):
            yield (
                f"uncalibrated: part of {quantity.name} was measured through {owner}, of which "
                "nobody stated the gain and offset uncertainty."
            )
        if name not in _OF_CALIBRATION:
            continue
        names.add(name)
        if owner != mine:
            yield (
                f"uncalibrated: {quantity.name} was measured through calibration {owner}, not "
                f"through {mine}; measure again."
            )
        elif not _agrees(row, stated.get(name)):
            yield (
                f"uncalibrated: the budget of {quantity.name} and calibration {mine} state another "
                f"uncertainty of the {row.component}; measure again."
            )
    if quantity.unit == "V" and not {"gain", "offset"} <= names:
        yield f"uncalibrated: the budget of {quantity.name} names no calibration."


def _agrees(row: BudgetRow, u: float | None) -> bool:
    return u is None or _same(row.u, u)


def _same(one: float, other: float) -> bool:
    return math.isclose(one, other, rel_tol=1e-9)


def _any(*uncertainties: float | None) -> bool:
    return any(u is not None and u > 0.0 for u in uncertainties)


def _uncertain(quantity: Quantity) -> bool:
    """Whether an uncertainty was stated at all; that of its inputs counts where they cancel."""
    return quantity.u > 0.0 or any(row.u > 0.0 for row in quantity.rows)


def _crystal_doubt(clock: TimeBase) -> str:
    bound = (clock.u_relative or 0.0) * _RECTANGULAR
    if bound <= CRYSTAL_BOUND * _SLACK:
        return ""
    return (
        f"uncalibrated: the crystal is stated to {bound * 1e6:.0f} ppm only, and 50 ppm or better "
        "is needed; calibrate the time base."
    )


def _kind_text(clock: TimeBase) -> str:
    if clock.kind == "calibrated":
        return "calibrated without a date"
    return {"resonator": "a resonator", "stated": "only stated"}.get(clock.kind, "of unknown kind")


def _date_doubt(what: str, made: date | None, end: date | None, on: date | None) -> str:
    if end is not None and on is None:
        return f"uncalibrated: {what} has an end, and the day of the measurement is not stated."
    if on is not None and end is not None and on > end:
        return f"uncalibrated: {what} ended on {end.isoformat()}; calibrate again."
    if on is not None and made is not None and on < made:
        return f"uncalibrated: {what} dates from {made.isoformat()}, after the measurement."
    return ""
