"""Checks of frequency, pulse width and the current they stand for."""

from collections.abc import Callable
from dataclasses import dataclass, replace

from pilotsignal.budget import derive
from pilotsignal.judge import Judgement, Verdict, withheld
from pilotsignal.limit import Limit, Rule
from pilotsignal.meaning import Advertised, read_duty
from pilotsignal.quantity import Quantity
from pilotsignal.standard import (
    DutyKind,
    Profile,
    current_of_duty,
    duty_of_current,
    pulse_width_error_us,
)
from rungbench.archive.record import Role
from rungbench.qualify.case import Case, Finding, found, observed, without
from rungbench.qualify.checks.kind import DIGITAL, CheckKind

_NOMINAL_PERIOD_US = 1000.0
LEAST_A = 6.0
# IEC 61851-1:2017, Table A.7: 5 % asks for digital communication, 0.6 A a point from 6 A on.
_DIGITAL_PERCENT = 5.0
_A_PER_PERCENT = 0.6
_LEAST_PERCENT = 10.0
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
    """Pulse width against the nominal duty of the set current, times the measured period.

    A duty that asks for digital communication is judged by the nominal duty of that.
    """
    charger = case.bench.charger
    limit = case.profile.limit("pulse_width_error_us")
    pulse = pulse_of(case)
    if pulse is None:
        return found(withheld(limit, *case.missing(width_name(case.profile))))
    if asks_digital(pulse, case.profile):
        return _digital_width(case, pulse, limit)
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


def asks_digital(pulse: Pulse, profile: Profile) -> bool:
    """Whether a pulse asks for digital communication, so that it offers no current."""
    duty = min(100.0, pulse.duty().value)
    return current_of_duty(duty, profile).kind is DutyKind.DIGITAL


def _digital_width(case: Case, pulse: Pulse, limit: Limit) -> Finding:
    error = derive(
        "pulse_width_error_us",
        "us",
        f"width less {_DIGITAL_PERCENT:g} % of the measured period",
        lambda width, frequency: width - _DIGITAL_PERCENT * 1e4 / frequency,
        (pulse.width_us, pulse.frequency_hz),
    )
    return found(
        case.judge(error, limit),
        quantities=(pulse.width_us, pulse.duty()),
        observations={
            "judged as": f"digital communication, {_DIGITAL_PERCENT:g} % (Table A.7)",
            "width judged at": case.profile.pulse_width_level,
        },
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
    if asks_digital(pulse, case.profile):
        return found(withheld(limit, Verdict.NOT_RUN, DIGITAL))
    duty = pulse.duty()
    said = read_duty(duty, case.profile)
    told = {
        "decoded by": said.readings[0].clause,
        **({"warning": said.readings[0].warning} if said.readings[0].warning else {}),
    }
    if said.notice is not None:
        return _several(case, limit, said)
    if said.current is None or said.readings[0].kind is not DutyKind.CURRENT:
        text = said.readings[0].text
        return without(Verdict.UNDECIDED, f"A duty of {duty.value:.2f} % says: {text}.")
    return found(case.judge(said.current, limit), quantities=(duty,), observations=told)


def _several(case: Case, limit: Limit, said: Advertised) -> Finding:
    """Where a duty may mean several things, only a fail by every one of them is a fail."""
    why = said.notice.text if said.notice else ""
    if len(said.currents) == len(said.readings):
        least = min(said.currents, key=lambda current: current.value)
        judgement = case.judge(least, limit)
        if judgement.verdict is Verdict.FAIL:
            return found(judgement, observations={"warning": why})
    return found(withheld(limit, Verdict.UNDECIDED, why))


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


def least_current(case: Case) -> Finding:
    """Advertised current against the least that a charger may offer."""
    limit = least_limit(case.profile)
    pulse = pulse_of(case)
    if pulse is None:
        return found(withheld(limit, *case.missing(width_name(case.profile))))
    if asks_digital(pulse, case.profile):
        return found(withheld(limit, Verdict.NOT_RUN, DIGITAL))
    duty = pulse.duty()
    current = offered_current(duty, case.profile)
    if current is None:
        return found(withheld(limit, Verdict.UNDECIDED, _said(duty, case.profile)))
    return found(case.judge(current, limit), quantities=(duty,))


def offered_current(duty: Quantity, profile: Profile) -> Quantity | None:
    """What the charger offers by its own table; ``None`` where its duty says no one current.

    Below 10 % the formula of Table A.7 goes on: a vehicle would read 6 A from any duty of 8 to
    10 % (Table A.8), which does not tell how far below its least current a charger is.
    """
    if duty.value >= _LEAST_PERCENT:
        return read_duty(duty, profile).current
    return derive(
        "advertised_current_a",
        "A",
        f"{_A_PER_PERCENT:g} A a point of the duty (Table A.7)",
        lambda percent: _A_PER_PERCENT * percent,
        (duty,),
    )


def _said(duty: Quantity, profile: Profile) -> str:
    said = read_duty(duty, profile)
    text = said.notice.text if said.notice else said.readings[0].text
    return f"A duty of {duty.value:.2f} % says: {text}."


def least_limit(profile: Profile) -> Limit:
    """Least current that a duty can stand for, less what the width tolerance means in ampere."""
    top = rating_limit(profile, LEAST_A)
    clause = top.clause.replace("rating plus", "6 A less").replace(" for +", " for -")
    return replace(top, low=2 * LEAST_A - (top.high or 0.0), high=None, clause=clause)


def _jitter(name: str) -> Callable[[Case], Finding]:
    def shown(case: Case) -> Finding:
        measurement = case.evidence.pulse
        quantity = measurement.quantities()[name] if measurement else None
        if quantity is None:
            return without(*case.missing(name))
        return observed("No clause limits it; it is shown.", quantity)

    return shown


def _edge(name: str) -> Callable[[Case], Finding]:
    def judged(case: Case) -> Finding:
        rung = str(case.evidence.applied.reported.rung)
        return found(case.judge_measured(name, case.profile.limit(name, rung)))

    return judged


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
    CheckKind("least-current", "Advertised current not below 6 A", least_current),
    CheckKind(
        "width-jitter", "Jitter of the width", _jitter("width_jitter_us"), role=Role.INDICATIVE
    ),
    CheckKind(
        "period-jitter", "Jitter of the period", _jitter("period_jitter_us"), role=Role.INDICATIVE
    ),
    CheckKind(
        "rise-time",
        "Rise time at the contact",
        _edge("rise_time_us"),
        role=Role.INDICATIVE,
        needs_row="rise_time_us",
    ),
    CheckKind(
        "fall-time",
        "Fall time at the contact",
        _edge("fall_time_us"),
        role=Role.INDICATIVE,
        needs_row="fall_time_us",
    ),
    CheckKind("duty-change", "Duty unchanged", duty_change, role=Role.INDICATIVE, compares=True),
)
