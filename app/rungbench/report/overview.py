"""The page in front of several records: one line for each, and how many came to which verdict."""

from collections import Counter
from collections.abc import Sequence
from typing import Final

from rungbench.archive.record import Record, RunVerdict
from rungbench.report.explained import NOT_A_CERTIFICATE
from rungbench.report.figures import moment
from rungbench.report.sheet import LEFT, Sheet, plain
from rungbench.report.table import BODY, SMALL, Cell, cell, columns, heading, paragraph, table
from rungbench.report.verdicts import verdict_line

_HEADS: Final = columns(
    ("Record", 74), ("Serial", 100), ("Maker, model", 170), ("Started", 96), ("Verdict", 71)
)


def draw_overview(sheet: Sheet, records: Sequence[Record]) -> None:
    """A page, or as many as the list takes."""
    sheet.turn()
    title = plain(f"Inspection report of {len(records)} runs", 17.0, bold=True)
    sheet.page.text(LEFT, sheet.y - 16.0, title)
    sheet.down(26.0)
    counts = Counter(record.verdict for record in records)
    for verdict in RunVerdict:
        if counts[verdict]:
            sheet.down(13.0)
            sheet.page.text(LEFT, sheet.y, plain(f"{counts[verdict]}", 10.0, bold=True))
            sheet.page.text(LEFT + 28.0, sheet.y, verdict_line(verdict.value, 10.0))
    sheet.down(6.0)
    paragraph(sheet, "These are runs, not a decision about a lot. " + NOT_A_CERTIFICATE, SMALL)
    heading(sheet, "Runs")
    table(sheet, _HEADS, (_row(record) for record in records))


def _row(record: Record) -> tuple[Cell, ...]:
    charger = record.header.charger
    return (
        cell(_HEADS[0], (record.run_id, BODY)),
        cell(_HEADS[1], (charger.serial, BODY)),
        cell(_HEADS[2], (f"{charger.maker} {charger.model}", BODY)),
        cell(_HEADS[3], (moment(record.header.started), BODY)),
        (verdict_line(record.verdict.value, BODY.size),),
    )
