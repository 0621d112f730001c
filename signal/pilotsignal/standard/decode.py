"""What duty, plateau and proximity contact mean: pure functions over a profile.

Band edges are exact: no tolerance, no rounding.  What the edition leaves open is
``not defined``, never the nearest row.
"""

import math
from dataclasses import dataclass
from enum import StrEnum
from typing import Final

from pilotsignal.errors import QuantityError
from pilotsignal.standard.profile import DEFAULT, Profile, load_profile
from pilotsignal.standard.rows import ContactBand, DutyBand, Interval

# From 51 A up to 52.5 A the formula for high currents gives a duty that the
# formula for low currents reads back, as less than was set.
SEAM_A: Final = Interval(51.0, 52.5, False, True)
SEAM_DUTY: Final = Interval(84.4, 85.0, False, True)
INVALID: Final = "invalid"
_SCALE: Final = ("A", "B", "C", "D", "E", INVALID, "F")


class DutyKind(StrEnum):
    """What a duty stands for."""

    NONE = "none"
    DIGITAL = "digital"
    CURRENT = "current"
    UNDEFINED = "not defined"


class ContactKind(StrEnum):
    """What a proximity contact says."""

    CURRENT = "current"
    ABSENT = "absent"
    LATCHED = "latched"
    PRESSED = "pressed"
    ERROR = "error"
    UNDEFINED = "not defined"


@dataclass(frozen=True, slots=True)
class DecodedDuty:
    """What a vehicle reads from a duty.

    Parameters
    ----------
    kind : what it stands for.
    current_a : advertised current per phase in amperes; 0 where charging is not allowed; ``None``
        where the duty says nothing about it.
    text : for people.
    clause : edition and table; empty where nothing is defined.
    slope_a_per_percent : derivative of the current by the duty: 0.6, 2.5 or 0.
    warning : a sentence where the reading deserves doubt, else empty.
    confidence : how well the row is confirmed (see `pilotsignal.limit.Limit`).
    """

    kind: DutyKind
    current_a: float | None
    text: str
    clause: str
    slope_a_per_percent: float = 0.0
    warning: str = ""
    confidence: str = ""


@dataclass(frozen=True, slots=True)
class NominalDuty:
    """Duty that a charger shows for a current; `duty_percent` is ``None`` where none is defined."""

    kind: DutyKind
    duty_percent: float | None
    text: str
    clause: str
    warning: str = ""
    confidence: str = ""


@dataclass(frozen=True, slots=True)
class ContactReading:
    """What a proximity contact says.

    Parameters
    ----------
    kind : what it stands for.
    current_a : what the cable carries in amperes, ``None`` unless `kind` is ``current``.
    text, clause, confidence : as in `DecodedDuty`.
    one_phase_a : what it carries on a single phase, where that differs.
    nominal : nominal resistance (ohm) or voltage (V) of the row.
    """

    kind: ContactKind
    current_a: float | None
    text: str
    clause: str
    confidence: str = ""
    one_phase_a: float | None = None
    nominal: float | None = None


def current_of_duty(duty_percent: float, profile: Profile | None = None) -> DecodedDuty:
    """Advertised current of a duty, as a vehicle reads it.

    Parameters
    ----------
    duty_percent : 0 to 100.
    profile : default: IEC 61851-1:2017, Table A.8.

    Raises
    ------
    QuantityError : NaN, or outside 0 to 100 %.

    Examples
    --------
    >>> current_of_duty(80.0).current_a
    48.0
    """
    _within("A duty", duty_percent, 0.0, 100.0, "%")
    profile = profile or _default()
    for band in profile.duty_bands:
        if duty_percent in band.duty:
            return _decoded(duty_percent, band, profile)
    text = f"not defined in {profile.edition}"
    return DecodedDuty(DutyKind.UNDEFINED, None, text, "")


def duty_of_current(current_a: float, profile: Profile | None = None) -> NominalDuty:
    """Duty that a charger shows for a current.

    Parameters
    ----------
    current_a : amperes per phase, not negative.
    profile : default: IEC 61851-1:2017, Table A.7.

    Raises
    ------
    QuantityError : NaN, infinite or negative.

    Examples
    --------
    >>> duty_of_current(63.0).duty_percent
    89.2
    """
    _within("A current", current_a, 0.0, 1e6, "A")
    profile = profile or _default()
    for band in profile.current_bands:
        if current_a in band.current:
            duty = current_a / band.slope + band.zero
            warning = _set_warning(current_a, duty, profile)
            text = f"{current_a:g} A is shown as {duty:.4g} %"
            source = band.source
            return NominalDuty(
                DutyKind.CURRENT, duty, text, source.clause, warning, source.confidence
            )
    text = f"no duty is defined for {current_a:g} A in {profile.edition}"
    return NominalDuty(DutyKind.UNDEFINED, None, text, "")


