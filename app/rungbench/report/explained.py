"""What may be behind a verdict, what was not proven, and what a report is not."""

from collections.abc import Iterator
from typing import Final

from rungbench.archive.record import Record, RunVerdict
from rungbench.qualify.findings import NO_EXPLANATION, explain
from rungbench.qualify.scope import CANNOT_PROVE, CAUTIONS, NO_CERTIFICATION
from rungbench.report.evidence import Evidence
from rungbench.report.lines import FAINT, Style, one_line
from rungbench.report.sheet import LEFT, WIDTH, Sheet
from rungbench.report.table import (
    BODY,
    SMALL,
    STRONG,
    Cell,
    cell,
    columns,
    heading,
    pairs,
    paragraph,
    table,
)
from rungbench.report.verdicts import troubled, verdict_line

NOT_A_CERTIFICATE: Final = (
    "This is an inspection report of what was seen at the control-pilot contact of one charger on "
    "one day. It is no certificate, no type approval and no proof of electrical safety."
)
_OPEN: Final = columns(("Check", 150), ("", 74), ("Why", 287))
_FINE: Final = Style(6.4, colour=FAINT)


def draw_findings(sheet: Sheet, record: Record) -> None:
    """Ranked explanations with their evidence."""
    found = explain(record)
    if not found and record.verdict is RunVerdict.PASS:
        return
    heading(sheet, "What may be behind it")
    if not found:
        paragraph(sheet, NO_EXPLANATION)
    for number, one in enumerate(found, start=1):
        sheet.need(52.0)
        sheet.down(3.0)
        paragraph(sheet, f"{number}. {one.cause} ({one.weight.name.lower()})", STRONG)
        told = [("where", one.where), *(("because", text) for text in one.evidence)]
        for name, text in (*told, ("next", one.next)):
            _indented(sheet, name, text)


def _indented(sheet: Sheet, name: str, text: str) -> None:
    paragraph(sheet, f"{name}: {text}", BODY, indent=12.0)


def draw_scope(sheet: Sheet, record: Record) -> None:
    """What was not proven in this run, and what no run can prove."""
    heading(sheet, "What did not pass, and what was not proven")
    rows = tuple(_open_rows(record))
    if rows:
        table(sheet, _OPEN, rows)
    else:
        paragraph(sheet, "Every planned check was made and decided.")
    sheet.down(4.0)
    paragraph(sheet, f"No run at the pilot contact proves: {', '.join(CANNOT_PROVE)}.")
    heading(sheet, "What this is not, and cautions")
    paragraph(sheet, f"{NOT_A_CERTIFICATE} {NO_CERTIFICATION}")
    for caution in CAUTIONS:
        paragraph(sheet, caution)


def _open_rows(record: Record) -> Iterator[tuple[Cell, ...]]:
    for result in troubled(record):
        verdict = (verdict_line(result.verdict.value, BODY.size),)
        title = cell(_OPEN[0], (result.title, BODY), (_role(result.role.value), SMALL))
        yield title, verdict, cell(_OPEN[2], (result.why, BODY))
    done = {one.check for one in record.checks}
    gone = dict(record.header.left_out)
    for check in record.header.planned:
        if check not in done and check not in gone:
            yield _plainly(check, "not reached", record.interrupted or "")
    for check, why in record.header.left_out:
        yield _plainly(check, "left out", why)


def _role(role: str) -> str:
    return "" if role == "required" else role


def _plainly(check: str, word: str, why: str) -> tuple[Cell, ...]:
    faint = Style(BODY.size, colour=FAINT)
    return (
        cell(_OPEN[0], (check, BODY)),
        cell(_OPEN[1], (word, faint)),
        cell(_OPEN[2], (why, BODY)),
    )


def draw_integrity(sheet: Sheet, evidence: Evidence) -> None:
    """Hash of the record, and the captures that it rests on."""
    record = evidence.record
    heading(sheet, "Integrity")
    pairs(sheet, (("Record", record.run_id), ("SHA-256", evidence.sha256)))
    uses = {key for result in record.checks for key in result.captures}
    told = (
        f"Captures of samples and edges: {len(record.capture_names)}, judged of them: {len(uses)}. "
        "The archive holds them under keys that are hashes (SHA-256) of their content and origin; "
        "here the first 20 digits."
    )
    paragraph(sheet, told if record.capture_names else "The run left no captures.", SMALL)
    sheet.down(3.0)
    names, gone = record.capture_names, dict(record.expired)
    for two in (names[at : at + 2] for at in range(0, len(names), 2)):
        sheet.need(_FINE.leading)
        top = sheet.y
        for column, (name, key) in enumerate(two):
            x = LEFT + column * 0.5 * WIDTH
            told = f"{key[:20]} expired" if key in gone else key[:20]
            for at, text, room in ((0.0, name, 138.0), (142.0, told, 110.0)):
                sheet.y = top
                sheet.put((one_line(text, room, _FINE),), x + at)
