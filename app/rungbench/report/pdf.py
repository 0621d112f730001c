"""The inspection report as PDF: a summary page and the evidence for each record.

The same records give the same bytes: nothing in it comes from a clock, and chance has no say.
"""

from collections.abc import Sequence
from functools import partial
from typing import Final

from rungbench import __version__
from rungbench.report.checks_table import draw_checks
from rungbench.report.evidence import Evidence
from rungbench.report.explained import draw_findings, draw_integrity, draw_scope
from rungbench.report.marks import draw_banner, draw_foot
from rungbench.report.overview import draw_overview
from rungbench.report.period_plot import draw_periods
from rungbench.report.provenance import draw_provenance
from rungbench.report.setpoints import draw_set_points
from rungbench.report.sheet import Binding, Page, Sheet, bound
from rungbench.report.summary import draw_summary

_TITLE: Final = "Inspection report"


def report_pdf(evidence: Sequence[Evidence]) -> bytes:
    """One report of one record or several; several get a page in front that lists them.

    Raises
    ------
    ValueError : no record.
    """
    if not evidence:
        raise ValueError("a report needs a record")
    sheet = Sheet()
    records = tuple(one.record for one in evidence)
    if len(records) > 1:
        draw_overview(sheet, records)
    owners: list[Evidence | None] = [None] * len(sheet.pages)
    for one in evidence:
        draw_record(sheet, one)
        owners += [one] * (len(sheet.pages) - len(owners))
    simulated = any(record.header.simulated for record in records)
    subject = " ".join(record.run_id for record in records[:20])
    binding = Binding(_TITLE, subject, partial(_frame, owners, simulated))
    return bound(sheet, binding)


def draw_record(sheet: Sheet, evidence: Evidence) -> None:
    """All pages about a record, the first of them a summary."""
    record = evidence.record
    draw_summary(sheet, evidence)
    sheet.turn()
    draw_provenance(sheet, record)
    draw_findings(sheet, record)
    draw_checks(sheet, record)
    draw_periods(sheet, evidence)
    draw_set_points(sheet, record)
    draw_scope(sheet, record)
    draw_integrity(sheet, evidence)


def _frame(
    owners: Sequence[Evidence | None], simulated: bool, page: Page, number: int, count: int
) -> None:
    """Banner and foot of one page; the page in front of several carries the banner of any."""
    owner = owners[number - 1]
    if simulated if owner is None else owner.record.header.simulated:
        draw_banner(page)
    told = _TITLE if owner is None else _about(owner)
    draw_foot(page, f"{told}  ·  rungbench {__version__}", number, count)


def _about(evidence: Evidence) -> str:
    return f"{_TITLE}  ·  record {evidence.record.run_id}  ·  SHA-256 {evidence.sha256[:16]}…"
