"""Lots on the terminal: plan, decision, units, figures of every judged quantity."""

from collections import Counter
from collections.abc import Sequence
from typing import Final

from rich.console import Console
from rich.table import Table
from rich.text import Text

from rungbench.archive.record import RunVerdict
from rungbench.cli.terminal import (
    FACES,
    SIMULATED,
    PageConsole,
    printable,
    safe,
    verdict_text,
)
from rungbench.lots import drawing
from rungbench.lots.characteristic import curve, risks
from rungbench.lots.counting import LotRun, Unit
from rungbench.lots.decision import LotDecision, Tally
from rungbench.lots.failures import Failure
from rungbench.lots.lot import Lot, LotState
from rungbench.lots.sampling import SamplingPlan
from rungbench.lots.switching import FROM_MEMORY
from rungbench.lots.values import Series
from rungbench.lots.variables import Summary
from rungbench.lots.wording import plan_lines, risk_lines

_FACES: Final = {
    LotDecision.ACCEPT: ("pass", "accept"),
    LotDecision.REJECT: ("fail", "reject"),
    LotDecision.OPEN: ("incomplete", "open"),
}
_BAR: Final = 40
_WIDE: Final = 100


def decision_text(decision: LotDecision, console: Console) -> Text:
    """A decision: shape, word, colour."""
    like, word = _FACES[decision]
    face = FACES[like]
    shape = face.shape if console.encoding.lower().startswith("utf") else face.plain
    return Text(f"{shape} {word}", style=face.colour)


def print_plan(plan: SamplingPlan) -> None:
    """A sampling plan with its risks and its operating characteristic."""
    console = PageConsole()
    for line in plan_lines(plan):
        console.print(line, soft_wrap=True)
    for line in risk_lines(plan, risks(plan)):
        console.print(line, soft_wrap=True)
    console.print()
    console.print("Operating characteristic: probability that a lot is accepted", style="bold")
    table = Table(box=None, pad_edge=False, header_style="bold")
    for title in ("Units that fail", "Percent", "Accepted", ""):
        table.add_column(title, justify="left" if not title else "right", no_wrap=True)
    mark = "█" if console.encoding.lower().startswith("utf") else "#"
    for point in curve(plan):
        bar = mark * round(point.probability * _BAR)
        percent, probability = f"{point.percent:.3g} %", f"{100 * point.probability:.1f} %"
        table.add_row(str(point.nonconforming), percent, probability, bar)
    console.print(table)


def print_new(state: LotState) -> None:
    """A lot that was just made."""
    console = PageConsole()
    _print_head(console, state.lot)
    for line in risk_lines(state.lot.plan, risks(state.lot.plan)):
        console.print(line, soft_wrap=True)
    console.print()
    console.print("Units of the sample", style="bold")
    named = (
        f"{one.number}: {one.serial}" if one.serial else str(one.number) for one in state.units
    )
    console.print(safe(", ".join(named)))


def _print_head(console: Console, lot: Lot) -> None:
    head = Text(f"{SIMULATED} " if lot.simulated else "", style="bold")
    head.append_text(safe(f"Lot {lot.name}", "bold"))
    head.append_text(safe(f", supplier {lot.supplier}, {lot.sheet.maker} {lot.sheet.model}"))
    console.print(head, soft_wrap=True)
    made = f"Made {lot.made:%Y-%m-%d %H:%M} UTC"
    made += f" by {lot.operator}" if lot.operator else ""
    made += f"; presented again after lot {lot.resubmits}" if lot.resubmits else ""
    console.print(safe(f"{made}; plan {lot.basis.plan}, profile {lot.basis.profile}."))
    if lot.notes:
        console.print(safe(lot.notes))
    for line in plan_lines(lot.plan):
        console.print(line, soft_wrap=True)
    given = ", which somebody chose" if lot.seed_given else ""
    source = "the list of serial numbers" if lot.listed else "the places of the lot"
    console.print(f"Drawn from {source} with seed {lot.seed}{given}: {drawing.METHOD}.")
    asked = "no inspection" if lot.advice.stopped else str(lot.advice.severity)
    console.print(safe(f"Switching rules: {asked}. {lot.advice.why} {FROM_MEMORY}"))


