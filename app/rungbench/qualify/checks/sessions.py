"""Checks of a session: quick toggling, recovery from faults, state F."""

from typing import Final

import numpy as np

from pilotsignal.judge import Verdict
from pilotsignal.response import Instant, elapsed
from rungbench.archive.record import Role
from rungbench.link.words import TICK_S
from rungbench.qualify.case import Case, Finding, found, observed, without
from rungbench.qualify.checks.kind import CHANGE, OBSERVE, RECOVER, TOGGLE, CheckKind
from rungbench.qualify.counting import counted, exactly, phases_text, told
from rungbench.qualify.evidence import Evidence
from rungbench.standin.record import BoardRecord

# Longer than any low time of a pulse.
_LONGEST_LOW_S: Final = 5e-3
# The edges of the last pulses are sent in blocks of some milliseconds.
_RECENT_S: Final = 0.1


def session_kept(case: Case) -> Finding:
    """Mains on after quick toggling: the charger did not lose the session.

    A charger that goes on pulsing must answer the last C as any other (Table A.6, sequence 4); one
    that withdraws its offer breaks no clause, and that is shown.
    """
    evidence, before = case.evidence, case.against
    if before is None or not before.live:
        return without(Verdict.NOT_RUN, "Mains did not come on C before, so nothing can be lost.")
    clause = case.profile.limit("mains_on_after_c_s").clause
    limit = exactly(len(before.live), "phases", f"{clause}, on the last C of several")
    live = counted("mains_phases", len(evidence.live), "phases", "mains senses")
    holds = ", ".join(f"{hold_s * 1e3:.0f}" for hold_s in evidence.step.holds_s)
    text = f"{phases_text(evidence.live, 'at the end')} It went to and fro after {holds} ms."
    if not evidence.live and not _pulses_at_the_end(evidence):
        return observed(f"The charger withdrew its offer. {text} No clause forbids it.", live)
    return found(told(case.judge(live, limit), text))


def _pulses_at_the_end(evidence: Evidence) -> bool:
    times = evidence.record.edges.times
    late = evidence.record.end_tick - _RECENT_S / TICK_S
    return bool(times.size) and float(times[-1]) > late


def recovery(case: Case) -> Finding:
    """Time from plugging in again to PWM; no clause limits it."""
    evidence = case.evidence
    asked = evidence.asked
    by_hand = "by itself" if asked is None else "only after somebody cleared it"
    if evidence.back is None:
        why = asked.trouble if asked is not None and asked.trouble else "nothing helped."
        return observed(f"The charger offered no PWM again: {why}", recovered="no")
    plugged = Instant(float(evidence.applied.tick), 0.01 / TICK_S)
    back = Instant(float(evidence.back), 0.1 / TICK_S)
    clock = case.bench.calibration.time_base
    time = elapsed("recovery_s", "s", (plugged, back), TICK_S, clock)
    return observed(f"It offers PWM again {by_hand}.", time, recovered=by_hand)


def f_duration(case: Case) -> Finding:
    """How long state F lasts, where the record holds one.

    F is the generator steady on its low rail: low for longer than any pulse, whatever the ladder
    makes of its level at the contact.
    """
    limit = case.profile.limit("f_duration_ms")
    seen = _longest_low(case.evidence.record)
    if seen is None:
        return observed("State F was not seen; nobody can ask for it.")
    start, stop, ended = seen
    name = "f_duration_ms" if ended else "f_duration_ms_at_least"
    time = elapsed(name, "ms", (start, stop), TICK_S, case.bench.calibration.time_base)
    judgement = case.judge(time, limit)
    if not ended and judgement.verdict is not Verdict.PASS:
        return without(Verdict.UNDECIDED, "State F was not recorded to its end.")
    return found(judgement)


def _longest_low(record: BoardRecord) -> tuple[Instant, Instant, bool] | None:
    """Beginning and end of the longest time below 0 V that no pulse explains; whether it ended.

    It may have begun at any time of the low half of the pulse before it.
    """
    edges = record.edges
    if edges.times.size == 0:
        return None
    times = np.append(edges.times.astype(np.float64), float(record.end_tick))
    lasting = np.where(edges.rising, 0.0, np.diff(times))
    for gap in edges.gaps:
        if 0 < gap.index <= lasting.size:
            lasting[gap.index - 1] = 0.0
    at = int(np.argmax(lasting))
    if lasting[at] * TICK_S <= _LONGEST_LOW_S:
        return None
    usual = lasting[(lasting > 0.0) & (lasting * TICK_S <= _LONGEST_LOW_S)]
    half = 0.5 * float(np.median(usual)) if usual.size else 0.0
    doubt = float(edges.quantum_ticks)
    ended = at + 1 < edges.times.size
    start = Instant(float(times[at]) + half, half + doubt)
    return start, Instant(float(times[at + 1]), doubt), ended


KINDS = (
    CheckKind(
        "session-kept",
        "Quick toggling without loss of the session",
        session_kept,
        steps=TOGGLE,
        compares=True,
        senses_mains=True,
    ),
    CheckKind("recovery", "Recovery after a fault", recovery, steps=RECOVER, role=Role.INDICATIVE),
    CheckKind(
        "f-duration",
        "Duration of state F",
        f_duration,
        steps=OBSERVE | CHANGE,
        needs_limit="f_duration_ms",
    ),
)
