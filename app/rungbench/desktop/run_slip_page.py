"""The hold slip on paper: drawn as plain text in a document, to a printer or to PDF."""

from typing import Final

from PySide6.QtCore import QBuffer, QIODevice, QMarginsF, QSizeF
from PySide6.QtGui import (
    QFont,
    QPageLayout,
    QPageSize,
    QPdfWriter,
    QTextCharFormat,
    QTextCursor,
    QTextDocument,
)
from PySide6.QtWidgets import QWidget

from rungbench.desktop.run_slip import SIMULATED, TITLE, Slip

_FONT: Final = "DejaVu Sans"
_POINTS: Final = 9.0


def slip_document(slip: Slip) -> QTextDocument:
    """The slip; serial and verdict can be read from a distance."""
    document = QTextDocument()
    document.setDefaultFont(QFont(_FONT, int(_POINTS)))
    cursor = QTextCursor(document)
    if slip.simulated:
        _line(cursor, SIMULATED, _POINTS, bold=True)
    _line(cursor, TITLE.upper(), 26.0, bold=True)
    _line(cursor, slip.serial, 18.0, bold=True)
    _line(cursor, f"{slip.verdict}: {slip.meaning}", 11.0, bold=True)
    for name, text in slip.rows:
        cursor.insertBlock()
        cursor.insertText(f"{name}  " if name else "", _format(_POINTS, bold=True))
        cursor.insertText(text, _format(_POINTS))
    cursor.insertBlock()
    _line(cursor, slip.foot, 8.0)
    return document


def slip_pdf(slip: Slip) -> bytes:
    """The slip as PDF, A5."""
    buffer = QBuffer()
    buffer.open(QIODevice.OpenModeFlag.WriteOnly)
    writer = QPdfWriter(buffer)
    writer.setTitle(f"{TITLE} {slip.serial}")
    writer.setResolution(300)
    margins = QMarginsF(12.0, 12.0, 12.0, 12.0)
    page = QPageSize(QPageSize.PageSizeId.A5)
    portrait = QPageLayout.Orientation.Portrait
    writer.setPageLayout(QPageLayout(page, portrait, margins, QPageLayout.Unit.Millimeter))
    document = slip_document(slip)
    document.documentLayout().setPaintDevice(writer)
    document.setPageSize(QSizeF(writer.width(), writer.height()))
    document.print_(writer)
    buffer.close()
    return bytes(buffer.data().data())


def print_slip(slip: Slip, parent: QWidget) -> bool:
    """Ask for a printer and print; whether it was printed."""
    # Late: a bench without a printer needs none of it.
    from PySide6.QtPrintSupport import QPrintDialog, QPrinter

    printer = QPrinter()
    printer.setPageSize(QPageSize(QPageSize.PageSizeId.A5))
    dialog = QPrintDialog(printer, parent)
    dialog.setWindowTitle("Print the hold slip")
    if not dialog.exec():
        return False
    slip_document(slip).print_(printer)
    return True


def _line(cursor: QTextCursor, text: str, points: float, *, bold: bool = False) -> None:
    cursor.insertText(text, _format(points, bold=bold))
    cursor.insertBlock()


def _format(points: float, *, bold: bool = False) -> QTextCharFormat:
    made = QTextCharFormat()
    made.setFontPointSize(points)
    made.setFontWeight(QFont.Weight.Bold if bold else QFont.Weight.Normal)
    return made
