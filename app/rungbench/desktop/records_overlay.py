"""Stored captures drawn: one curve, or several over one another to be compared."""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

import numpy as np
import pyqtgraph as pg
from PySide6.QtCore import Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from rungbench.desktop.figures import number
from rungbench.desktop.plots import FixedPlot, Frame
from rungbench.desktop.records_traces import Trace
from rungbench.desktop.run_labels import PlainLabel
from rungbench.desktop.snapshots import Floats, empty
from rungbench.desktop.theme import Theme

CURVES: Final = ("measured", "high", "current", "low")
"""Colours of the curves, in order; a sign before each name tells them apart without colour."""

SIGNS: Final = ("#1", "#2", "#3", "#4")
"""No letters: those are states."""

_WIDTHS: Final = (4.5, 3.0, 1.8, 1.0)  # curves that cover one another are all seen
_SIGN_AT: Final = (0.35, 0.45, 0.55, 0.65)  # of the width, where signs stand on curves
_VOLTS: Final = (-13.5, 13.5)
_VOLT_TICKS: Final = (-12, -9, -6, -3, 0, 3, 6, 9, 12)
_PERIOD: Final = Frame(
    "", (-20.0, 1040.0), _VOLTS, (0, 200, 400, 600, 800, 1000), _VOLT_TICKS, "µs", "V"
)


class OverlayPlot(QWidget):
    """Up to four traces; the first one's room and limits are drawn behind.

    With `signs` each curve carries its own, so that none is told by its colour alone.
    """

    def __init__(self, theme: Theme, *, signs: bool = False) -> None:
        super().__init__()
        self._theme = theme
        self._frame = _PERIOD
        self._plot = FixedPlot(theme, _PERIOD)
        self._plot.setMinimumHeight(theme.px(80))
        self._boxes = [self._plot.box("allowed") for _ in range(2)]
        self._room: Any = self._plot.curve("raw", 1.0)
        widths = _WIDTHS if signs else (1.5,) * len(CURVES)
        self._curves = [self._plot.curve(*one) for one in zip(CURVES, widths, strict=True)]
        self._signs: list[Any] = [pg.TextItem(sign, anchor=(0.5, 1.1)) for sign in SIGNS]
        self._signed = signs
        for item in self._signs:
            item.setZValue(60)
            self._plot.add(item)
        theme.changed.connect(self._dress)
        self._dress()
        self._plot.setAccessibleName("Recorded curve")
        self._plot.follow(self._curves[0])
        self._plot.read_out.connect(self._on_read_out)
        self._about = PlainLabel(theme, size=0.9).colour("faint")
        self.read_out = PlainLabel(theme, size=0.9)
        self.read_out.setAccessibleName("Cursor")
        self.read_out.setWordWrap(False)
        below = QHBoxLayout()
        below.addWidget(self._about, 1)
        below.addWidget(self.read_out, 0, Qt.AlignmentFlag.AlignTop)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self._plot, 1)
        layout.addLayout(below)
        self.show_traces(())

    def show_traces(self, traces: Sequence[Trace]) -> None:
        """Draw these; without any, or where nothing can be drawn, the line below says why."""
        drawn = [trace for trace in traces if trace.drawn]
        self._plot.setVisible(bool(drawn))
        self._about.setText(_about(traces))
        for box in self._boxes:
            box.hide()
        curves = zip(self._curves, drawn + [None] * (len(self._curves) - len(drawn)), strict=False)
        for curve, trace in curves:
            x, y = (empty(), empty()) if trace is None else (trace.x, trace.mean_v)
            self._plot.draw(curve, x, y)
        self._show_signs(drawn)
        if not drawn:
            self._plot.draw(self._room, empty(), empty())
            return
        first = drawn[0]
        self._frame = _frame(first)
        self._fit()
        self._plot.draw(self._room, *_zigzag(first))
        self._limits(first)
        self._plot.setAccessibleName(self._about.text())

    def _on_read_out(self, x: float, y: float) -> None:
        """Where the cursor is; nothing once it has left."""
        frame = self._plot.frame
        far = "" if math.isnan(y) else f", {number(y, 2)} {frame.y_unit}"
        self.read_out.setText("" if math.isnan(x) else f"at {number(x, 1)} {frame.x_unit}{far}")

    def _show_signs(self, drawn: Sequence[Trace]) -> None:
        """Where each curve is, side by side, so that curves alike do not cover their signs."""
        for item in self._signs:
            item.hide()
        if not self._signed:
            return
        for item, trace, share in zip(self._signs, drawn, _SIGN_AT, strict=False):
            x = trace.x[0] + share * (trace.x[-1] - trace.x[0])
            item.setPos(float(x), float(np.interp(x, trace.x, trace.mean_v)))
            item.show()

    @property
    def signs_shown(self) -> list[str]:
        """The signs that stand on curves."""
        return [item.toPlainText() for item in self._signs if item.isVisible()]

    def _dress(self) -> None:
        for item, colour in zip(self._signs, CURVES, strict=True):
            item.setColor(self._theme.colour(colour))
            item.setFont(self._theme.font(1.0, bold=True))

    def resizeEvent(self, event: QResizeEvent) -> None:
        """A low plot has fewer figures beside it."""
        super().resizeEvent(event)
        self._fit()

    def _fit(self) -> None:
        line = self._plot.fontMetrics().height()
        lines = (self.height() - self._about.height()) / line - 3
        step = 3 if lines > 11 else 6 if lines > 6 else 12
        frame = replace(self._frame, y_ticks=tuple(range(-12, 13, step)))
        if frame != self._plot.wanted:
            self._plot.set_frame(frame)

    def _limits(self, trace: Trace) -> None:
        span = self._plot.frame.x
        for box, limit in zip(self._boxes, (trace.mask.high, trace.mask.low), strict=True):
            if limit is not None and limit.low is not None and limit.high is not None:
                self._plot.place_box(box, span, (limit.low, limit.high))


def _zigzag(trace: Trace) -> tuple[Floats, Floats]:
    """Lowest and highest in turn: one line that fills the room between them."""
    return np.repeat(trace.x, 2), np.column_stack([trace.least_v, trace.most_v]).ravel()


def _frame(trace: Trace) -> Frame:
    if trace.periodic:
        return Frame("V over µs after the rising edge", *_axes(_PERIOD))
    last = float(trace.x[-1]) or 1.0
    step = 10.0 ** math.floor(math.log10(last))
    step = step / 2 if last / step < 3 else step
    ticks = tuple(step * number for number in range(int(last / step) + 1))
    return Frame("V over ms", (-0.02 * last, 1.02 * last), _VOLTS, ticks, _VOLT_TICKS, "ms", "V")


def _axes(frame: Frame) -> tuple[Any, ...]:
    return frame.x, frame.y, frame.x_ticks, frame.y_ticks, frame.x_unit, frame.y_unit


def _about(traces: Sequence[Trace]) -> str:
    if not traces:
        return ""
    if len(traces) == 1:
        return traces[0].about
    lines = (
        f"{sign}: step {one.title}, {one.about}" for sign, one in zip(SIGNS, traces, strict=False)
    )
    return "\n".join(lines)
