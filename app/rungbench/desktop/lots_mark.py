"""Decisions and units as word and shape, in the shapes of the verdicts that they stand for."""

import math
from typing import Final

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent
from PySide6.QtWidgets import QSizePolicy, QStyleOptionViewItem, QWidget

from rungbench.desktop.lots_words import SHAPES
from rungbench.desktop.palette import VERDICT_COLOURS
from rungbench.desktop.run_table import Index, VerdictDelegate
from rungbench.desktop.theme import Theme
from rungbench.desktop.verdict_mark import draw_shape

_GAP: Final = 0.4  # of the height, between shape and word


def shape_of(text: str) -> str:
    """The verdict whose shape and colour stand for a text; what follows a comma does not count."""
    word = text.partition(",")[0]
    found = SHAPES.get(word, word)
    return found if found in VERDICT_COLOURS else ""


class DecisionMark(QWidget):
    """Shape and word of one decision; `size` times the usual font."""

    def __init__(self, theme: Theme, size: float = 1.0) -> None:
        super().__init__()
        self._theme, self._size, self.word = theme, size, ""
        self.setSizePolicy(QSizePolicy.Policy.Minimum, QSizePolicy.Policy.Fixed)
        theme.changed.connect(self.updateGeometry)

    def show_word(self, word: str) -> None:
        """Show this one."""
        self.word = word
        self.setAccessibleName(f"decision: {word}" if word else "no decision")
        self.updateGeometry()
        self.update()

    def sizeHint(self) -> QSize:
        """Room for shape and word."""
        self.setFont(self._theme.font(self._size, bold=True))
        metrics = self.fontMetrics()
        height = math.ceil(metrics.height() * 1.2)
        word = metrics.horizontalAdvance(self.word or "reject")
        return QSize(math.ceil(height * (1 + _GAP)) + word + 2, height)

    def minimumSizeHint(self) -> QSize:
        """The same."""
        return self.sizeHint()

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Shape left, word right of it."""
        shape = shape_of(self.word)
        if not shape:
            return
        painter = QPainter(self)
        painter.setFont(self._theme.font(self._size, bold=True))
        side = painter.fontMetrics().height() * 0.85
        box = QRectF(0.0, (self.height() - side) / 2, side, side)
        draw_shape(painter, shape, box, self._theme)
        painter.setPen(self._theme.colour(VERDICT_COLOURS[shape]))
        rest = QRectF(side * (1 + _GAP), 0.0, self.width(), self.height())
        align = Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft
        painter.drawText(rest, align, self.word)
        painter.end()


class MarkDelegate(VerdictDelegate):
    """Shape and word of a decision or a verdict in a cell."""

    def shape_of(self, text: str) -> str:
        """The verdict that stands for a decision."""
        return shape_of(text)

    def sizeHint(self, option: QStyleOptionViewItem, index: Index) -> QSize:
        """Room for what stands there."""
        metrics = option.fontMetrics
        height = metrics.height()
        width = metrics.horizontalAdvance(str(index.data() or "bench fault"))
        return QSize(round(1.15 * width) + 3 * height, height + 8)
