"""Checks of what an answered question brings about: new duty, PWM withdrawn, a restart."""

from pilotsignal.judge import Judgement, Verdict, withheld
from pilotsignal.limit import Limit
from pilotsignal.response import Instant, elapsed, silence
from rungbench.link.words import TICK_S, TICKS_PER_SECOND, EventKind
from rungbench.qualify.case import Case, Finding, found, observed, without
from rungbench.qualify.checks.kind import ASK, CHANGE, DIGITAL, CheckKind
from rungbench.qualify.checks.mains import no_mains
from rungbench.qualify.checks.widths import asks_digital, last_change
from rungbench.qualify.counting import told
from rungbench.qualify.evidence import Asked
from rungbench.standin.record import BoardRecord

# Longer than any low time of a pulse: no PWM.
_SILENT_TICKS = TICKS_PER_SECOND / 50


def asked_in_vain(case: Case) -> Finding | None:
    """Why the question of the step came to nothing, or ``None``."""
    asked = case.evidence.asked
    if asked is None:
        return without(Verdict.NOT_RUN, "Nobody was asked.")
    return without(Verdict.NOT_RUN, asked.trouble) if asked.trouble else None


def instant_of(asked: Asked, seen: Instant | None = None) -> Instant:
    """When it was done: somewhere between the question and the answer, and before it was seen."""
    latest = float(asked.answered) if seen is None else min(float(asked.answered), seen.tick)
    half = 0.5 * max(0.0, latest - asked.put)
    return Instant(asked.put + half, half)


def new_duty(case: Case) -> Finding:
    """Time from a new set current to the last change of the width that it brings."""
    limit = case.profile.limit("new_duty_s")
    vain = asked_in_vain(case)
    if vain is not None:
        return vain
    asked = case.evidence.asked
    assert asked is not None
    return found(reaction(case, asked, case.evidence.record, limit))


def reaction(case: Case, asked: Asked, record: BoardRecord, limit: Limit) -> Judgement:
    """Judgement of the reaction to a new set current, by the edges of a record."""
    moved = last_change([record], float(asked.put))
    clock = case.bench.calibration.time_base
    if moved is not None:
        span = (instant_of(asked, moved), moved)
        return case.judge(elapsed("new_duty_s", "s", span, TICK_S, clock), limit)
    end = Instant(float(record.end_tick), 0.0)
    waited = elapsed("new_duty_s_at_least", "s", (instant_of(asked), end), TICK_S, clock)
    judgement = case.judge(waited, limit)
    if judgement.verdict is Verdict.PASS:
        return withheld(limit, Verdict.UNDECIDED, "It was not watched for as long as the limit.")
    return told(judgement, f"The pulse width had not changed after {waited.value:.3g} s.")


def mains_kept(case: Case) -> Finding:
    """Time from the last pulse of a withdrawn PWM to mains off, while the vehicle ignores it."""
    limit = case.profile.limit("pwm_withdrawn_s")
    vain = asked_in_vain(case)
    if vain is not None:
        return vain
    evidence = case.evidence
    if not evidence.live_before:
        why = "Mains was not on before."
        if asks_digital(evidence.record, case.profile):
            why = DIGITAL
        return found(withheld(limit, Verdict.NOT_RUN, why))
    quiet = silence(evidence.record.edges, float(evidence.record.end_tick), _SILENT_TICKS)
    if quiet is None:
        return found(withheld(limit, Verdict.NOT_RUN, "The charger did not withdraw its PWM."))
    return _kept(case, quiet, limit)


def _kept(case: Case, quiet: tuple[Instant, Instant, bool], limit: Limit) -> Finding:
    evidence, (start, stop, ended) = case.evidence, quiet
    clock = case.bench.calibration.time_base
    off = evidence.record.mains_events(EventKind.MAINS_OFF)
    if off and off[0].tick <= stop.tick:
        end = Instant(float(off[0].tick), float(off[0].interval_ticks))
        time = elapsed("mains_off_after_pwm_s", "s", (start, end), TICK_S, clock)
        return found(case.judge(time, limit))
    time = elapsed("mains_off_after_pwm_s_at_least", "s", (start, stop), TICK_S, clock)
    judgement = case.judge(time, limit)
    if judgement.verdict is Verdict.PASS:
        return found(told(judgement, f"Mains was still on after {time.value:.3g} s."))
    if ended:
        return observed(f"The charger pulsed again by itself after {time.value:.3g} s.", time)
    return without(Verdict.UNDECIDED, "Mains was not watched for as long as the limit.")


def steady_held(case: Case) -> Finding:
    """How long the pilot stays steady after the PWM was withdrawn in B."""
    limit = case.profile.limit("b2_to_b1_s")
    vain = asked_in_vain(case)
    if vain is not None:
        return vain
    record = case.evidence.record
    quiet = silence(record.edges, float(record.end_tick), _SILENT_TICKS)
    if quiet is None:
        return found(withheld(limit, Verdict.NOT_RUN, "The charger did not withdraw its PWM."))
    start, stop, ended = quiet
    clock = case.bench.calibration.time_base
    name = "steady_s" if ended else "steady_s_at_least"
    judgement = case.judge(elapsed(name, "s", (start, stop), TICK_S, clock), limit)
    if not ended and judgement.verdict is not Verdict.PASS:
        return without(Verdict.UNDECIDED, "The pilot was not watched for as long as the limit.")
    return found(judgement)


def restarted(case: Case) -> Finding:
    """No mains on open after the charger was switched off and on."""
    return asked_in_vain(case) or no_mains(case)


def pwm_off(case: Case) -> Finding:
    """Time from unplugging to the last pulse."""
    limit = case.profile.limit("pwm_off_unplugged_s")
    evidence = case.evidence
    if evidence.before.rung == "open" or not evidence.pulsing:
        return found(withheld(limit, Verdict.NOT_RUN, "The charger offered no PWM before."))
    record = evidence.record
    clock = case.bench.calibration.time_base
    settle = Instant(float(evidence.applied.tick), TICKS_PER_SECOND / 50)
    quiet = silence(record.edges, float(record.end_tick), _SILENT_TICKS)
    ended = quiet is not None and not quiet[2]
    last = quiet[0] if quiet is not None and ended else Instant(float(record.end_tick), 0.0)
    if last.tick < settle.tick:
        last = settle
    name = "pwm_off_s" if ended else "pwm_off_s_at_least"
    judgement = case.judge(elapsed(name, "s", (settle, last), TICK_S, clock), limit)
    if not ended and judgement.verdict is Verdict.PASS:
        return without(Verdict.UNDECIDED, "The pilot was not watched for as long as the limit.")
    return found(judgement)


KINDS = (
    CheckKind(
        "new-duty", "New set current to new duty", new_duty, steps=ASK, needs_limit="new_duty_s"
    ),
    CheckKind(
        "mains-kept",
        "Mains kept while the vehicle ignores a withdrawn PWM",
        mains_kept,
        steps=ASK,
        senses_mains=True,
        needs_limit="pwm_withdrawn_s",
    ),
    CheckKind(
        "steady-held",
        "Pilot stays steady after the PWM was withdrawn",
        steady_held,
        steps=ASK,
        needs_limit="b2_to_b1_s",
    ),
    CheckKind(
        "no-mains-restart",
        "No mains after the charger's restart",
        restarted,
        steps=ASK,
        senses_mains=True,
        absence=True,
    ),
    CheckKind(
        "pwm-off",
        "PWM ends after unplugging",
        pwm_off,
        steps=CHANGE,
        needs_limit="pwm_off_unplugged_s",
    ),
)
