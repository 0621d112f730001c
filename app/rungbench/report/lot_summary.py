"""The first page about a lot: what was decided, by which plan, and what the plan risks."""

from itertools import pairwise
from typing import Final

from rungbench.lots.characteristic import risks
from rungbench.lots.decision import Counted, LotDecision, both_ways
from rungbench.lots.lot import Lot, LotState
from rungbench.lots.wording import counted_line, plan_lines, risk_lines
from rungbench.qualify.scope import CANNOT_PROVE, CAUTIONS
from rungbench.report.figures import moment
from rungbench.report.lines import FAINT, Style, wrapped
from rungbench.report.lot_curve import CURVE_HEIGHT, draw_curve
from rungbench.report.lot_evidence import LotEvidence
from rungbench.report.lot_scope import NOT_ABOUT_OTHERS
from rungbench.report.marks import draw_code
from rungbench.report.sheet import LEFT, RIGHT, WIDTH, Sheet, plain
from rungbench.report.table import BODY, draw_foot, heading, narrow_pairs, paragraph
from rungbench.report.verdicts import decision_colour, decision_line, verdict_line

_CODE: Final = 78.0
_LISTED: Final = 6
_MEANING: Final = {
    LotDecision.ACCEPT: "No more units of the sample can have failed than the plan allows.",
    LotDecision.REJECT: "More units of the sample failed than the plan allows.",
    LotDecision.OPEN: "Not decided. That is no acceptance.",
}


def draw_lot_summary(sheet: Sheet, evidence: LotEvidence) -> None:
    """A page of its own."""
    state = evidence.state
    sheet.turn()
    _draw_top(sheet, evidence)
    _draw_identity(sheet, state)
    _draw_plan(sheet, state.lot)
    _draw_arithmetic(sheet, state)
    heading(sheet, "Operating characteristic", CURVE_HEIGHT)
    draw_curve(sheet, state.lot.plan)
    for line in risk_lines(state.lot.plan, risks(state.lot.plan)):
        paragraph(sheet, line, BODY)
    _draw_notable(sheet, evidence, _fine_print(sheet))


def decision_of(state: LotState) -> LotDecision:
    """What was decided when the lot was closed, or is certain so far."""
    return state.standing.decision if state.end is None else state.end.decision


def _draw_top(sheet: Sheet, evidence: LotEvidence) -> None:
    """Title, decision in a frame, QR code."""
    state, page, top = evidence.state, sheet.page, sheet.y
    page.text(LEFT, top - 16.0, plain("Lot inspection report", 17.0, bold=True))
    under = "AC chargers at the control-pilot contact, sampling by attributes"
    page.text(LEFT, top - 28.0, plain(under, 8.5, colour=FAINT))
    draw_code(page, evidence.code, (RIGHT - _CODE, top - _CODE), _CODE)
    decision = decision_of(state)
    line = decision_line(decision, 22.0)
    box = (WIDTH - _CODE - 24.0, 40.0)
    page.box(LEFT, top - 78.0, box, stroke=decision_colour(decision), thin=1.6)
    page.text(LEFT + 10.0, top - 66.0, line)
    x = LEFT + 24.0 + line.width
    room = LEFT + box[0] - x - 6.0
    lines = (
        *wrapped(_MEANING[decision], room, Style(8.6), most=2),
        *wrapped(_closed(state), room, Style(7.4), most=2),
    )
    y = top - 54.0 + 3.0 * (len(lines) - 1)
    for one in lines:
        page.text(x, y, one)
        y -= one.style.leading
    sheet.y = top - _CODE - 10.0


def _closed(state: LotState) -> str:
    end = state.end
    if end is None:
        return "The inspection is not closed; units may still be tested."
    by = f" by {end.operator}" if end.operator else ""
    reason = f" {end.reason}" if end.reason else ""
    return f"Closed {moment(end.closed)}{by}.{reason}"


def _draw_identity(sheet: Sheet, state: LotState) -> None:
    lot, plan = state.lot, state.lot.plan
    left = (
        ("Lot", lot.name, 2),
        ("Supplier", lot.supplier, 2),
        ("Maker", lot.sheet.maker or "", 2),
        ("Model", lot.sheet.model or "", 2),
        ("Size", f"{plan.lot_size} units", 1),
        ("Notes", lot.notes, 2),
        ("Again", _again(state), 2),
    )
    right = (
        ("Made", moment(lot.made), 1),
        ("Operator", lot.operator or "not stated", 1),
        ("First run", _first(state), 1),
        ("Last run", _last(state), 1),
        ("Check plan", f"{lot.basis.plan}, SHA-256 {lot.basis.plan_hash[:16]}…", 1),
        ("Profile", lot.basis.profile, 1),
        ("Sheet", _sheet(lot), 3),
    )
    top = sheet.y
    lowest = min(
        narrow_pairs(sheet, left, LEFT), narrow_pairs(sheet, right, LEFT + 0.5 * WIDTH, top)
    )
    sheet.y = lowest - 2.0


def _again(state: LotState) -> str:
    told = [f"inspected before as lot {state.lot.resubmits}"] if state.lot.resubmits else []
    told += [f"presented again as {', '.join(state.again)}"] if state.again else []
    return "; ".join(told)


