"""Lots in words: decision, what remains, what is known of a unit; no Qt but the locale."""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Final

from rungbench.archive.record import RunVerdict
from rungbench.desktop.figures import localised
from rungbench.lots import drawing
from rungbench.lots.counting import LotRun, Unit
from rungbench.lots.decision import LotDecision, Outcome, Tally, decide
from rungbench.lots.lot import LotState
from rungbench.lots.sampling import SamplingPlan
from rungbench.lots.switching import FROM_MEMORY, Advice

NOT_TESTED: Final = "not tested"
OUTCOMES: Final = {
    Outcome.PASS: "pass",
    Outcome.FAIL: "fail",
    Outcome.UNDECIDED: "undecided",
    Outcome.UNTESTED: NOT_TESTED,
}
SHAPES: Final = {
    LotDecision.ACCEPT.value: "pass",
    LotDecision.REJECT.value: "fail",
    LotDecision.OPEN.value: "incomplete",
    NOT_TESTED: "not run",
}
"""Words that are no verdicts, with the verdict whose shape and colour stands for them."""

TELLING_NOTHING: Final = (RunVerdict.BENCH_FAULT, RunVerdict.INCOMPLETE)


def decision_of(state: LotState) -> LotDecision:
    """The decision that was written down, else the one that is certain by now."""
    return state.standing.decision if state.end is None else state.end.decision


def may_come_again(state: LotState) -> bool:
    """Whether a lot may be presented again: closed as rejected, and not presented again yet."""
    end = state.end
    return end is not None and end.decision is LotDecision.REJECT and not state.again


def closed_text(state: LotState) -> str:
    """Whether the inspection was ended."""
    if state.end is None:
        return "not closed"
    return "closed undecided" if state.end.decision is LotDecision.OPEN else "closed"


# What remains -------------------------------------------------------------------------------------


def remains(plan: SamplingPlan, tally: Tally) -> str:
    """What would decide the lot, in a sentence; empty once it is decided."""
    if decide(plan, tally).decision is not LotDecision.OPEN:
        return ""
    passes = tally.failed + tally.undecided + tally.untested - plan.accept
    fails = plan.reject - tally.failed
    if tally.untested == 0:
        return "It stays open: nothing is left to test, and no run clears an undecided unit."
    if passes == 1:
        accept = "Accept if the next unit passes"
    elif passes <= tally.untested:
        accept = f"Accept if the next {passes} units pass"
    else:
        accept = (
            f"Even if all that are left pass it stays open: {_may_have_failed(tally.undecided)}"
        )
    if fails > tally.untested:
        return f"{accept}."
    return f"{accept}; reject as soon as {'1 more fails' if fails == 1 else f'{fails} more fail'}."


def _may_have_failed(undecided: int) -> str:
    if undecided == 1:
        return "the undecided one may be a failed one"
    return f"the {undecided} undecided ones may be failed ones"


def both_countings(plan: SamplingPlan, tally: Tally) -> tuple[str, ...]:
    """The sample with its undecided units counted as passed and as failed; empty without any."""
    if not tally.undecided:
        return ()
    count = tally.undecided
    passed = replace(tally, passed=tally.passed + count, undecided=0)
    failed = replace(tally, failed=tally.failed + count, undecided=0)
    return tuple(
        f"{count} undecided counted as {word}: {counted.failed} failed, "
        f"{decide(plan, counted).decision}."
        for word, counted in (("passed", passed), ("failed", failed))
    )


def tally_text(tally: Tally) -> str:
    """The sample in numbers."""
    return (
        f"{tally.passed} passed, {tally.failed} failed, {tally.undecided} undecided, "
        f"{tally.untested} not tested"
    )


def next_text(state: LotState) -> str:
    """The unit to test next, or why there is none."""
    if state.end is not None:
        return "The lot is closed; a new inspection is a lot of its own."
    unit = state.next_unit
    if unit is not None:
        named = f", serial {unit.serial}" if unit.serial else ", serial number not known yet"
        again = f"; its last run was {unit.runs[-1].verdict}" if unit.runs else ""
        return f"Next: unit {unit.number} of {state.lot.plan.lot_size}{named}{again}."
    if state.standing.decision is LotDecision.OPEN:
        return "Close it without a decision, with a reason."
    return "The decision is certain; close the lot to end its inspection."


# Units --------------------------------------------------------------------------------------------


