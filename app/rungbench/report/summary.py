"""The first page about a record: whatever it holds, it fits this one page."""

from collections.abc import Iterator, Sequence
from typing import Final

from pilotsignal.judge import Verdict
from rungbench.archive.record import CheckResult, Record, Role, RunVerdict
from rungbench.qualify.findings import NO_EXPLANATION, explain
from rungbench.qualify.scope import CANNOT_PROVE, CAUTIONS
from rungbench.report.digest import code_text
from rungbench.report.evidence import Evidence
from rungbench.report.explained import NOT_A_CERTIFICATE
from rungbench.report.figures import amperes, moment
from rungbench.report.lines import FAINT, INK, Line, Style, one_line, wrapped
from rungbench.report.marks import draw_code
from rungbench.report.provenance import confirm, validity
from rungbench.report.scale import bands, draw_scale, marks, scale_height
from rungbench.report.sheet import LEFT, RIGHT, WIDTH, Sheet, plain
from rungbench.report.standing import remarks
from rungbench.report.table import BODY, SMALL, STRONG, draw_foot, narrow_pairs
from rungbench.report.verdicts import COLOURS, counted, idle, meaning, troubled, verdict_line

_CODE: Final = 78.0
_MARKS: Final = 8
_LISTED: Final = 7
_CAUSES: Final = 3
_HEAD: Final = Style(9.0, bold=True)
_REMARK: Final = Style(8.0, bold=True)
_NO_BANDS: Final = "the windows of this record's profile are not at hand"
_COUNTED: Final = tuple(Verdict)


def draw_summary(sheet: Sheet, evidence: Evidence) -> None:
    """A page of its own."""
    record = evidence.record
    sheet.turn()
    _draw_top(sheet, evidence)
    _draw_remarks(sheet, record)
    _draw_identity(sheet, record)
    _draw_counts(sheet, record)
    _draw_levels(sheet, record)
    floor = _fine_print(sheet, evidence)
    _draw_trouble(sheet, record, floor)


def _draw_top(sheet: Sheet, evidence: Evidence) -> None:
    """Title, verdict in a frame, QR code."""
    record = evidence.record
    page, top = sheet.page, sheet.y
    page.text(LEFT, top - 16.0, plain("Inspection report", 17.0, bold=True))
    page.text(LEFT, top - 28.0, plain("AC charger at the control-pilot contact", 8.5, colour=FAINT))
    draw_code(page, code_text(record.run_id, evidence.sha256), (RIGHT - _CODE, top - _CODE), _CODE)
    page.right_text(RIGHT - 4.0, top - _CODE - 5.0, plain(record.run_id, 7.0, colour=FAINT))
    verdict = record.verdict.value
    line = verdict_line(verdict, 22.0)
    box = (WIDTH - _CODE - 24.0, 40.0)
    page.box(LEFT, top - 78.0, box, stroke=COLOURS[verdict], thin=1.6)
    page.text(LEFT + 10.0, top - 66.0, line)
    x = LEFT + 24.0 + line.width
    room = LEFT + box[0] - x - 6.0
    lines = wrapped(meaning(record.verdict), room, Style(8.6), most=2)
    if record.interrupted:
        why = f"Interrupted: {record.interrupted}"
        lines = (*lines[:1], *wrapped(why, room, Style(7.4), most=2))
    y = top - 58.0 + 5.0 * (len(lines) - 1)
    for one in lines:
        page.text(x, y, one)
        y -= one.style.leading
    sheet.y = top - _CODE - 14.0


def _draw_remarks(sheet: Sheet, record: Record) -> None:
    """What was said of the record since, or what it was made from: nobody may miss it."""
    for text in remarks(record):
        for line in wrapped(text, WIDTH - 16.0, _REMARK, most=3):
            sheet.down(line.style.leading)
            sheet.page.rule(LEFT + 2.0, sheet.y - 2.0, (LEFT + 2.0, sheet.y + 7.0), thin=2.0)
            sheet.page.text(LEFT + 8.0, sheet.y, line)
        sheet.down(4.0)


def _draw_identity(sheet: Sheet, record: Record) -> None:
    """Two columns: the charger, and the run."""
    header, charger = record.header, record.header.charger
    set_current = amperes(charger.set_current_a)
    left = (
        ("Maker", charger.maker, 2),
        ("Model", charger.model, 2),
        ("Serial", charger.serial, 2),
        ("Current", f"rated {amperes(charger.rated_current_a)}, set current {set_current}", 1),
        ("Outlet", f"{charger.outlet}, {charger.phases} phases".replace("1 phases", "1 phase"), 1),
        ("Notes", charger.notes, 2),
    )
    right = (
        ("Record", record.run_id, 1),
        ("Started", moment(header.started), 1),
        ("Ended", "no end recorded" if record.finished is None else moment(record.finished), 1),
        ("Operator", header.operator or "not stated", 1),
        ("Plan", header.plan, 1),
        ("Profile", header.profile, 1),
        ("Board", f"{header.board.get('board_id', 'not stated')}", 1),
        ("Calibration", f"{header.calibration.get('id', 'none')}, {validity(header)}", 2),
    )
    top = sheet.y
    lowest = min(
        narrow_pairs(sheet, left, LEFT), narrow_pairs(sheet, right, LEFT + 0.5 * WIDTH, top)
    )
    sheet.y = lowest - 4.0