def _first(state: LotState) -> str:
    moments = [run.started for unit in state.units for run in unit.runs]
    return moment(min(moments)) if moments else "none yet"


def _last(state: LotState) -> str:
    moments = [run.started for unit in state.units for run in unit.runs]
    return moment(max(moments)) if moments else ""


def _sheet(lot: Lot) -> str:
    sheet = lot.sheet
    stated = (
        ("rated", sheet.rated_current_a, " A"),
        ("set", sheet.set_current_a, " A"),
        ("phases", sheet.phases, ""),
        ("outlet", sheet.outlet, ""),
        ("ventilation", sheet.ventilation, ""),
        ("serial numbers", sheet.serial_pattern, ""),
    )
    told = [f"{name} {_bare(value)}{unit}" for name, value, unit in stated if value is not None]
    return ", ".join(told)


def _bare(value: object) -> str:
    return f"{value:g}" if isinstance(value, float) else str(value)


def _draw_plan(sheet: Sheet, lot: Lot) -> None:
    heading(sheet, "Sampling plan", 40.0)
    for line in plan_lines(lot.plan):
        paragraph(sheet, line)


def _draw_arithmetic(sheet: Sheet, state: LotState) -> None:
    """The counts, and both ways of counting what is open."""
    plan = state.lot.plan
    tally = state.standing.tally if state.end is None else state.end.tally
    heading(sheet, "Decision", 70.0)
    counts = (
        ("pass", "passed", tally.passed),
        ("fail", "failed", tally.failed),
        ("undecided", "undecided", tally.undecided),
        ("not run", "not tested", tally.untested),
    )
    sheet.down(12.0)
    for number, (like, word, count) in enumerate(counts):
        x = LEFT + number * 92.0
        shape = verdict_line(like, 8.0).text[0]
        sheet.page.text(x, sheet.y, plain(f"{shape} {word}", 7.6, colour=FAINT))
        sheet.page.text(x + 62.0, sheet.y, plain(f"{count}", 8.6, bold=True))
    told = plain(f"of {plan.sample_size}", 7.6, colour=FAINT)
    sheet.page.text(LEFT + 4 * 92.0, sheet.y, told)
    sheet.down(4.0)
    best, worst = both_ways(plan, tally)
    for name, counted in (
        ("Undecided and untested units counted as passed", best),
        ("Undecided and untested units counted as failed", worst),
    ):
        _draw_counted(sheet, name, counted_line(plan, counted), counted)
    paragraph(sheet, state.standing.why if state.end is None else _why_closed(state))


def _draw_counted(sheet: Sheet, name: str, told: str, counted: Counted) -> None:
    sheet.down(11.0)
    sheet.page.text(LEFT, sheet.y + 2.0, plain(name, BODY.size))
    colour = decision_colour(counted.decision)
    sheet.page.text(LEFT + 216.0, sheet.y + 2.0, plain(told, BODY.size, colour=colour))


def _why_closed(state: LotState) -> str:
    """The sentence of a closed lot; what its runs come to today, should that be another thing."""
    end = state.end
    if end is None or state.standing.decision is end.decision:
        return state.standing.why
    return (
        f"Closed without a decision. {state.standing.why}"
        if (end.decision is LotDecision.OPEN)
        else f"NOT what the runs come to now: {state.standing.why}"
    )


def _draw_notable(sheet: Sheet, evidence: LotEvidence, floor: float) -> None:
    """What failed, and what was tested again or corrected, as far as there is room."""
    state = evidence.state
    lines = [
        f"{one.title}: failed in {len(one.serials)} ({', '.join(one.serials[:_LISTED])}"
        f"{' and more' if len(one.serials) > _LISTED else ''})"
        for one in evidence.failures
    ]
    lines += [
        f"Unit {unit.number} ({unit.serial}): tested {len(unit.runs)} times; "
        + "; ".join(f"{run.verdict}, again: {after.reason}" for run, after in pairwise(unit.runs))
        for unit in state.units
        if len(unit.runs) > 1
    ]
    lines += _corrected(evidence)
    if not lines:
        return
    heading(sheet, "To be noted", 0.0)
    for text in lines:
        if sheet.y - 2 * BODY.leading < floor:
            sheet.page.text(LEFT, sheet.y - 8.0, plain("More on the following pages.", 7.0))
            return
        sheet.put(wrapped(text, WIDTH, BODY, most=2))


def _corrected(evidence: LotEvidence) -> list[str]:
    """Runs that are of another unit now, or of none, with what they had come to."""
    verdicts = {one.record.run_id: one.record.verdict for one in evidence.runs}
    last = {move.run_id: move for move in evidence.state.moves if move.run_id}
    return [
        f"Record {name} ({verdicts[name]}) "
        + ("was taken OUT OF THE LOT" if move.unit is None else f"is now of unit {move.unit}")
        + f": {move.reason}"
        for name, move in last.items()
    ]


def _fine_print(sheet: Sheet) -> float:
    """What this is not, at the foot of the page; returns where it begins."""
    texts = (
        NOT_ABOUT_OTHERS,
        f"No run at the pilot contact proves: {', '.join(CANNOT_PROVE)}.",
        " ".join(CAUTIONS),
    )
    return draw_foot(sheet, texts, most=3)
