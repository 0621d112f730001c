"""The course of a run drawn: prepare, checks, make safe, how much of it is over, what is left."""

from typing import Final

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QSizePolicy, QWidget

from rungbench.desktop.figures import number as number_text
from rungbench.desktop.run_progress import Stage
from rungbench.desktop.theme import Theme

_PARTS: Final = ((Stage.PREPARE, 0.12), (Stage.CHECKS, 0.73), (Stage.MAKE_SAFE, 0.15))


class CourseBar(QWidget):
    """Three stretches on one rail; the middle one fills up."""

    def __init__(self, theme: Theme, size: float = 1.0) -> None:
        super().__init__()
        self._theme, self._size = theme, size
        self._stage, self._share, self._left = Stage.PREPARE, 0.0, ""
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        theme.changed.connect(self.updateGeometry)

    def size_to(self, size: float) -> None:
        """`size` times the usual font from now on."""
        self._size = size
        self.updateGeometry()

    def show_course(self, stage: Stage, share: float, left: str) -> None:
        """How far the run is: `share` of the checks from 0 to 1, `left` in words."""
        if (stage, round(share, 3), left) == (self._stage, round(self._share, 3), self._left):
            return
        self._stage, self._share, self._left = stage, share, left
        self.setAccessibleName(f"{stage.value}, {100 * share:.0f} percent, {left}")
        self.update()

    def sizeHint(self) -> QSize:
        """A rail and a line of text."""
        line = self._line()
        return QSize(self._theme.px(300), round(2.1 * line + self._theme.px(8)))

    def minimumSizeHint(self) -> QSize:
        """The same height."""
        return QSize(self._theme.px(160), self.sizeHint().height())

    def _line(self) -> float:
        self.setFont(self._theme.font(self._size))
        return float(self.fontMetrics().height())

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Rails and words below them."""
        painter = QPainter(self)
        line, gap = self._line(), self._theme.px(4)
        painter.setFont(self._theme.font(self._size))
        x, height = 0.0, line * 0.9
        reached = [part for part, _ in _PARTS].index(self._where())
        for number, (part, share) in enumerate(_PARTS):
            width = share * (self.width() - 2 * gap)
            rail = QRectF(x, 0.0, width, height)
            self._draw_rail(painter, rail, number, reached)
            here = number == reached
            painter.setPen(self._theme.colour("ink" if here else "faint"))
            painter.setFont(self._theme.font(self._size, bold=here))
            word = self._stage.value if here else part.value
            text = QRectF(x, height + gap / 2, width, line * 1.15)
            self._write(painter, text, word, last=part is Stage.MAKE_SAFE)
            if part is Stage.CHECKS:
                # The word behind may need more than its own rail.
                behind = painter.fontMetrics().horizontalAdvance(Stage.MAKE_SAFE.value)
                over = max(0.0, behind - _PARTS[-1][1] * self.width())
                text.adjust(0.0, 0.0, -3.0 * gap - over, 0.0)
                painter.drawText(text, Qt.AlignmentFlag.AlignRight, self._left)
            x += width + gap
        painter.end()

    def _write(self, painter: QPainter, text: QRectF, word: str, *, last: bool) -> None:
        """The word below its rail; the last one ends with it, and none is cut."""
        needed = painter.fontMetrics().horizontalAdvance(word)
        if needed > text.width() and last:
            text = QRectF(text.right() - needed, text.top(), needed, text.height())
        elif needed > text.width():
            return
        painter.drawText(text, Qt.AlignmentFlag.AlignLeft, word)

    def _where(self) -> Stage:
        return Stage.CHECKS if self._stage is Stage.PAUSED else self._stage

    def _draw_rail(self, painter: QPainter, rail: QRectF, number: int, reached: int) -> None:
        painter.fillRect(rail, self._theme.colour("band"))
        share = 1.0 if number < reached else 0.0
        if number == reached:
            share = self._share if number == 1 else 0.5
        paused = self._stage is Stage.PAUSED
        filled = QRectF(rail.left(), rail.top(), share * rail.width(), rail.height())
        painter.fillRect(filled, self._theme.colour("faint" if paused else "focus"))
        painter.setPen(QPen(self._theme.colour("rule"), 1))
        painter.drawRect(rail.adjusted(0.5, 0.5, -0.5, -0.5))


def left_text(left_s: float) -> str:
    """About how long it still takes, in words."""
    if left_s < 90.0:
        return (
            f"about {5 * round(left_s / 5):.0f} s left" if left_s >= 10.0 else "a few seconds left"
        )
    if left_s < 5400.0:
        return f"about {left_s / 60.0:.0f} min left"
    return f"about {number_text(left_s / 3600.0, 1)} h left"