def _draw_counts(sheet: Sheet, record: Record) -> None:
    """How many checks of each role came to which verdict."""
    page = sheet.page
    step = (WIDTH - 70.0) / len(_COUNTED)
    sheet.down(10.0)
    page.text(LEFT, sheet.y, plain("Checks", _HEAD.size, bold=True))
    for number, verdict in enumerate(_COUNTED):
        page.text(LEFT + 70.0 + number * step, sheet.y, verdict_line(verdict.value, 7.4))
    page.rule(LEFT, sheet.y - 3.0, (RIGHT, sheet.y - 3.0), stroke=INK, thin=0.6)
    sheet.down(3.0)
    for role in Role:
        sheet.down(10.0)
        page.text(LEFT, sheet.y, plain(role.value, 7.4))
        for number, (verdict, count) in enumerate(counted(record.checks, role).items()):
            bold = role is Role.REQUIRED and count > 0
            text = f"{count}" if count else "–"
            colour = COLOURS[verdict.value] if bold else FAINT
            page.text(
                LEFT + 78.0 + number * step, sheet.y, plain(text, 7.6, bold=bold, colour=colour)
            )
    sheet.down(8.0)


def _draw_levels(sheet: Sheet, record: Record) -> None:
    """The voltage scale with what was measured on it."""
    shown = marks(record, _MARKS)
    sheet.down(10.0)
    sheet.page.text(LEFT, sheet.y, plain("Voltage scale", _HEAD.size, bold=True))
    grey = "grey: states as a charger must tell them apart" if bands(record) else _NO_BANDS
    told = f"{grey}; blue: limit; mark: measured with U (95 %)"
    sheet.page.right_text(RIGHT, sheet.y, plain(told, 6.4, colour=FAINT))
    sheet.down(4.0)
    draw_scale(sheet.page, sheet.y, record, shown)
    sheet.down(scale_height(len(shown)) + 6.0)


def _fine_print(sheet: Sheet, evidence: Evidence) -> float:
    """What this is not, at the foot of the page; returns where it begins."""
    texts = (
        NOT_A_CERTIFICATE,
        f"No run at the pilot contact proves: {', '.join(CANNOT_PROVE)}.",
        " ".join(CAUTIONS),
        confirm(evidence.record.header),
        f"SHA-256 of the record {evidence.sha256}",
    )
    return draw_foot(sheet, texts, most=2)


def _draw_trouble(sheet: Sheet, record: Record, floor: float) -> None:
    """As much of what did not pass, and of what may be behind it, as there is room for."""
    for line in _trouble_lines(record):
        if sheet.y - line.style.leading - 12.0 < floor:
            more = "More on the following pages."
            sheet.page.text(LEFT, sheet.y - 9.0, plain(more, SMALL.size, colour=FAINT))
            return
        sheet.y -= line.style.leading
        sheet.page.text(LEFT, sheet.y, line)


def _trouble_lines(record: Record) -> Iterator[Line]:
    every = troubled(record)
    results = [one for one in every if not idle(one)]
    if results:
        yield plain("What did not pass", _HEAD.size, bold=True)
    groups = _alike(results)
    for alike in groups[:_LISTED]:
        first = alike[0]
        word = verdict_line(first.verdict.value, BODY.size).text
        titles = ", ".join(_titled(one) for one in alike)
        told = f"{titles}: {first.why}" if len(alike) == 1 else f"{first.why} So in: {titles}"
        style = Style(BODY.size, colour=COLOURS[first.verdict.value])
        yield from wrapped(f"{word}  {told}", WIDTH, style, most=3)
    left = sum(len(alike) for alike in groups[_LISTED:])
    if left:
        yield plain(f"and {left} more", SMALL.size, colour=FAINT)
    yield from _cause_lines(record)
    if len(every) > len(results):
        number = len(every) - len(results)
        told = f"{number} optional or indicative check{'s' if number > 1 else ''} not run"
        yield plain(f"{told}: the reasons stand on a later page.", SMALL.size, colour=FAINT)


def _alike(results: Sequence[CheckResult]) -> list[list[CheckResult]]:
    """Results in their order; those of one verdict and one reason together."""
    groups: dict[tuple[Verdict, str], list[CheckResult]] = {}
    for one in results:
        groups.setdefault((one.verdict, one.why), []).append(one)
    return list(groups.values())


def _titled(result: CheckResult) -> str:
    role = "" if result.role is Role.REQUIRED else f" ({result.role.value})"
    return f"{result.title}{role}"


def _cause_lines(record: Record) -> Iterator[Line]:
    causes = explain(record)
    if causes or record.verdict is not RunVerdict.PASS:
        yield plain(" ", 3.0)
        yield plain("What may be behind it", _HEAD.size, bold=True)
        if not causes:
            yield plain(NO_EXPLANATION, BODY.size)
    for number, one in enumerate(causes[:_CAUSES], start=1):
        weight = one.weight.name.lower()
        yield one_line(f"{number}. {one.cause} ({weight})", WIDTH, STRONG)
        yield one_line(f"    where: {one.where}", WIDTH, BODY)
        yield from wrapped(f"    next: {one.next}", WIDTH, BODY, most=2)
