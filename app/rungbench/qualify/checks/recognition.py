"""Checks of what the charger takes the vehicle for: windows, cable codes, diode, ventilation."""

from dataclasses import replace
from typing import Final

from pilotsignal.judge import Verdict, judge, withheld
from pilotsignal.limit import Limit, Rule
from pilotsignal.meaning import read_duty
from pilotsignal.standard import DutyKind, Profile
from pilotsignal.standard.rows import Window
from rungbench.archive.record import Role
from rungbench.link.words import CableCode, Rung
from rungbench.qualify.case import Case, Finding, found, observed, without
from rungbench.qualify.checks.kind import CHANGE, OBSERVE, CheckKind
from rungbench.qualify.checks.timing import pulse_of, rating_limit
from rungbench.qualify.counting import counted, exactly, phases_text, told
from rungbench.qualify.evidence import Evidence

_CODES: Final = "IEC 61851-1:2017, Table B.2"


def recognised(case: Case) -> Finding:
    """Whether the charger takes the level for what it is: pulses on B, mains on C and D.

    It must where the level and its uncertainty lie in one window of recognition; between two
    windows either neighbour is right.
    """
    evidence = case.evidence
    level = evidence.measurement.high_plateau_v if evidence.measurement else None
    rung = evidence.applied.reported.rung
    window = case.profile.windows[str(rung)]
    limit = window_limit(case.profile, window)
    if level is None:
        return found(withheld(limit, *case.missing("high_plateau_v")))
    usual = case.against
    if usual is not None and not _taken(case, usual)[0]:
        why = f"On {usual.where}, in the middle of a window, the charger does not act on it either."
        return found(withheld(limit, Verdict.NOT_RUN, why))
    taken, text = _taken(case, evidence)
    inside = judge(level, limit, grounds=case.bench.grounds)
    if inside.verdict is Verdict.UNDECIDED and inside.conformance_probability is None:
        # Nobody can tell in which window it lies.
        return found(inside)
    where = limit.clause
    if inside.verdict is Verdict.PASS:
        wanted = exactly(1, "windows", f"{where}: the level lies in it")
    else:
        either = exactly(1, "windows", f"{where}: between two windows either neighbour is right")
        wanted, text = (
            replace(either, low=0.0),
            f"Between two windows, where either is right; {text}",
        )
    seen = counted("recognised", int(taken), "windows", "what the charger did")
    return found(told(case.judge(seen, wanted), text), quantities=(level,))


def window_limit(profile: Profile, window: Window) -> Limit:
    """The window of recognition of a state, as a limit of its level."""
    return Limit(
        window.low,
        window.high,
        "V",
        profile.label,
        f"{window.source.clause}, window of recognition",
        Rule.GUARDED,
        window.source.confidence,
    )


def _taken(case: Case, evidence: Evidence) -> tuple[bool, str]:
    """Whether the charger acted as on the rung of some evidence, and what it did."""
    rung = evidence.applied.reported.rung
    live = phases_text(evidence.live, f"on {evidence.where}")
    if rung is Rung.B:
        text = f"it offers {'PWM' if evidence.pulsing else 'no PWM'}. {live}"
        return evidence.pulsing and not evidence.live, text
    if rung is Rung.D and case.bench.charger.ventilation != "allow":
        # A charger that refuses ventilation shows that it saw D by keeping mains off.
        return not evidence.live, live
    return bool(evidence.live), live


def cable_code(case: Case) -> Finding:
    """Advertised current against the cable code."""
    code = case.evidence.applied.reported.cable
    if code in (CableCode.OPEN, CableCode.SHORT):
        return _no_offer(case, code)
    limit = cable_limit(case.profile, code)
    pulse = pulse_of(case)
    if pulse is None:
        return found(withheld(limit, *case.missing("pulse width")))
    duty = pulse.duty()
    said = read_duty(duty, case.profile)
    if said.current is None:
        text = said.notice.text if said.notice else said.readings[0].text
        return without(Verdict.UNDECIDED, f"A duty of {duty.value:.2f} % says: {text}.")
    return found(case.judge(said.current, limit), quantities=(duty,))


def cable_limit(profile: Profile, code: CableCode) -> Limit:
    """Highest current that may be offered to a cable of this code."""
    limit = rating_limit(profile, float(code))
    clause = limit.clause.replace("rating", f"{_CODES}, cable of {code} A,", 1)
    return replace(limit, clause=clause)


