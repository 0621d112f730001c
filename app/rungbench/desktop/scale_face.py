"""Where things stand on the voltage scale, and its parts that stand still."""

from typing import Final

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QFont, QFontMetricsF, QPainter, QPen, QPolygonF

from rungbench.desktop.figures import number
from rungbench.desktop.scale_model import HIGH_V, LOW_V, Band, Choice, spread
from rungbench.desktop.setting_words import Presented
from rungbench.desktop.theme import Theme

_TICKS: Final = (-12, -9, -6, -3, 0, 3, 6, 9, 12)
_RIGHT: Final = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
_LEFT: Final = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter


class Face:
    """The geometry for one size; made anew for each use, since that costs next to nothing."""

    def __init__(
        self, theme: Theme, box: QRectF, bands: tuple[Band, ...], choices: tuple[Choice, ...]
    ) -> None:
        self._theme, self._bands, self._choices = theme, bands, choices
        self._metrics = QFontMetricsF(theme.font(bold=True))
        line = self._metrics.height()
        self.top = box.top() + 2.6 * line
        self.bottom = box.bottom() - 0.9 * line
        self.left, self.right = box.left(), box.right()
        figures = self._metrics.horizontalAdvance("↓ −12.000 ± 0.000 V")
        self.measured_x = self.left + figures + theme.px(20)
        self.axis_x = self.measured_x + theme.px(40)
        self.band_right = self.axis_x + theme.px(34)
        self.label_x = self.band_right + theme.px(30)
        wanted = [self.y(choice.volts) for choice in choices]
        self._label_y = spread(wanted, 1.12 * line, (self.top - 0.3 * line, self.bottom))

    def y(self, volts: float) -> float:
        """Where a voltage stands."""
        share = (HIGH_V - volts) / (HIGH_V - LOW_V)
        return self.top + share * (self.bottom - self.top)

    def clamped(self, y: float) -> float:
        """The nearest place on the scale."""
        return min(self.bottom, max(self.top, y))

    @staticmethod
    def beyond(volts: float) -> str:
        """An arrow where a voltage lies beyond the scale."""
        return "↑ " if volts > HIGH_V else "↓ " if volts < LOW_V else ""

    def label_box(self, place: int) -> QRectF:
        """Where the label of a choice stands."""
        line = self._metrics.height()
        middle = self._label_y[place]
        return QRectF(self.label_x, middle - line / 2, self.right - self.label_x - 2, line)

    def level_box(self, y: float) -> QRectF:
        """Where the figure of a level stands."""
        line = self._metrics.height()
        width = self.measured_x - self.left - self._theme.px(12)
        return QRectF(self.left, y - line / 2, width, line)

    def level_font(self, text: str, room: float) -> QFont:
        """Smaller letters where a value has more digits than there is room for."""
        sizes = (1.0, 0.9, 0.8, 0.7)
        fonts = [self._theme.font(size, bold=True) for size in sizes]
        fitting = (one for one in fonts if QFontMetricsF(one).horizontalAdvance(text) <= room)
        return next(fitting, fonts[-1])

    def tick_box(self, y: float) -> QRectF | None:
        """The figure on the axis that something at `y` would cover, if there is one."""
        line = self._metrics.height()
        for tick in _TICKS:
            if abs(self.y(tick) - y) < 0.6 * line:
                width = self.axis_x - self.measured_x - self._theme.px(14)
                left = self.axis_x - self._theme.px(6) - width
                return QRectF(left, self.y(tick) - line / 2, width, line)
        return None

    def live_line(self, volts: float) -> tuple[QPointF, QPointF]:
        """A short line at a level of this moment."""
        y = self.y(volts)
        return QPointF(self.measured_x + self._theme.px(10), y), QPointF(self.axis_x, y)

    def choice_at(self, point: QPointF) -> int | None:
        """The choice under a point."""
        if point.x() < self.band_right:
            return None
        line = 1.12 * self._metrics.height()
        for place, middle in enumerate(self._label_y):
            if abs(point.y() - middle) <= line / 2:
                return place
        return None

    # Drawing ----------------------------------------------------------------------------------

    def draw_ground(self, painter: QPainter) -> None:
        """Titles, windows, axis with figures, leaders to the labels."""
        self._titles(painter)
        for band in self._bands:
            self._band(painter, band)
        painter.setPen(QPen(self._theme.colour("ink"), self._theme.px(2)))
        painter.drawLine(QPointF(self.axis_x, self.top), QPointF(self.axis_x, self.bottom))
        painter.setFont(self._theme.font(0.85))
        small = QFontMetricsF(painter.font())
        for tick in _TICKS:
            y = self.y(tick)
            painter.setPen(QPen(self._theme.colour("ink"), self._theme.px(1)))
            painter.drawLine(QPointF(self.axis_x - self._theme.px(5), y), QPointF(self.axis_x, y))
            painter.setPen(self._theme.colour("faint"))
            width = small.horizontalAdvance("−12") + 2
            left = self.axis_x - self._theme.px(8) - width
            box = QRectF(left, y - small.height() / 2, width, small.height())
            painter.drawText(box, _RIGHT, number(float(tick), 0))
        painter.setPen(QPen(self._theme.colour("rule"), self._theme.px(1)))
        for place, choice in enumerate(self._choices):
            y, label_y = self.y(choice.volts), self._label_y[place]
            notch = QPointF(self.axis_x + self._theme.px(5), y)
            painter.drawLine(QPointF(self.axis_x, y), notch)
            bend = QPointF(self.band_right + self._theme.px(20), label_y)
            painter.drawPolyline(
                QPolygonF(
                    [
                        QPointF(self.band_right, y),
                        bend,
                        QPointF(self.label_x - self._theme.px(4), label_y),
                    ]
                )
            )

    def _titles(self, painter: QPainter) -> None:
        line = self._metrics.height()
        painter.setFont(self._theme.font(0.85))
        painter.setPen(self._theme.colour("faint"))
        left = QRectF(self.left, 0.3 * line, self.axis_x - self.left, line)
        right = QRectF(self.label_x, 0.3 * line, self.right - self.label_x, line)
        painter.drawText(left, _RIGHT, "measured, V")
        painter.drawText(right, _LEFT, "presented")

    def _band(self, painter: QPainter, band: Band) -> None:
        top, bottom = self.y(band.high), self.y(band.low)
        box = QRectF(self.axis_x, top, self.band_right - self.axis_x, bottom - top)
        painter.fillRect(box, self._theme.colour("band"))
        if band.low_allowed is not None and band.high_allowed is not None:
            top, bottom = self.y(band.high_allowed), self.y(band.low_allowed)
            inner = QRectF(self.axis_x, top, self.band_right - self.axis_x, bottom - top)
            painter.fillRect(inner, self._theme.colour("allowed"))
        painter.setPen(self._theme.colour("ink"))
        painter.setFont(self._theme.font(bold=True))
        painter.drawText(box, Qt.AlignmentFlag.AlignCenter, band.name)

    def draw_choice(self, painter: QPainter, place: int, real: Presented | None) -> None:
        """The label of a choice, with a wave where the outlet may be live.

        `real` is what is presented at this place now, if anything is.
        """
        choice, box = self._choices[place], self.label_box(place)
        strong = real is not None
        painter.setFont(self._theme.font(bold=strong))
        painter.setPen(self._theme.colour("presented" if strong else "ink"))
        text = f"{real.text}, {real.extras}".rstrip(", ") if real is not None else choice.label
        mark = " ∿" if choice.setting.energising else ""
        metrics = QFontMetricsF(painter.font())
        room = box.width() - metrics.horizontalAdvance(mark)
        text = metrics.elidedText(text, Qt.TextElideMode.ElideRight, room)
        painter.drawText(box, _LEFT, text + mark)

    def frame_choice(self, painter: QPainter, place: int, colour: str) -> None:
        """A frame around the label of a choice."""
        painter.setPen(QPen(self._theme.colour(colour), self._theme.px(2)))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        edge = self._theme.px(3)
        painter.drawRect(self.label_box(place).adjusted(-edge, 0, 0, 0))

    def draw_pointer(self, painter: QPainter, place: int, *, filled: bool) -> None:
        """A pointer at the axis."""
        y, side = self.y(self._choices[place].volts), self._theme.px(7)
        colour = self._theme.colour("presented")
        painter.save()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(QPen(colour, self._theme.px(2)))
        painter.setBrush(colour if filled else self._theme.colour("sheet"))
        painter.drawPolygon(
            QPolygonF(
                [
                    QPointF(self.axis_x, y),
                    QPointF(self.axis_x + side * 1.4, y - side),
                    QPointF(self.axis_x + side * 1.4, y + side),
                ]
            )
        )
        painter.restore()
