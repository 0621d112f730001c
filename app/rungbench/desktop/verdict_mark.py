"""A verdict as word and shape: either of them is enough without the colour."""

import math
from typing import Final

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from rungbench.desktop.palette import VERDICT_COLOURS
from rungbench.desktop.theme import Theme

_GAP: Final = 0.4  # of the height, between shape and word


def draw_shape(painter: QPainter, verdict: str, box: QRectF, theme: Theme) -> None:
    """The shape of a verdict: disc, triangle, half disc, square, ring, dash, point."""
    colour = theme.colour(VERDICT_COLOURS[verdict])
    side = min(box.width(), box.height())
    square = QRectF(box.center().x() - side / 2, box.center().y() - side / 2, side, side)
    square.adjust(side * 0.1, side * 0.1, -side * 0.1, -side * 0.1)
    painter.save()
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    pen = QPen(colour, max(1.2, side * 0.1))
    pen.setJoinStyle(Qt.PenJoinStyle.RoundJoin)
    painter.setPen(pen)
    painter.setBrush(colour)
    middle = square.center()
    match verdict:
        case "pass":
            painter.drawEllipse(square)
        case "fail":
            corners = [square.bottomLeft(), square.bottomRight(), QPointF(middle.x(), square.top())]
            painter.drawPolygon(QPolygonF(corners))
        case "undecided":
            painter.drawPie(square, 90 * 16, 180 * 16)
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawEllipse(square)
        case "bench fault":
            painter.drawRect(square)
        case "incomplete":
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.drawEllipse(square)
        case "not run":
            left, right = QPointF(square.left(), middle.y()), QPointF(square.right(), middle.y())
            painter.drawLine(left, right)
        case _:
            painter.drawEllipse(middle, side * 0.1, side * 0.1)
    painter.restore()


class VerdictMark(QWidget):
    """Shape and word of one verdict; `size` times the usual font."""

    def __init__(self, theme: Theme, size: float = 1.0, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme, self._size, self._verdict = theme, size, ""
        self.setSizePolicy(QSizePolicy.Policy.Minimum, QSizePolicy.Policy.Fixed)
        theme.changed.connect(self.updateGeometry)

    @property
    def verdict(self) -> str:
        """The verdict shown, or nothing."""
        return self._verdict

    def show_verdict(self, verdict: str) -> None:
        """Show this one; empty: none."""
        if verdict != self._verdict:
            self._verdict = verdict
            self.setAccessibleName(f"verdict: {verdict}" if verdict else "no verdict")
            self.updateGeometry()
            self.update()

    def sizeHint(self) -> QSize:
        """Room for the longest word."""
        self.setFont(self._theme.font(self._size, bold=True))
        metrics = self.fontMetrics()
        word = metrics.horizontalAdvance(self._verdict or "undecided")
        height = math.ceil(metrics.height() * 1.2)
        return QSize(math.ceil(height * (1 + _GAP)) + word + 2, height)

    def minimumSizeHint(self) -> QSize:
        """The same."""
        return self.sizeHint()

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Shape left, word right of it."""
        if not self._verdict:
            return
        painter = QPainter(self)
        painter.setFont(self._theme.font(self._size, bold=True))
        side = painter.fontMetrics().height() * 0.85
        box = QRectF(0.0, (self.height() - side) / 2, side, side)
        draw_shape(painter, self._verdict, box, self._theme)
        painter.setPen(self._theme.colour(VERDICT_COLOURS[self._verdict]))
        rest = QRectF(side * (1 + _GAP), 0.0, self.width(), self.height())
        align = Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft
        painter.drawText(rest, align, self._verdict)
        painter.end()