def _no_offer(case: Case, code: CableCode) -> Finding:
    """Without a plug that it knows a socket offers nothing: no PWM, no mains."""
    count = case.evidence.record.edges.times.size
    what = "no code" if code is CableCode.OPEN else "a shorted code"
    limit = exactly(0, "edges", f"{_CODES}, {what}: no plug")
    judgement = case.judge(counted("pilot_edges", count, "edges", "comparator at 0 V"), limit)
    seen = "it offers PWM." if count else "it offers none."
    return found(told(judgement, f"With {what} at the proximity contact {seen}"), certain=count > 1)


def diode_shown(case: Case) -> Finding:
    """What the charger shows to a vehicle without a diode; no clause says how."""
    evidence = case.evidence
    quantities = evidence.measurement.quantities() if evidence.measurement else {}
    levels = [q for q in (quantities.get("high_plateau_v"), quantities.get("low_plateau_v")) if q]
    shows = "goes on with its PWM" if evidence.pulsing else "stops its PWM"
    mains = phases_text(evidence.seen, f"on {evidence.where}")
    return observed(f"The charger {shows}. {mains}", *levels, shows=shows)


def ventilation(case: Case) -> Finding:
    """Mains on D against what is declared; without a declaration it is shown."""
    declared, live = case.bench.charger.ventilation, len(case.evidence.live)
    text = phases_text(case.evidence.live, f"on {case.evidence.where}")
    phases = counted("mains_phases", live, "phases", "mains senses")
    if declared not in ("allow", "refuse"):
        return observed(f"{text} Nobody declared whether it provides ventilation.", phases)
    wanted = case.bench.charger.phases if declared == "allow" else 0
    limit = exactly(wanted, "phases", f"declared of this charger: it {declared}s ventilation")
    return found(told(case.judge(phases, limit), text), certain=live > wanted)


def straight_to_c(case: Case) -> Finding:
    """What a charger does with a vehicle that asks at once (simplified pilot)."""
    text = phases_text(case.evidence.live, f"on {case.evidence.where}, straight from open")
    live = counted("mains_phases", len(case.evidence.live), "phases", "mains senses")
    return observed(text, live, **{"straight from open to C": "yes" if live.value else "no"})


def digital(case: Case) -> Finding:
    """A duty that asks for digital communication: named, and judged by its own band."""
    pulse = pulse_of(case)
    if pulse is None:
        return without(*case.missing("duty_percent"))
    duty = pulse.duty()
    said = read_duty(duty, case.profile).readings[0]
    if said.kind is not DutyKind.DIGITAL:
        return observed("It does not apply: the charger does not ask for digital communication.")
    return observed(f"{said.text} ({said.clause}).", duty)


def no_mains_digital(case: Case) -> Finding:
    """No mains on C while the duty asks for a digital communication that nobody gives."""
    named = digital(case)
    if named.verdict is not Verdict.OBSERVED or not named.quantities:
        return named
    seen = case.evidence.seen
    phases = counted("mains_phases", len(seen), "phases", "mains senses")
    limit = case.profile.limit("mains_phases_unasked")
    text = phases_text(seen, "on C at a duty that asks for digital communication")
    return found(
        told(case.judge(phases, limit), text), quantities=named.quantities, certain=bool(seen)
    )


KINDS = (
    CheckKind(
        "recognised",
        "Level at the edge of its window recognised",
        recognised,
        compares=True,
        senses_mains=True,
    ),
    CheckKind("cable-code", "Offer within the cable code", cable_code, outlet="socket"),
    CheckKind(
        "diode-shown",
        "Answer to a vehicle without a diode",
        diode_shown,
        role=Role.INDICATIVE,
    ),
    CheckKind("ventilation", "Ventilation as declared", ventilation, senses_mains=True),
    CheckKind(
        "straight-to-c",
        "Straight from open to C",
        straight_to_c,
        steps=OBSERVE | CHANGE,
        role=Role.INDICATIVE,
        senses_mains=True,
    ),
    CheckKind("digital", "Digital communication", digital, role=Role.INDICATIVE),
    CheckKind(
        "no-mains-digital",
        "No mains without the digital communication that the duty asks for",
        no_mains_digital,
        senses_mains=True,
        absence=True,
    ),
)
