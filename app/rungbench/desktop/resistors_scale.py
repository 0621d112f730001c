"""The voltage scale of the resistors: windows as bands, each state's spread beside them."""

from typing import Final

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QPen
from PySide6.QtWidgets import QWidget

from pilotsignal.resistors import LevelSpread
from pilotsignal.standard import Profile
from rungbench.desktop.figures import number
from rungbench.desktop.scale_model import Band, bands
from rungbench.desktop.theme import Theme

_LOW_V, _HIGH_V = -1.0, 13.0
_TICKS: Final = range(13)


class SpreadScale(QWidget):
    """Worst case as a thin line with ends, 95 % of the draws as a bar, nominal as a diamond."""

    def __init__(self, theme: Theme, profile: Profile) -> None:
        super().__init__()
        self._theme = theme
        self._bands: tuple[Band, ...] = tuple(band for band in bands(profile) if band.high > _LOW_V)
        self._spreads: tuple[LevelSpread, ...] = ()
        self.setAccessibleName("Levels of the states on the voltage scale")
        theme.changed.connect(self.update)

    def show_spreads(self, spreads: tuple[LevelSpread, ...]) -> None:
        """Draw these; none: only the windows."""
        self._spreads = spreads
        said = [
            f"{one.state}: {number(one.worst_low_v, 2)} to {number(one.worst_high_v, 2)} V"
            for one in spreads
        ]
        self.setAccessibleDescription("; ".join(said))
        self.update()

    def sizeHint(self) -> QSize:
        """Tall, as the scale is."""
        return QSize(self._theme.px(300), self._theme.px(480))

    def minimumSizeHint(self) -> QSize:
        """Labels stay apart down to this."""
        return QSize(self._theme.px(210), self._theme.px(320))

    # Drawing ----------------------------------------------------------------------------------

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Windows, axis, states."""
        painter = QPainter(self)
        painter.fillRect(self.rect(), self._theme.colour("sheet"))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setFont(self._theme.font())
        self._draw_bands(painter)
        self._draw_axis(painter)
        for place, spread in enumerate(self._spreads):
            self._draw_spread(painter, place, spread)
        painter.end()

    def _y(self, volts: float) -> float:
        edge = self._theme.px(14)
        share = (_HIGH_V - volts) / (_HIGH_V - _LOW_V)
        return edge + share * (self.height() - 2 * edge)

    @property
    def _axis_x(self) -> float:
        return self._theme.px(44)

    def _column_x(self, place: int) -> float:
        room = self.width() - self._axis_x - self._theme.px(34)
        return self._axis_x + room * (place + 0.5) / 4.0

    def _draw_bands(self, painter: QPainter) -> None:
        right = self.width() - self._theme.px(6)
        for band in self._bands:
            top, bottom = self._y(min(band.high, _HIGH_V)), self._y(max(band.low, _LOW_V))
            box = QRectF(self._axis_x, top, right - self._axis_x, bottom - top)
            painter.fillRect(box, self._theme.colour("band"))
            if band.low_allowed is not None and band.high_allowed is not None:
                top, bottom = self._y(band.high_allowed), self._y(band.low_allowed)
                inner = QRectF(self._axis_x, top, right - self._axis_x, bottom - top)
                painter.fillRect(inner, self._theme.colour("allowed"))
            painter.setPen(self._theme.colour("faint"))
            label = box.adjusted(0, 0, -self._theme.px(6), 0)
            painter.drawText(
                label, Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter, band.name
            )

    def _draw_axis(self, painter: QPainter) -> None:
        painter.setPen(QPen(self._theme.colour("ink"), self._theme.px(1)))
        x = self._axis_x
        painter.drawLine(QPointF(x, self._y(_LOW_V)), QPointF(x, self._y(_HIGH_V)))
        height = self._theme.px(16)
        for volts in _TICKS:
            y = self._y(volts)
            painter.drawLine(QPointF(x - self._theme.px(4), y), QPointF(x, y))
            if volts % 2 == 0 or self.height() > self._theme.px(420):
                box = QRectF(0, y - height / 2, x - self._theme.px(8), height)
                align = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
                painter.drawText(box, align, f"{volts} V" if volts == 12 else str(volts))

    def _draw_spread(self, painter: QPainter, place: int, spread: LevelSpread) -> None:
        x, half = self._column_x(place), self._theme.px(7)
        colour = self._theme.colour("presented")
        painter.setPen(QPen(colour, self._theme.px(2)))
        low, high = self._y(spread.worst_low_v), self._y(spread.worst_high_v)
        painter.drawLine(QPointF(x, low), QPointF(x, high))
        for y in (low, high):
            painter.drawLine(QPointF(x - half, y), QPointF(x + half, y))
        top, bottom = self._y(spread.covered_high_v), self._y(spread.covered_low_v)
        painter.fillRect(QRectF(x - half / 2, top, half, max(1.0, bottom - top)), colour)
        painter.setPen(QPen(self._theme.colour("sheet"), self._theme.px(1)))
        painter.setBrush(self._theme.colour("ink"))
        y = self._y(spread.nominal_v)
        side = self._theme.px(5)
        painter.drawPolygon(
            [QPointF(x - side, y), QPointF(x, y - side), QPointF(x + side, y), QPointF(x, y + side)]
        )
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(self._theme.colour("ink"))
        painter.setFont(self._theme.font(bold=True))
        box = QRectF(x + half + self._theme.px(3), y - self._theme.px(10), 60, self._theme.px(20))
        painter.drawText(box, Qt.AlignmentFlag.AlignVCenter, spread.state)