def print_standing(state: LotState) -> None:
    """The decision so far, and what to do next."""
    console = PageConsole()
    mark = f"{SIMULATED} " if state.lot.simulated else ""
    console.print(safe(f"{mark}Lot {state.lot.name}", "bold"), _decision(state, console))
    console.print(safe(state.standing.why))
    console.print(safe(_next(state)))


def _decision(state: LotState, console: Console) -> Text:
    end = state.end
    if end is None:
        return decision_text(state.standing.decision, console)
    without = " without a decision" if end.decision is LotDecision.OPEN else ""
    text = decision_text(end.decision, console)
    return text.append(f", closed{without} {end.closed:%Y-%m-%d %H:%M} UTC", style="default")


def _next(state: LotState) -> str:
    if state.end is not None:
        return f"It is closed. {state.end.reason}".strip()
    unit = state.next_unit
    if unit is not None:
        serial = f", serial {unit.serial}" if unit.serial else ""
        return f"Next: unit {unit.number} of {state.lot.plan.lot_size}{serial}{_again(unit)}."
    if state.standing.decision is LotDecision.OPEN:
        return "Nothing is left to test; close it without a decision, with a reason."
    return "It is decided; `rungbench lot close` ends the inspection."


def _again(unit: Unit) -> str:
    if not unit.runs:
        return ""
    return f", again with --retest and a reason, since its last run was {unit.runs[-1].verdict}"


def print_lot(state: LotState, failures: Sequence[Failure], summaries: Sequence[Summary]) -> None:
    """All of a lot."""
    console = PageConsole()
    _print_head(console, state.lot)
    if state.again:
        console.print(safe(f"Presented again as {', '.join(state.again)}."))
    console.print()
    print_standing(state)
    console.print(_tally(state.standing.tally))
    if failures:
        console.print()
        console.print("What failed", style="bold")
        for one in failures:
            units = f"{len(one.serials)}: {', '.join(one.serials)}"
            console.print(safe(f"{one.title} ({one.check})  {units}"))
    _print_moves(console, state)
    _print_summaries(console, summaries)
    console.print()
    console.print(_runs(state, console))


def _print_moves(console: Console, state: LotState) -> None:
    """Runs that had joined as another unit, and why they are of this one."""
    moves = [one for one in state.moves if one.run_id is not None]
    if not moves:
        return
    console.print()
    console.print("Corrections", style="bold")
    for one in moves:
        before = "out of the lot" if one.before is None else f"unit {one.before}"
        now = "out of the lot, it does not count" if one.unit is None else f"unit {one.unit}"
        by = f", {one.operator}" if one.operator else ""
        told = f"{one.run_id}: from {before} to {now} ({one.moved:%Y-%m-%d %H:%M} UTC{by})"
        console.print(safe(printable(f"{told}: {one.reason}")))


def _print_summaries(console: Console, summaries: Sequence[Summary]) -> None:
    telling = [one for one in summaries if not _says_nothing(one)]
    still = [one for one in summaries if _says_nothing(one)]
    if summaries:
        console.print()
    if telling:
        console.print(_quantities(telling, console))
        console.print("Ppk: from the overall deviation (ISO 22514-2). Out: values beyond a limit.")
    if still:
        console.print(safe(_still(still)))


def _tally(tally: Tally) -> str:
    return (
        f"{tally.passed} passed, {tally.failed} failed, {tally.undecided} undecided, "
        f"{tally.untested} not tested"
    )


