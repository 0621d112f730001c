"""What states, duties and notices mean, in words, and what to do about them; no widgets."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING, Final

from pilotsignal.notices import Notice
from pilotsignal.standard import DutyKind, Profile, current_of_duty
from rungbench.desktop.figures import localised, number

if TYPE_CHECKING:
    from pilotsignal.measure import PilotMeasurement

_STATES: Final = {
    "A": "no vehicle connected",
    "B": "vehicle connected, not ready",
    "C": "vehicle ready, the outlet may be live",
    "D": "vehicle ready and asks for ventilation, the outlet may be live",
    "E": "pilot at 0 V: shorted to PE, or the charger is off",
    "F": "charger not available",
    "invalid": "a level at which no state is defined",
}
WHAT_TO_DO: Final[Mapping[str, str]] = MappingProxyType(
    {
        "no-pwm": "If pulses are expected, authorise the charger as its user would.",
        "too-few-periods": "Record longer.",
        "coherent-sampling": "Use another sample rate, or record longer.",
        "edges-unresolved": "Sample finer in time to see the edges.",
        "clipped": "Check range and wiring of the front end.",
        "outliers": "Look for contact trouble or interference on the pilot.",
        "not-periodic": "Check the wiring; a charger that changes its pulses settles in 10 s.",
        "hum": "Shorten the pilot's return and keep it away from mains.",
        "missing-samples": "Check the USB cable; nothing that is missing was filled in.",
        "inverted": "Swap pilot and return, or the leads of the probe.",
        "low-contrast": "Check that the pilot reaches the front end.",
        "coarse-voltage": "Sample finer in voltage before judging levels.",
        "uncalibrated": "Calibrate the board, or state gain and offset uncertainty.",
        "not-pilot": "Check what is connected to the contact.",
        "two-currents": "Set another current, or record longer.",
        "duty-step": "The charger changed its offer; measure again after it.",
        "duty-drift": "Wait until the charger has settled.",
        "frequency-step": "The charger's timer jumps; look at its clock.",
        "frequency-drift": "Let charger and board warm up.",
        "level-step": "Something changed the load or the supply; measure again after it.",
        "level-drift": "Let the charger warm up; look at its rails.",
        "noise-burst": "Look for a loose contact or a switching supply nearby.",
        "pwm-pause": "The charger stopped its pulses for a while.",
    }
)


def state_text(found: "PilotMeasurement | None") -> str:
    """State by name and in words; both neighbours in a grey band."""
    if found is None:
        return "not measured yet"
    if not found.state:
        return "no state: the level is not known"
    names = [f"{name}: {_STATES[name.rstrip('12')]}" for name in found.state]
    return ", or ".join(names)


def duty_text(found: "PilotMeasurement | None", profile: Profile) -> str:
    """What the duty says to a vehicle."""
    if found is None:
        return ""
    if found.pwm_on is False:
        return "steady level: no current is offered"
    duty = found.duty_percent
    if duty is None:
        return "no duty was measured"
    if found.advertised_current_a is None and found.has("two-currents"):
        return "between two readings of the table; see the notice"
    decoded = current_of_duty(min(100.0, max(0.0, duty.value)), profile)
    if decoded.kind is DutyKind.CURRENT and decoded.current_a is not None:
        return f"offers up to {number(decoded.current_a, 1)} A per phase"
    return decoded.text


def notice_text(notice: Notice) -> str:
    """What it is and what to do."""
    return localised(f"{notice.text} {WHAT_TO_DO.get(notice.code, '')}".strip())
