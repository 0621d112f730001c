"""Checks of mains at the outlet: where it must not be, and how fast it comes and goes."""

from pilotsignal.judge import Verdict, withheld
from pilotsignal.limit import Limit
from pilotsignal.response import Instant, elapsed, leaving
from rungbench.link.messages import Event
from rungbench.link.words import TICK_S, TICKS_PER_SECOND, EventKind
from rungbench.qualify.case import Case, Finding, found, observed, without
from rungbench.qualify.checks.kind import CHANGE, DIGITAL, OBSERVE, CheckKind
from rungbench.qualify.checks.widths import asks_digital
from rungbench.qualify.counting import counted, exactly, phases_text, told

# The pilot may move some milliseconds before the board reports the setting as applied.
_EARLY_TICKS = TICKS_PER_SECOND // 50


def no_mains(case: Case) -> Finding:
    """Phases that were live at any time on a rung that does not ask for mains."""
    seen = case.evidence.seen
    phases = counted("mains_phases", len(seen), "phases", "mains senses")
    limit = case.profile.limit("mains_phases_unasked")
    judgement = told(case.judge(phases, limit), phases_text(seen, f"on {case.evidence.where}"))
    return found(judgement, certain=bool(seen))


def no_mains_silent(case: Case) -> Finding:
    """As `no_mains`, on C while the charger offers nothing."""
    if case.evidence.pulsing:
        return observed("It does not apply: the charger offered PWM again by itself.")
    return no_mains(case)


def phases(case: Case) -> Finding:
    """Phases that are live, against what the charger is declared to switch."""
    declared, sensed = case.bench.charger.phases, case.bench.identity.phases_sensed
    if sensed < declared:
        return without(
            Verdict.NOT_RUN, f"The board senses {sensed} of the charger's {declared} phases."
        )
    limit = exactly(declared, "phases", "phases declared of this charger")
    if not case.evidence.live:
        return found(withheld(limit, Verdict.NOT_RUN, "Mains did not come on."))
    live = counted("mains_phases", len(case.evidence.live), "phases", "mains senses")
    text = phases_text(case.evidence.live, f"on {case.evidence.where}, {declared} declared")
    return found(told(case.judge(live, limit), text))


def mains_on(case: Case) -> Finding:
    """Time from the pilot leaving its old level to the first conduction of the slowest phase."""
    evidence = case.evidence
    limit = case.profile.limit(evidence.step.limit)
    if evidence.live_before:
        return found(withheld(limit, Verdict.NOT_RUN, "Mains was on before."))
    if not evidence.live and not evidence.pulsing:
        return found(withheld(limit, *case.missing("mains")))
    if not evidence.live and asks_digital(evidence.record, case.profile):
        return found(withheld(limit, Verdict.NOT_RUN, DIGITAL))
    if not evidence.live:
        return _never(case, limit)
    first = _first_of(evidence.record.mains_events(EventKind.MAINS_ON))
    instants = [_conduction(event) for event in first]
    return _response(case, limit, instants, len(evidence.live))


def mains_off(case: Case) -> Finding:
    """Time from the pilot leaving its old level to the last conduction of the slowest phase."""
    evidence = case.evidence
    limit = case.profile.limit(evidence.step.limit)
    if not evidence.live_before:
        return found(withheld(limit, Verdict.NOT_RUN, "Mains was not on before."))
    if evidence.live:
        return _never(case, limit)
    last = _last_of(evidence.record.mains_events(EventKind.MAINS_OFF))
    instants = [_conduction(event) for event in last]
    return _response(case, limit, instants, len(evidence.live_before))


def _response(case: Case, limit: Limit, ends: list[Instant], phases_moved: int) -> Finding:
    start = _start(case)
    if start is None:
        return found(
            withheld(limit, Verdict.BENCH_FAULT, "The pilot was not seen to leave its old level.")
        )
    if len(ends) < phases_moved:
        return found(
            withheld(limit, Verdict.BENCH_FAULT, "A report of the mains senses did not arrive.")
        )
    slowest = max(ends, key=lambda end: end.tick)
    name = case.evidence.step.limit
    clock = case.bench.calibration.time_base
    return found(case.judge(elapsed(name, limit.unit, (start, slowest), TICK_S, clock), limit))


def _never(case: Case, limit: Limit) -> Finding:
    """Mains did not do what the change asks of it for as long as it was watched.

    The time watched is a lower bound: judged as if mains had moved at the very end.
    """
    record, start = case.evidence.record, _start(case)
    if start is None:
        return found(
            withheld(limit, Verdict.BENCH_FAULT, "The pilot was not seen to leave its old level.")
        )
    end = Instant(float(record.end_tick), 0.0)
    watched = elapsed(
        f"{case.evidence.step.limit}_at_least",
        limit.unit,
        (start, end),
        TICK_S,
        case.bench.calibration.time_base,
    )
    judgement = case.judge(watched, limit)
    if judgement.verdict is Verdict.PASS:
        return without(Verdict.UNDECIDED, "Mains was not watched for as long as the limit.")
    still = "still on" if case.evidence.live else "still off"
    return found(told(judgement, f"Mains was {still} after {watched.value:.4g} {watched.unit}."))


def _start(case: Case) -> Instant | None:
    evidence = case.evidence
    capture, window = evidence.record.capture, evidence.window
    if capture is None or window is None:
        return None
    return leaving(capture, window, TICK_S, evidence.applied.tick - _EARLY_TICKS)


def _first_of(events: tuple[Event, ...]) -> list[Event]:
    """The first event of each phase."""
    return _last_of(events[::-1])


def _last_of(events: tuple[Event, ...]) -> list[Event]:
    """The last event of each phase: contacts bounce."""
    return list({event.phase: event for event in events}.values())


def _conduction(event: Event) -> Instant:
    """First or last conduction; the contact itself moved within the interval of the event."""
    return Instant(float(event.tick), float(event.interval_ticks))


KINDS = (
    CheckKind(
        "no-mains",
        "No mains on the outlet",
        no_mains,
        steps=OBSERVE | CHANGE,
        senses_mains=True,
        absence=True,
    ),
    CheckKind(
        "no-mains-silent",
        "No mains while the charger offers nothing",
        no_mains_silent,
        senses_mains=True,
        absence=True,
    ),
    CheckKind("phases", "Phases as declared", phases, steps=OBSERVE | CHANGE, senses_mains=True),
    CheckKind(
        "mains-on",
        "Mains on in time",
        mains_on,
        steps=CHANGE,
        senses_mains=True,
        by_step_limit=True,
    ),
    CheckKind(
        "mains-off",
        "Mains off in time",
        mains_off,
        steps=CHANGE,
        senses_mains=True,
        by_step_limit=True,
    ),
)
