"""A chart drawn, with a cursor that goes from value to value by keys and tells each in words."""

from typing import Final

from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QPolygonF,
    QResizeEvent,
)
from PySide6.QtWidgets import QSizePolicy, QWidget

from rungbench.desktop.lots_chart import Chart, Line, Point
from rungbench.desktop.theme import Theme

_KEYS: Final = {Qt.Key.Key_Left: -1, Qt.Key.Key_Right: 1}
_ENDS: Final = {Qt.Key.Key_Home: 0, Qt.Key.Key_End: -1}
_ENTER: Final = (Qt.Key.Key_Return, Qt.Key.Key_Enter)


class ChartFace(QWidget):
    """Draws one chart, or says why there is none; `opened` has the key of a value chosen by Enter.

    Left, Right, Home and End move the cursor; what it is on stands above the chart.
    """

    opened = Signal(str)

    def __init__(self, theme: Theme, name: str) -> None:
        super().__init__()
        self._theme, self._name = theme, name
        self.chart: Chart | None = None
        self.at = -1
        self._why = ""
        self._plot = QRectF()
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        theme.changed.connect(self.update)
        self.show_chart(None)

    def show_chart(self, chart: Chart | None, why: str = "") -> None:
        """Draw this one; without any, `why` stands there."""
        self.chart, self._why, self.at = chart, why, -1
        self.setAccessibleName(self._name if chart is None else chart.title)
        self.setAccessibleDescription(why if chart is None else " ".join(chart.notes))
        self._measure()
        self.update()

    @property
    def told(self) -> str:
        """What the cursor is on, or nothing."""
        if self.chart is None or self.at < 0:
            return ""
        bars = self.chart.bars
        return bars[self.at].about if bars else self.chart.points[self.at].about

    def sizeHint(self) -> QSize:
        """Wider than high."""
        return QSize(self._theme.px(420), self._theme.px(240))

    def minimumSizeHint(self) -> QSize:
        """Small: whoever shows several leaves out those that have no room."""
        return QSize(self._theme.px(160), self._theme.px(70))

    # Keys and mouse -----------------------------------------------------------------------------

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """See the class."""
        key, count = Qt.Key(event.key()), self._count
        if count and key in _KEYS:
            at = self.at + _KEYS[key] if self.at >= 0 else 0
            self._go(min(count - 1, max(0, at)))
        elif count and key in _ENDS:
            self._go(_ENDS[key] % count)
        elif key in _ENTER and self.chart is not None and self.chart.points and self.at >= 0:
            self._open()
        else:
            super().keyPressEvent(event)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """The cursor goes to the nearest value."""
        self.setFocus()
        if self._count:
            x = event.position().x()
            self._go(min(range(self._count), key=lambda at: abs(self._place(at) - x)))

    def mouseDoubleClickEvent(self, _event: QMouseEvent) -> None:
        """Open what the cursor is on."""
        if self.chart is not None and self.chart.points and self.at >= 0:
            self._open()

    @property
    def _count(self) -> int:
        if self.chart is None:
            return 0
        return len(self.chart.bars) or len(self.chart.points)

    def _go(self, at: int) -> None:
        self.at = at
        self.setAccessibleDescription(self.told)
        self.update()

    def _open(self) -> None:
        chart = self.chart
        if chart is not None and chart.points[self.at].key:
            self.opened.emit(chart.points[self.at].key)

    def _place(self, at: int) -> float:
        chart = self.chart
        assert chart is not None
        if chart.bars:
            return self._x(0.5 * (chart.bars[at].low + chart.bars[at].high))
        return self._x(chart.points[at].x)

    # Where everything is ------------------------------------------------------------------------

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Another room for the same chart."""
        super().resizeEvent(event)
        self._measure()

    def _measure(self) -> None:
        """The rectangle in which values lie."""
        theme, chart = self._theme, self.chart
        self.setFont(theme.font(0.85))
        metrics = self.fontMetrics()
        if chart is None:
            return
        widest = max(
            (metrics.horizontalAdvance(chart.y.text(one)) for one in chart.y.ticks), default=0
        )
        left = widest + theme.px(12)
        named = max((metrics.horizontalAdvance(one.label) for one in chart.across), default=0)
        right = named + theme.px(14)
        top = metrics.height() * 1.5 + theme.px(4)
        bottom = metrics.height() * (2.3 if chart.x.title else 1.2) + theme.px(4)
        self._plot = QRectF(
            left,
            top,
            max(1.0, self.width() - left - right),
            max(1.0, self.height() - top - bottom),
        )

    def _x(self, value: float) -> float:
        assert self.chart is not None
        axis = self.chart.x
        return self._plot.left() + self._plot.width() * (value - axis.low) / (axis.high - axis.low)

    def _y(self, value: float) -> float:
        assert self.chart is not None
        axis = self.chart.y
        share = (value - axis.low) / (axis.high - axis.low)
        return self._plot.bottom() - self._plot.height() * share

    # Drawing ------------------------------------------------------------------------------------

    def paintEvent(self, _event: QPaintEvent) -> None:
        """From the back to the front."""
        painter = QPainter(self)
        painter.fillRect(self.rect(), self._theme.colour("sheet"))
        self._measure()
        painter.setFont(self.font())
        if self.chart is None:
            painter.setPen(self._theme.colour("faint"))
            box = QRectF(self.rect()).adjusted(12, 12, -12, -12)
            flags = Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap
            painter.drawText(box, int(flags), self._why)
        else:
            self._draw(painter, self.chart)
        if self.hasFocus():
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(QPen(self._theme.colour("focus"), self._theme.px(2)))
            painter.drawRect(self.rect().adjusted(1, 1, -1, -1))
        painter.end()

    def _draw(self, painter: QPainter, chart: Chart) -> None:
        self._draw_grid(painter, chart)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.save()
        painter.setClipRect(self._plot.adjusted(-3, -3, 3, 3))
        self._draw_bars(painter, chart)
        for curve in chart.curves:
            self._pen(painter, curve.colour, 2.0, dashed=curve.dashed)
            pairs = zip(curve.x, curve.y, strict=True)
            painter.drawPolyline(QPolygonF([QPointF(self._x(x), self._y(y)) for x, y in pairs]))
        painter.restore()
        self._draw_across(painter, chart.across)
        for line in chart.upright:
            self._draw_upright(painter, line)
        self._draw_points(painter, chart)
        self._draw_head(painter, chart)

    def _pen(self, painter: QPainter, colour: str, width: float, *, dashed: bool = False) -> None:
        pen = QPen(self._theme.colour(colour), self._theme.px(width))
        if dashed:
            pen.setStyle(Qt.PenStyle.DashLine)
        painter.setPen(pen)

    def _draw_grid(self, painter: QPainter, chart: Chart) -> None:
        plot, height = self._plot, self.fontMetrics().height()
        gap = self._theme.px(5)
        for tick in chart.y.ticks:
            y = self._y(tick)
            self._pen(painter, "grid", 1.0)
            painter.drawLine(QPointF(plot.left(), y), QPointF(plot.right(), y))
            painter.setPen(self._theme.colour("faint"))
            box = QRectF(0, y - height / 2, plot.left() - gap, height)
            right = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
            painter.drawText(box, right, chart.y.text(tick))
        used = -1e9
        for tick in chart.x.ticks:
            x, text = self._x(tick), chart.x.text(tick)
            self._pen(painter, "grid", 1.0)
            painter.drawLine(QPointF(x, plot.top()), QPointF(x, plot.bottom()))
            width = self.fontMetrics().horizontalAdvance(text) + gap
            if x - width / 2 < used:
                continue
            used = x + width / 2
            painter.setPen(self._theme.colour("faint"))
            box = QRectF(x - width, plot.bottom() + gap / 2, 2 * width, height)
            painter.drawText(box, Qt.AlignmentFlag.AlignHCenter, text)
        if chart.x.title:
            box = QRectF(plot.left(), plot.bottom() + height * 1.15, plot.width(), height)
            painter.drawText(box, Qt.AlignmentFlag.AlignHCenter, chart.x.title)
        self._pen(painter, "rule", 1.0)
        painter.drawLine(plot.bottomLeft(), plot.bottomRight())

    def _draw_bars(self, painter: QPainter, chart: Chart) -> None:
        for at, bar in enumerate(chart.bars):
            self._pen(painter, "ink" if at == self.at else "sheet", 2.0 if at == self.at else 1.0)
            painter.setBrush(self._theme.colour("measured"))
            left, right = self._x(bar.low), self._x(bar.high)
            top = self._y(float(bar.count))
            painter.drawRect(QRectF(left, top, max(1.0, right - left), self._plot.bottom() - top))
        painter.setBrush(Qt.BrushStyle.NoBrush)

    def _draw_across(self, painter: QPainter, lines: tuple[Line, ...]) -> None:
        """The names stand right of the lines, one below the other where lines are close."""
        plot, height = self._plot, float(self.fontMetrics().height())
        align = Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter
        lowest = -1e9
        for line in sorted(lines, key=lambda one: -one.value):
            y = self._y(line.value)
            self._pen(painter, line.colour, 1.5, dashed=line.dashed)
            painter.drawLine(QPointF(plot.left(), y), QPointF(plot.right(), y))
            top = max(y - height / 2, lowest)
            lowest = top + height
            box = QRectF(plot.right() + self._theme.px(6), top, self.width(), height)
            painter.setPen(self._theme.colour(line.colour))
            painter.drawText(box, align, line.label)

    def _draw_upright(self, painter: QPainter, line: Line) -> None:
        """The name stands beside the line, on the side that has room."""
        x, plot = self._x(line.value), self._plot
        self._pen(painter, line.colour, 1.5, dashed=line.dashed)
        painter.drawLine(QPointF(x, plot.top()), QPointF(x, plot.bottom()))
        metrics, gap = self.fontMetrics(), self._theme.px(4)
        width = metrics.horizontalAdvance(line.label)
        left = x + gap if x + gap + width < plot.right() else x - gap - width
        painter.setPen(self._theme.colour(line.colour))
        top = plot.bottom() - 1.2 * metrics.height() if line.low else plot.top()
        box = QRectF(left, top, width + 1, metrics.height())
        painter.drawText(box, Qt.AlignmentFlag.AlignLeft, line.label)

    def _draw_points(self, painter: QPainter, chart: Chart) -> None:
        places = [QPointF(self._x(one.x), self._y(one.y)) for one in chart.points]
        if chart.joined and len(places) > 1:
            self._pen(painter, "raw", 1.0)
            painter.drawPolyline(QPolygonF(places))
        for at, (point, place) in enumerate(zip(chart.points, places, strict=True)):
            self._draw_point(painter, point, place, looked_at=at == self.at)

    def _draw_point(
        self, painter: QPainter, point: Point, place: QPointF, *, looked_at: bool
    ) -> None:
        """A disc, or an open diamond for what stands out; a ring where the cursor is."""
        theme, side = self._theme, self._theme.px(3)
        if point.half > 0.0:
            self._pen(painter, "measured", 1.0)
            low, high = self._y(point.y - point.half), self._y(point.y + point.half)
            painter.drawLine(QPointF(place.x(), low), QPointF(place.x(), high))
        if point.stands_out:
            wide = 2.0 * side
            self._pen(painter, "high", 2.0)
            painter.setBrush(theme.colour("sheet"))
            x, y = place.x(), place.y()
            corners = ((x - wide, y), (x, y - wide), (x + wide, y), (x, y + wide))
            painter.drawPolygon(QPolygonF([QPointF(*one) for one in corners]))
        else:
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(theme.colour("measured"))
            painter.drawEllipse(place, side, side)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        if point.label:
            painter.setPen(theme.colour("ink"))
            height = self.fontMetrics().height()
            box = QRectF(place.x() + 4 * side, place.y() - 1.5 * height, self.width(), height)
            painter.drawText(box, Qt.AlignmentFlag.AlignLeft, point.label)
        if looked_at:
            self._pen(painter, "focus", 2.0)
            painter.drawEllipse(place, 3.0 * side, 3.0 * side)

    def _draw_head(self, painter: QPainter, chart: Chart) -> None:
        """The title, or what the cursor is on."""
        metrics = self.fontMetrics()
        box = QRectF(
            self._theme.px(6),
            self._theme.px(3),
            self.width() - self._theme.px(12),
            metrics.height() * 1.2,
        )
        text = self.told or chart.title
        painter.setPen(self._theme.colour("ink" if self.told else "faint"))
        shown = metrics.elidedText(text, Qt.TextElideMode.ElideRight, int(box.width()))
        painter.drawText(box, Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter, shown)
