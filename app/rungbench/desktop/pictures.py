"""A widget as a picture: PNG as it is on the screen, SVG as lines and text."""

from pathlib import Path

from PySide6.QtCore import QBuffer, QByteArray, QIODevice, QPoint, QRect, Qt
from PySide6.QtGui import QColor, QFont, QFontMetrics, QPainter
from PySide6.QtWidgets import QWidget

from rungbench.report.files import write_whole


def png_of(widget: QWidget, stamp: str = "") -> bytes:
    """The widget as PNG."""
    store = QByteArray()
    buffer = QBuffer(store)
    buffer.open(QIODevice.OpenModeFlag.WriteOnly)
    picture = widget.grab()
    painter = QPainter(picture)
    _stamp(painter, widget, stamp)
    painter.end()
    picture.save(buffer, "PNG")
    return bytes(store.data())


def svg_of(widget: QWidget, title: str, stamp: str = "") -> bytes:
    """The widget as SVG."""
    # Late: only an export needs it.
    from PySide6.QtSvg import QSvgGenerator

    store = QByteArray()
    buffer = QBuffer(store)
    buffer.open(QIODevice.OpenModeFlag.WriteOnly)
    generator = QSvgGenerator()
    generator.setOutputDevice(buffer)
    generator.setSize(widget.size())
    generator.setViewBox(QRect(0, 0, widget.width(), widget.height()))
    generator.setTitle(title)
    painter = QPainter(generator)
    widget.render(painter, QPoint())
    _stamp(painter, widget, stamp)
    painter.end()
    return bytes(store.data())


def _stamp(painter: QPainter, widget: QWidget, text: str) -> None:
    """A word across the top, black on yellow, which no picture goes out without."""
    if not text:
        return
    font = QFont(widget.font())
    font.setBold(True)
    painter.setFont(font)
    metrics = QFontMetrics(font)
    size = metrics.size(0, text)
    box = QRect((widget.width() - size.width()) // 2 - 12, 0, size.width() + 24, size.height() + 8)
    painter.fillRect(box, QColor("#f0e442"))
    painter.setPen(QColor("#1b1b1b"))
    painter.drawText(box, Qt.AlignmentFlag.AlignCenter, text)


def save_picture(widget: QWidget, file: Path, title: str, stamp: str = "") -> None:
    """By the file's ending: ``.svg``, else PNG; `stamp` is written across its top.

    Raises
    ------
    RungbenchError : it cannot be written.
    """
    svg = file.suffix.lower() == ".svg"
    drawn = svg_of(widget, title, stamp) if svg else png_of(widget, stamp)
    write_whole(file, [drawn], replace=True)
