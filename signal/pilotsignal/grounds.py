"""What a verdict must stand on: a described calibration, a time base good enough.

A limit in volts (or in ohms and picofarads, which are worked out from volts)
needs a calibration whose gain and offset uncertainty somebody stated and that
is valid on the day.  A frequency can pass only by a crystal of 50 ppm or
better or a dated calibration: ceramic resonators are up to 0.5 % off (common
practice, no source).
"""

import math
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Final

from pilotsignal.calibration import TimeBase, VoltCalibration

CRYSTAL_BOUND: Final = 50e-6
_RECTANGULAR: Final = math.sqrt(3.0)
_SLACK: Final = 1.0 + 1e-9  # a bound written as 50e-6 / sqrt(3) is still 50 ppm


class Need(StrEnum):
    """What a limit asks for besides the quantity."""

    NOTHING = "nothing"
    VOLTS = "volts"
    TIME_BASE = "time base"


@dataclass(frozen=True, slots=True)
class Grounds:
    """What the measurement stands on; whatever is left out is taken as unknown.

    Parameters
    ----------
    volts : calibration of the converter that the voltages went through.
    time_base : the clock.
    on : day of the measurement; without it no calibration that has an end is taken as valid.
    """

    volts: VoltCalibration | None = None
    time_base: TimeBase | None = None
    on: date | None = None


NO_GROUNDS: Final = Grounds()

_NEEDS: Final = {
    "V": Need.VOLTS,
    "ohm": Need.VOLTS,
    "pF": Need.VOLTS,
    "Hz": Need.TIME_BASE,
}


def need_of(unit: str) -> Need:
    """What a limit in `unit` needs; pulse widths are judged by the measured period: nothing."""
    return _NEEDS.get(unit, Need.NOTHING)


def volts_doubt(grounds: Grounds) -> str:
    """Why no voltage may be judged, a sentence; empty if one may."""
    calibration = grounds.volts
    if calibration is None or not calibration.described:
        return (
            "uncalibrated: nobody stated the gain and offset uncertainty of the voltage; "
            "calibrate, or state both."
        )
    return _date_doubt(
        f"calibration {calibration.id}", calibration.made, calibration.valid_until, grounds.on
    )


def time_base_doubt(grounds: Grounds) -> str:
    """Why no frequency may pass, a sentence; empty if one may."""
    clock = grounds.time_base
    if clock is None or clock.u_relative is None:
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