def state_of(
    high_v: float, low_v: float | None, pwm_on: bool, profile: Profile | None = None
) -> tuple[str, ...]:
    """State that the pilot's plateaus say.

    Parameters
    ----------
    high_v : high plateau in volts; the level itself if it is steady.
    low_v : low plateau, or ``None``; it tells the diode (`diode_present`), not the state.
    pwm_on : whether there is a pulse width modulation.
    profile : default: IEC 61851-1:2017, Table A.4.

    Returns
    -------
    tuple : one of ``A1`` .. ``D2``, ``E``, ``F``, ``invalid``; between two windows, where either
        reading is right, both, the one with the higher voltage first.

    Raises
    ------
    QuantityError : a plateau that is not a number.
    """
    _finite("The high plateau", high_v)
    if low_v is not None:
        _finite("The low plateau", low_v)
    windows = (profile or _default()).windows
    for name in _SCALE:
        if high_v in windows[name]:
            return (_named(name, pwm_on),)
    above = [name for name in _SCALE if windows[name].low > high_v]
    below = [name for name in _SCALE if windows[name].high < high_v]
    if not above or not below:
        return (INVALID,)
    return tuple(dict.fromkeys((_named(above[-1], pwm_on), _named(below[0], pwm_on))))


def diode_present(low_v: float, profile: Profile | None = None) -> bool | None:
    """Whether the low plateau of a pulse width modulation shows the vehicle's diode.

    ``True`` inside the window of Table A.4, ``False`` from the upper end of the invalid range's
    -10 V upwards (a bypassed diode pulls the plateau up), ``None`` where the table says neither.

    Raises
    ------
    QuantityError : not a number.
    """
    _finite("The low plateau", low_v)
    windows = (profile or _default()).windows
    if low_v in windows["diode"]:
        return True
    return False if low_v >= windows[INVALID].low else None


def cable_of_resistance(ohm: float, profile: Profile | None = None) -> ContactReading:
    """What a Type 2 cable's coding resistor says.

    Parameters
    ----------
    ohm : between proximity contact and protective earth; ``math.inf`` for an open circuit.
    profile : default: IEC 61851-1:2017, Table B.2.

    Raises
    ------
    QuantityError : NaN or negative.
    """
    _within("A resistance", ohm, 0.0, math.inf, "ohm")
    profile = profile or _default()
    return _contact(ohm, "resistance", profile.cables, profile)


def proximity_of_voltage(volts: float, profile: Profile | None = None) -> ContactReading:
    """What the voltage at a Type 1 inlet's proximity contact says.

    Parameters
    ----------
    volts : against protective earth.
    profile : default: SAE J1772 OCT2017, Table 7; the IEC profile defines none.

    Raises
    ------
    QuantityError : not a number.
    """
    _finite("The proximity voltage", volts)
    profile = profile or load_profile("sae-j1772-2017")
    return _contact(volts, "voltage", profile.proximities, profile)


def proximity_of_resistance(ohm: float, profile: Profile | None = None) -> ContactReading:
    """What the resistance of a Type 1 connector's proximity circuit says; ranges are from memory.

    Raises
    ------
    QuantityError : NaN or negative.
    """
    _within("A resistance", ohm, 0.0, math.inf, "ohm")
    profile = profile or load_profile("sae-j1772-2017")
    return _contact(ohm, "resistance", profile.proximities, profile)


def _default() -> Profile:
    return load_profile(DEFAULT)


def _decoded(duty: float, band: DutyBand, profile: Profile) -> DecodedDuty:
    kind = DutyKind(band.kind)
    current: float | None = None
    if kind is DutyKind.NONE:
        current = 0.0
    elif kind is DutyKind.CURRENT:
        current = band.current_a if band.slope == 0.0 else band.slope * (duty - band.zero)
    text = f"{current:.4g} A per phase" if kind is DutyKind.CURRENT else band.text
    special = next((row for row in profile.special_duties if row.duty == duty), None)
    if special is not None and kind is not DutyKind.CURRENT:
        text = f"{text}; {special.text}"
    source = band.source
    return DecodedDuty(
        kind, current, text, source.clause, band.slope, _read_warning(duty), source.confidence
    )


def _read_warning(duty: float) -> str:
    if duty not in SEAM_DUTY:
        return ""
    return "A charger set to 51 to 52.5 A may show this duty too and is then read as less."


def _set_warning(current: float, duty: float, profile: Profile) -> str:
    if current not in SEAM_A:
        return ""
    read = current_of_duty(duty, profile).current_a
    return f"A vehicle reads this duty as {read:.4g} A: set 51 A or less, or more than 52.5 A."


def _named(window: str, pwm_on: bool) -> str:
    """Name of a state; a steady low level (F) has no pulse width modulation."""
    if window in ("E", INVALID):
        return window
    if window == "F":
        return INVALID if pwm_on else window
    return f"{window}{2 if pwm_on else 1}"


def _contact(
    value: float, quantity: str, bands: tuple[ContactBand, ...], profile: Profile
) -> ContactReading:
    for row in bands:
        if row.quantity == quantity and value in row.band:
            source = row.source
            return ContactReading(
                ContactKind(row.kind),
                row.current_a,
                _marked(row.text, source.confidence),
                source.clause,
                source.confidence,
                row.one_phase_a,
                row.nominal,
            )
    return ContactReading(ContactKind.UNDEFINED, None, f"not defined in {profile.edition}", "")


def _marked(text: str, confidence: str) -> str:
    return f"{text} (from memory, unconfirmed)" if confidence == "MEM" else text


def _finite(what: str, value: float) -> None:
    if not math.isfinite(value):
        raise QuantityError(f"{what} of {value} is not a number; state it in volts.")


def _within(what: str, value: float, low: float, high: float, unit: str) -> None:
    if not low <= value <= high:
        open_ended = high >= 1e6 and not high < value < math.inf
        span = f"at least {low:g}" if open_ended else f"{low:g} to {high:g}"
        raise QuantityError(f"{what} of {value} {unit} cannot be; state {span} {unit}.")