def unit_word(unit: Unit) -> str:
    """What is known of a unit: its outcome; while no run counts, what the last one came to."""
    if unit.outcome is Outcome.UNTESTED and unit.runs:
        return unit.runs[-1].verdict.value
    return OUTCOMES[unit.outcome]


def unit_text(unit: Unit) -> str:
    """A unit in words, for those who do not see it."""
    serial = f", serial {unit.serial}" if unit.serial else ""
    runs = f", {len(unit.runs)} runs" if len(unit.runs) > 1 else ""
    return f"unit {unit.number}{serial}: {unit_word(unit)}{runs}"


RUN_HEADINGS: Final = ("Verdict", "Record, when (UTC), who, why")


def run_cells(unit: Unit, run: LotRun) -> tuple[str, ...]:
    """One run of a unit, as in `RUN_HEADINGS`."""
    return (
        run.verdict.value,
        "; ".join(_remarks(unit, run)),
    )


def _remarks(unit: Unit, run: LotRun) -> Iterator[str]:
    """Which it is, when and by whom it was made, why again, how it ended, whether it counts."""
    by = f" by {run.operator}" if run.operator else ""
    yield f"{run.run_id}, {run.started:%Y-%m-%d %H:%M}{by}"
    if run.reason:
        yield f"tested again: {run.reason}"
    if run.interrupted:
        yield run.interrupted
    if run is unit.counts:
        yield "counts"
    elif run.verdict in TELLING_NOTHING:
        yield "does not count: it says nothing of the charger"
    else:
        yield "does not count: an earlier run does"


# The lot ------------------------------------------------------------------------------------------


def standing_text(state: LotState) -> str:
    """The sample in numbers, with why it is decided or, undecided units there, both countings."""
    standing = state.standing
    decided = standing.decision is not LotDecision.OPEN
    ways = both_countings(state.lot.plan, standing.tally)
    said = (f"{tally_text(standing.tally)}.", *((standing.why,) if decided else ways))
    return " ".join(said)


def remaining_text(state: LotState) -> str:
    """How it was closed, or what would decide it and what to do next."""
    if state.end is not None:
        return end_text(state)
    left = remains(state.lot.plan, state.standing.tally)
    return " ".join(filter(None, (left, next_text(state))))


def end_text(state: LotState) -> str:
    """How the lot was closed; empty if it was not."""
    end = state.end
    if end is None:
        return ""
    without = " without a decision" if end.decision is LotDecision.OPEN else ""
    by = f" by {end.operator}" if end.operator else ""
    reason = f": {end.reason}" if end.reason else ""
    return f"Closed{without} {end.closed:%Y-%m-%d %H:%M} UTC{by}{reason}."


def in_locale(lines: Iterable[str]) -> str:
    """Sentences that were written with points, with the user's decimal sign; one a line."""
    return localised("\n".join(lines))


def asked_text(advice: Advice) -> str:
    """What the switching rules ask for."""
    asked = "no inspection for now" if advice.stopped else f"{advice.severity} inspection"
    return f"Switching rules: {asked}. {advice.why} {FROM_MEMORY}"


def lot_pairs(state: LotState) -> Iterator[tuple[str, str]]:
    """What stands in the lot, in pairs of name and text."""
    lot = state.lot
    by = f" by {lot.operator}" if lot.operator else ""
    yield "Made", f"{lot.made:%Y-%m-%d %H:%M} UTC{by}"
    if lot.resubmits:
        yield "Presented again", f"after lot {lot.resubmits}"
    if state.again:
        yield "Presented again", f"as {', '.join(state.again)}"
    yield "Plan", f"{lot.basis.plan} ({lot.basis.plan_hash[:12]})"
    yield "Limits", f"{lot.basis.profile} ({lot.basis.profile_hash[:12]})"
    yield "Checks", f"{len(lot.basis.planned)} of every unit"
    given = ", chosen by somebody" if lot.seed_given else ""
    source = "the list of serial numbers" if lot.listed else "the places in the lot"
    yield "Seed", f"{lot.seed}{given}"
    yield "Drawn from", f"{source}; {drawing.METHOD}"
    if lot.list_sha256:
        yield "List, SHA-256", lot.list_sha256
    yield "When it was made", asked_text(lot.advice)
    if lot.sheet.serial_pattern:
        yield "Serial numbers", lot.sheet.serial_pattern
    if lot.notes:
        yield "Notes", lot.notes
