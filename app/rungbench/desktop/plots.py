"""pyqtgraph, set up once: fixed ranges, the grid drawn once, a cursor that reads out.

Axes that move with the data, and a grid that is drawn with them, halve the rate of repainting:
nothing here moves but the curves.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import QEvent, QObject, QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QFontMetricsF, QKeyEvent, QMouseEvent, QPainter, QPen, QResizeEvent
from PySide6.QtWidgets import (
    QGraphicsItem,
    QSizePolicy,
    QStyleOptionGraphicsItem,
    QVBoxLayout,
    QWidget,
)

from rungbench.desktop.figures import number
from rungbench.desktop.snapshots import Floats
from rungbench.desktop.theme import Theme

pg.setConfigOptions(antialias=False, useOpenGL=False)

_STEPS: Final = 200  # of the cursor across the plot, by keys
_SMALL: Final = 0.85  # size of titles and figures
_FOOT: Final = 22  # height of the axis below, with figures and without
_NO_FOOT: Final = 4
_MOST_ROOM: Final = 0.45  # of the height, for the title


@dataclass(frozen=True, slots=True)
class Frame:
    """Ranges, ticks and units of a plot; `places` are decimals of the tick figures.

    `y` is what the data take; the plot adds room above for the title.
    """

    title: str
    x: tuple[float, float]
    y: tuple[float, float]
    x_ticks: Sequence[float]
    y_ticks: Sequence[float]
    x_unit: str = ""
    y_unit: str = ""
    places: int = 0
    axis: bool = True  # whether the x axis has figures


class Grid(QGraphicsItem):
    """Lines at the ticks, kept as a picture."""

    def __init__(self, frame: Frame, pen: QPen) -> None:
        super().__init__()
        self._frame, self._pen = frame, pen
        self.setCacheMode(QGraphicsItem.CacheMode.DeviceCoordinateCache)
        self.setZValue(-100)

    def boundingRect(self) -> QRectF:
        """The whole plot."""
        (left, right), (low, high) = self._frame.x, self._frame.y
        return QRectF(left, low, right - left, high - low)

    def paint(
        self,
        painter: QPainter,
        _option: QStyleOptionGraphicsItem,
        _widget: QWidget | None = None,
    ) -> None:
        """One line for each tick."""
        (left, right), (low, high) = self._frame.x, self._frame.y
        painter.setPen(self._pen)
        for x in self._frame.x_ticks:
            painter.drawLine(QPointF(x, low), QPointF(x, high))
        for y in self._frame.y_ticks:
            painter.drawLine(QPointF(left, y), QPointF(right, y))


class Dots(QGraphicsItem):
    """Points without a line, drawn in one call."""

    def __init__(self, frame: Frame) -> None:
        super().__init__()
        (left, right), (low, high) = frame.x, frame.y
        self._box = QRectF(left, low, right - left, high - low)
        self._points: Any = None
        self.pen = QPen()
        self.setZValue(-20)

    def boundingRect(self) -> QRectF:
        """The whole plot."""
        return self._box

    def set_points(self, x: Floats, y: Floats) -> None:
        """Finite places in the plot's units."""
        self._points = pg.functions.arrayToQPolygonF(x, y) if x.size else None
        self.update()

    def paint(
        self,
        painter: QPainter,
        _option: QStyleOptionGraphicsItem,
        _widget: QWidget | None = None,
    ) -> None:
        """All points."""
        if self._points is not None:
            painter.setPen(self.pen)
            painter.drawPoints(self._points)