def _quantities(summaries: Sequence[Summary], console: Console) -> Table:
    wide = console.width >= _WIDE
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("Check", overflow="fold", min_width=12)
    titles = ("n", "Mean", "Deviation", "Unit", "Ppk", *(("at least",) if wide else ()), "Out")
    for title in titles:
        table.add_column(title, justify="right", no_wrap=True)
    table.add_column("Limit", no_wrap=True)
    several = Counter(one.series.name.check for one in summaries)
    for one in summaries:
        series, found, index = one.series, one.spread, one.performance
        name = series.name.check if several[series.name.check] == 1 else series.name.text
        ppk = "" if index is None else f"{index.ppk:.3g}"
        least = "" if index is None else f"{index.low:.3g}"
        table.add_row(
            safe(name),
            str(len(series)),
            "" if found is None else f"{found.mean:.6g}",
            "" if found is None else f"{found.deviation:.2g}",
            series.unit,
            ppk,
            *((least,) if wide else ()),
            str(one.outside),
            _limits(series),
        )
    return table


def _limits(series: Series) -> str:
    if series.note:
        return "differs"
    low = "" if series.low is None else f"{series.low:.5g}"
    high = "" if series.high is None else f"{series.high:.5g}"
    return low if low == high else f"{low}..{high}"


def _still(summaries: Sequence[Summary]) -> str:
    """Quantities that were the same in all units, as counts are."""
    names = [one.series.name.check for one in summaries]
    return f"The same in all units and inside the limit: {', '.join(names)}."


def _says_nothing(one: Summary) -> bool:
    spread = one.spread
    return spread is not None and spread.least == spread.most and one.outside == 0


def _runs(state: LotState, console: Console) -> Table:
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("Unit", justify="right", no_wrap=True)
    table.add_column("Serial", overflow="fold")
    for title in ("Record", "Started (UTC)", "Verdict"):
        table.add_column(title, no_wrap=True)
    table.add_column("Remarks", overflow="fold")
    for unit in state.units:
        if not unit.runs:
            table.add_row(str(unit.number), safe(unit.serial), "", "", "not tested", "")
        for run in unit.runs:
            table.add_row(
                str(unit.number),
                safe(unit.serial),
                run.run_id,
                f"{run.started:%Y-%m-%d %H:%M}",
                verdict_text(run.verdict.value, console),
                safe(_remarks(unit, run)),
            )
    return table


def _remarks(unit: Unit, run: LotRun) -> str:
    words = []
    if run is not unit.counts:
        tells_nothing = run.verdict in (RunVerdict.BENCH_FAULT, RunVerdict.INCOMPLETE)
        words.append("does not count" if not tells_nothing else "says nothing of the charger")
    words += [f"again: {run.reason}"] if run.reason else []
    return printable("; ".join(words))


def print_list(states: Sequence[LotState]) -> None:
    """One line per lot."""
    console = PageConsole()
    if not states:
        console.print("There are no lots yet; `rungbench lot new` makes one.")
        return
    wide = console.width >= _WIDE
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("Lot", overflow="fold", min_width=16)
    table.add_column("Supplier, model" if wide else "Supplier", overflow="fold")
    for title in (*(("Made (UTC)",) if wide else ()), "Size", "n / Ac", "Tested", "Failed"):
        table.add_column(title, justify="right", no_wrap=True)
    table.add_column("Decision", no_wrap=True)
    for state in states:
        lot, tally = state.lot, state.standing.tally
        mark = f"{SIMULATED} " if lot.simulated else ""
        model = f", {lot.sheet.maker} {lot.sheet.model}" if wide else ""
        table.add_row(
            safe(f"{mark}{lot.name}"),
            safe(f"{lot.supplier}{model}"),
            *((f"{lot.made:%Y-%m-%d}",) if wide else ()),
            str(lot.plan.lot_size),
            f"{lot.plan.sample_size} / {lot.plan.accept}",
            str(tally.tested),
            str(tally.failed),
            _decision_word(state, console),
        )
    console.print(table)


def _decision_word(state: LotState, console: Console) -> Text:
    if state.end is None:
        return decision_text(state.standing.decision, console)
    return decision_text(state.end.decision, console).append(", closed", style="default")
