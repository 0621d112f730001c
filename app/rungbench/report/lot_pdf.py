"""A whole lot as one PDF: its decision and what it rests on, its values, then its units.

The same lot with the same records gives the same bytes.
"""

from enum import StrEnum
from functools import partial
from typing import Final

from rungbench import __version__
from rungbench.archive.store import Archive
from rungbench.report.evidence import Evidence
from rungbench.report.lot_evidence import LotEvidence, gather
from rungbench.report.lot_scope import draw_lot_scope
from rungbench.report.lot_sections import (
    draw_corrections,
    draw_draw,
    draw_failures,
    draw_lot_integrity,
    draw_units,
)
from rungbench.report.lot_summary import draw_lot_summary
from rungbench.report.lot_variables import draw_variables
from rungbench.report.marks import draw_banner, draw_foot
from rungbench.report.pdf import draw_record
from rungbench.report.sheet import Binding, Page, Sheet, bound
from rungbench.report.summary import draw_summary

_TITLE: Final = "Lot inspection report"


class UnitPages(StrEnum):
    """What of each unit follows the lot's own pages."""

    TABLE = "table"
    """Nothing: its line in the table of units is all."""
    PAGE = "page"
    """The summary page of each of its runs."""
    FULL = "full"
    """The whole inspection report of each of its runs."""


def lot_report(archive: Archive, name: str, units: UnitPages = UnitPages.PAGE) -> bytes:
    """The report of the lot of that name as PDF.

    Raises
    ------
    NoSuchLot : there is none.
    ArchiveError : the archive cannot be read.
    """
    return lot_pdf(gather(archive, name), units)


def lot_pdf(evidence: LotEvidence, units: UnitPages = UnitPages.PAGE) -> bytes:
    """As `lot_report`, of a lot that is at hand."""
    sheet = Sheet()
    draw_lot_summary(sheet, evidence)
    sheet.turn()
    draw_draw(sheet, evidence.state)
    draw_failures(sheet, evidence)
    draw_corrections(sheet, evidence)
    draw_units(sheet, evidence)
    draw_variables(sheet, evidence.variables)
    draw_lot_scope(sheet, evidence)
    draw_lot_integrity(sheet, evidence)
    owners: list[Evidence | None] = [None] * len(sheet.pages)
    if units is not UnitPages.TABLE:
        draw = draw_summary if units is UnitPages.PAGE else draw_record
        for one in evidence.runs:
            draw(sheet, one)
            owners += [one] * (len(sheet.pages) - len(owners))
    lot = evidence.state.lot
    return bound(sheet, Binding(_TITLE, lot.name, partial(_frame, evidence, owners)))


def _frame(
    evidence: LotEvidence, owners: list[Evidence | None], page: Page, number: int, count: int
) -> None:
    lot, owner = evidence.state.lot, owners[number - 1]
    if lot.simulated:
        draw_banner(page)
    of = "" if owner is None else f"  ·  record {owner.record.run_id}"
    draw_foot(page, f"{_TITLE}  ·  lot {lot.name}{of}  ·  rungbench {__version__}", number, count)