class FixedPlot(QWidget):
    """A plot whose ranges are set by the program only.

    `read_out` tells where the cursor is, in the plot's units; NaN, NaN when it has left.  Left and
    Right move the cursor by keys.  `paints` counts paint events of the plot's viewport.
    """

    read_out = Signal(float, float)

    def __init__(self, theme: Theme, frame: Frame, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.theme, self.frame, self._wanted = theme, frame, frame
        self.paints = 0
        self._curves: list[tuple[Any, str, float]] = []
        self._boxes: list[tuple[Any, str]] = []
        self._dots: list[tuple[Dots, str, float]] = []
        self._followed: Any = None
        self._plot: Any = pg.PlotWidget()
        self._plot.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._plot.setFrameShape(self._plot.Shape.NoFrame)
        self._plot.setMenuEnabled(False)
        self._plot.hideButtons()
        self._plot.setMouseEnabled(False, False)
        self._plot.viewport().installEventFilter(self)
        self._plot.viewport().setMouseTracking(True)
        # Its own wish for 640 x 480 would decide the layout of the whole view.
        self._plot.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Ignored)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self._cursor: Any = pg.InfiniteLine(angle=90, movable=False)
        self._cursor.hide()
        self._plot.addItem(self._cursor, ignoreBounds=True)
        self._grid: Grid | None = None
        # Inside the plot: a row of its own for each title would take a third of the height.
        self._title: Any = pg.TextItem(frame.title, anchor=(0, 0))
        self._title.setZValue(50)
        self._plot.addItem(self._title, ignoreBounds=True)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self._plot)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName(frame.title)
        self.set_frame(frame)
        theme.changed.connect(self._refit)

    # What is drawn ----------------------------------------------------------------------------

    def curve(self, colour: str, width: float = 1.0) -> Any:
        """A new curve; give it data by `draw`."""
        item = pg.PlotCurveItem(connect="finite", skipFiniteCheck=False)
        self._plot.addItem(item, ignoreBounds=True)
        self._curves.append((item, colour, width))
        item.setPen(self._pen(colour, width))
        self._followed = self._followed or item
        return item

    def dots(self, colour: str, width: float) -> Dots:
        """New points; give them places by `Dots.set_points`."""
        item = Dots(self.frame)
        item.pen = self._pen(colour, self.theme.px(width))
        self._dots.append((item, colour, width))
        self._plot.addItem(item, ignoreBounds=True)
        return item

    def box(self, colour: str) -> Any:
        """A new filled box, a limit; move it by `place_box`."""
        item = pg.QtWidgets.QGraphicsRectItem()
        item.setPen(QPen(Qt.PenStyle.NoPen))
        item.setBrush(self.theme.colour(colour))
        item.setZValue(-50)
        item.hide()
        self._plot.addItem(item, ignoreBounds=True)
        self._boxes.append((item, colour))
        return item

    def follow(self, curve: Any) -> None:
        """The cursor by keys reads out this curve."""
        self._followed = curve

    @staticmethod
    def draw(curve: Any, x: Floats, y: Floats) -> None:
        """Give a curve its data; NaN parts it."""
        curve.setData(x, y)

    @staticmethod
    def place_box(item: Any, x: tuple[float, float], y: tuple[float, float]) -> None:
        """Show a box there."""
        item.setRect(QRectF(x[0], y[0], x[1] - x[0], y[1] - y[0]))
        item.show()

    def add(self, item: QGraphicsItem) -> None:
        """Any other item, in the plot's units."""
        self._plot.addItem(item, ignoreBounds=True)

    def remove(self, item: Any) -> None:
        """Take an item away."""
        self._plot.removeItem(item)

    def set_frame(self, frame: Frame) -> None:
        """Other ranges and ticks; above the data there is room for the title."""
        self._wanted = frame
        line = 1.25 * QFontMetricsF(self.theme.font(_SMALL)).height()
        foot = self.theme.px(_FOOT if frame.axis else _NO_FOOT) + self.theme.px(3)
        share = min(_MOST_ROOM, line / max(1.0, float(self.height() - foot)))
        low, high = frame.y
        if frame.title:
            frame = replace(frame, y=(low, (high - low * share) / (1.0 - share)))
        self.frame = frame
        self._plot.setXRange(*frame.x, padding=0)
        self._plot.setYRange(*frame.y, padding=0)
        self.restyle()

    @property
    def wanted(self) -> Frame:
        """The frame that was set, without the room for the title."""
        return self._wanted

    def resizeEvent(self, event: QResizeEvent) -> None:
        """The title keeps its room in whatever height there is."""
        super().resizeEvent(event)
        if event.size().height() != event.oldSize().height():
            self._refit()

    def _refit(self) -> None:
        self.set_frame(self._wanted)

    def restyle(self) -> None:
        """All colours and sizes anew."""
        theme, frame = self.theme, self.frame
        self._plot.setBackground(theme.colour("sheet"))
        font = theme.font(_SMALL)
        for side, ticks, places in (
            ("left", frame.y_ticks, frame.places),
            ("bottom", frame.x_ticks, 0),
        ):
            axis = self._plot.getAxis(side)
            axis.setTicks([[(tick, number(float(tick), places)) for tick in ticks]])
            axis.setStyle(tickFont=font, tickLength=-theme.px(4), hideOverlappingLabels=False)
            axis.setPen(self._pen("rule", 1.0))
            axis.setTextPen(theme.colour("faint"))
        self._plot.getAxis("left").setWidth(theme.px(48))
        bottom = self._plot.getAxis("bottom")
        bottom.setStyle(showValues=frame.axis)
        bottom.setHeight(theme.px(_FOOT if frame.axis else _NO_FOOT))
        self._plot.plotItem.layout.setContentsMargins(0, theme.px(3), theme.px(16), 0)
        self._title.setText(frame.title, color=theme.colour("faint"))
        self._title.setFont(font)
        self._title.fill = pg.mkBrush(theme.colour("sheet"))
        self._title.setPos(frame.x[0], frame.y[1])
        for item, colour, width in self._curves:
            item.setPen(self._pen(colour, width))
        for dots, colour, width in self._dots:
            dots.pen = self._pen(colour, self.theme.px(width))
        for item, colour in self._boxes:
            item.setBrush(theme.colour(colour))
        self._cursor.setPen(self._pen("focus", 1.0))
        if self._grid is not None:
            self._plot.removeItem(self._grid)
        self._grid = Grid(frame, self._pen("grid", 1.0))
        self._plot.addItem(self._grid, ignoreBounds=True)

    def _pen(self, colour: str, width: float) -> QPen:
        pen = QPen(self.theme.colour(colour), width)
        pen.setCosmetic(True)
        return pen

    # Cursor -----------------------------------------------------------------------------------

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Count paint events; follow the mouse."""
        kind = event.type()
        if kind == QEvent.Type.Paint:
            self.paints += 1
        elif kind == QEvent.Type.MouseMove and isinstance(event, QMouseEvent):
            place = self._plot.plotItem.vb.mapSceneToView(event.position())
            self._read(float(place.x()), float(place.y()))
        elif kind == QEvent.Type.Leave:
            self._leave()
        elif kind in (QEvent.Type.MouseButtonPress, QEvent.Type.Wheel):
            self.setFocus()
            return True
        return super().eventFilter(watched, event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Left and Right move the cursor along the curve."""
        steps = {Qt.Key.Key_Left: -1.0, Qt.Key.Key_Right: 1.0}
        step = steps.get(Qt.Key(event.key()))
        if step is None:
            super().keyPressEvent(event)
            return
        left, right = self.frame.x
        at = self._cursor.value() if self._cursor.isVisible() else 0.5 * (left + right)
        at = min(right, max(left, at + step * (right - left) / _STEPS))
        self._read(at, self._value_at(at))

    def _value_at(self, at: float) -> float:
        data = self._followed.getData() if self._followed is not None else (None, None)
        if data[0] is None or data[1] is None:
            return math.nan
        x, y = np.asarray(data[0], dtype=np.float64), np.asarray(data[1], dtype=np.float64)
        finite = np.isfinite(x) & np.isfinite(y)
        if not finite.any():
            return math.nan
        return float(y[finite][np.argmin(np.abs(x[finite] - at))])

    def _read(self, x: float, y: float) -> None:
        (left, right), (low, high) = self.frame.x, self.frame.y
        if not left <= x <= right or y < low or y > high:
            self._leave()
            return
        self._cursor.setValue(x)
        self._cursor.show()
        self.read_out.emit(x, y)

    def _leave(self) -> None:
        if self._cursor.isVisible():
            self._cursor.hide()
            self.read_out.emit(math.nan, math.nan)
