"""A label to stick on a charger: serial number, verdict, id of the record, QR code."""

from collections.abc import Sequence
from typing import Final

from rungbench.report.digest import code_text
from rungbench.report.evidence import Evidence
from rungbench.report.lines import FAINT, INK, Style, one_line, wrapped
from rungbench.report.marks import SIMULATED, draw_code
from rungbench.report.sheet import Binding, Page, Sheet, bound, plain
from rungbench.report.verdicts import verdict_line

_MM: Final = 72.0 / 25.4
# Width and height of one label: 70 mm by 36 mm, 24 of which fill a sheet of A4.
SIZE: Final = (70.0 * _MM, 36.0 * _MM)
_EDGE: Final = 8.0
_CODE: Final = 74.0


def label_pdf(evidence: Sequence[Evidence]) -> bytes:
    """One label a page; the same bytes for the same records.

    Raises
    ------
    ValueError : no record.
    """
    if not evidence:
        raise ValueError("a label needs a record")
    sheet = Sheet(size=SIZE, bottom=0.0, top=SIZE[1])
    for one in evidence:
        sheet.turn()
        _draw(sheet.page, one)
    subject = " ".join(one.record.run_id for one in evidence[:20])
    return bound(sheet, Binding("Inspection label", subject, _nothing))


def _nothing(page: Page, number: int, count: int) -> None:
    """A label has neither foot nor page number."""
    del page, number, count


def _draw(page: Page, evidence: Evidence) -> None:
    record = evidence.record
    header = record.header
    room = SIZE[0] - 2 * _EDGE - _CODE + 2.0
    corner = (SIZE[0] - _CODE - 3.0, SIZE[1] - _CODE - 3.0)
    draw_code(page, code_text(record.run_id, evidence.sha256), corner, _CODE)
    y = SIZE[1] - 20.0
    page.text(_EDGE, y, verdict_line(record.verdict.value, 14.0))
    for line in wrapped(header.charger.serial, room, Style(9.5, bold=True), most=2):
        y -= 12.0
        page.text(_EDGE, y, line)
    maker = f"{header.charger.maker} {header.charger.model}"
    page.text(_EDGE, y - 10.5, one_line(maker, room, Style(7.0)))
    page.text(_EDGE, y - 20.0, plain(f"{header.started:%Y-%m-%d}", 7.0))
    page.text(_EDGE, y - 29.5, plain(record.run_id, 7.5))
    if header.simulated:
        page.box(0.0, 0.0, (SIZE[0], 12.0), fill="#f0e442")
        page.centred_text(0.5 * SIZE[0], 3.2, plain(SIMULATED, 8.0, bold=True, colour=INK))
    else:
        told = plain("Inspection at the pilot contact. No certificate.", 5.6, colour=FAINT)
        page.text(_EDGE, 5.0, told)
    if record.followed_by:
        later = f"NOT THE LAST: see {', '.join(record.followed_by)}"
        page.text(_EDGE, 14.5, one_line(later, SIZE[0] - 2 * _EDGE, Style(6.4, bold=True)))
