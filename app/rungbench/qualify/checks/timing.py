"""Checks of frequency, pulse width and the current they stand for."""

from dataclasses import dataclass, replace

from pilotsignal.budget import derive
from pilotsignal.judge import Judgement, Verdict, withheld
from pilotsignal.limit import Limit, Rule
from pilotsignal.quantity import Quantity
from pilotsignal.standard import (
    DecodedDuty,
    DutyKind,
    Profile,
    current_of_duty,
    duty_of_current,
    pulse_width_error_us,
)
from rungbench.archive.record import Role
from rungbench.qualify.case import Case, Finding, found, observed, without
from rungbench.qualify.checks.kind import CheckKind

_NOMINAL_PERIOD_US = 1000.0
STATE_IT = "state the set current (--set-current)"


@dataclass(frozen=True, slots=True)
class Pulse:
    """Width at the profile's level, and frequency, of one record."""

    width_us: Quantity
    frequency_hz: Quantity

    def duty(self) -> Quantity:
        """High time over period, in percent."""
        return derive(
            "duty_percent",
            "%",
            f"{self.width_us.name} over the measured period",
            lambda width, frequency: width * frequency * 1e-4,
            (self.width_us, self.frequency_hz),
        )


def width_name(profile: Profile) -> str:
    """Name of the pulse width that the profile judges."""
    return f"pulse_width_{profile.pulse_width_level}_us"


def pulse_of(case: Case) -> Pulse | None:
    """The pulse of the case's own evidence."""
    measurement = case.evidence.pulse
    if measurement is None or measurement.frequency_hz is None:
        return None
    width = measurement.quantities()[width_name(case.profile)]
    return None if width is None else Pulse(width, measurement.frequency_hz)


def frequency(case: Case) -> Finding:
    """Frequency by the edges; the wider bounds of the parameter table are shown."""
    finding = found(case.judge_measured("frequency_hz", case.profile.limit("frequency")))
    wide = case.profile.limit("frequency_wide")
    note = f"{wide.low:g}..{wide.high:g} {wide.unit} ({wide.clause})"
    return replace(finding, observations={"wider bounds, shown": note})


def pulse_width(case: Case) -> Finding:
    """Pulse width against the nominal duty of the set current, times the measured period."""
    charger = case.bench.charger
    limit = case.profile.limit("pulse_width_error_us")
    pulse = pulse_of(case)
    if pulse is None:
        return found(withheld(limit, *case.missing(width_name(case.profile))))
    assumed = charger.set_current_a is None
    current = charger.rated_current_a if charger.set_current_a is None else charger.set_current_a
    error = pulse_width_error_us(pulse.width_us, pulse.frequency_hz, current, case.profile)
    judgement = case.judge(error, limit)
    if assumed and judgement.verdict is Verdict.FAIL and error.value < 0:
        judgement = _unstated(judgement, case, pulse)
    shown = f"{current:g} A, {'assumed: the rated one' if assumed else 'stated'}"
    return found(
        judgement,
        quantities=(pulse.width_us, pulse.duty()),
        observations={"set current": shown, "width judged at": case.profile.pulse_width_level},
    )


def _unstated(judgement: Judgement, case: Case, pulse: Pulse) -> Judgement:
    """Below the rating nobody can tell a wrong width from a lower setting."""
    offered = current_of_duty(min(100.0, pulse.duty().value), case.profile)
    why = f"The charger advertises {offered.text}, below its rating: {STATE_IT}."
    return replace(judgement, verdict=Verdict.UNDECIDED, why=why, conformance_probability=None)


def advertised_current(case: Case) -> Finding:
    """Advertised current against the rating, with what the width tolerance means in ampere."""
    charger = case.bench.charger
    limit = rating_limit(case.profile, charger.rated_current_a)
    pulse = pulse_of(case)
    if pulse is None:
        return found(withheld(limit, *case.missing(width_name(case.profile))))
    duty = pulse.duty()
    decoded = current_of_duty(min(100.0, max(0.0, duty.value)), case.profile)
    if decoded.current_a is None or decoded.kind is DutyKind.DIGITAL:
        return without(Verdict.UNDECIDED, f"A duty of {duty.value:.2f} % says: {decoded.text}.")
    judgement = case.judge(_advertised(duty, decoded), limit)
    told = {
        "decoded by": decoded.clause,
        **({"warning": decoded.warning} if decoded.warning else {}),
    }
    return found(judgement, quantities=(duty,), observations=told)


def rating_limit(profile: Profile, rated_a: float) -> Limit:
    """Highest current that a charger of this rating may advertise."""
    tolerance = profile.limit("pulse_width_error_us")
    width_us = tolerance.high or 0.0
    nominal = duty_of_current(rated_a, profile).duty_percent
    slope = current_of_duty(nominal, profile).slope_a_per_percent if nominal is not None else 0.0
    more = width_us / _NOMINAL_PERIOD_US * 100.0 * slope
    return Limit(
        low=None,
        high=rated_a + more,
        unit="A",
        profile=profile.label,
        clause=f"rating plus {more:.2g} A for {width_us:+g} us ({tolerance.clause})",
        rule=Rule.GUARDED,
        confidence=tolerance.confidence,
    )


def _advertised(duty: Quantity, decoded: DecodedDuty) -> Quantity:
    at, slope, current = duty.value, decoded.slope_a_per_percent, decoded.current_a or 0.0
    return derive(
        "advertised_current_a",
        "A",
        f"duty by {decoded.clause}",
        lambda percent: current + slope * (percent - at),
        (duty,),
    )


def duty_change(case: Case) -> Finding:
    """Duty here less duty in an earlier step; no clause limits it."""
    here = pulse_of(case)
    there = None if case.against is None else pulse_of(replace(case, evidence=case.against))
    if here is None or there is None:
        return without(*case.missing("duty_percent"))
    change = derive(
        "duty_change_points",
        "%",
        "difference of two duties",
        lambda after, before: after - before,
        (here.duty(), there.duty()),
    )
    unchanged = abs(change.value) <= change.expanded()
    why = (
        "Within its uncertainty unchanged."
        if unchanged
        else "It moved by more than its uncertainty."
    )
    return observed(f"{why} No clause limits it; it is shown.", change)


KINDS = (
    CheckKind("frequency", "Frequency of the pilot", frequency),
    CheckKind("pulse-width", "Pulse width against the set current", pulse_width),
    CheckKind("advertised-current", "Advertised current within the rating", advertised_current),
    CheckKind("duty-change", "Duty unchanged", duty_change, role=Role.INDICATIVE, compares=True),
)
