"""Stored captures drawn: one curve, or several over one another to be compared."""

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Final

import numpy as np
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QVBoxLayout, QWidget

from rungbench.desktop.plots import FixedPlot, Frame
from rungbench.desktop.records_traces import Trace
from rungbench.desktop.run_labels import PlainLabel
from rungbench.desktop.snapshots import Floats, empty
from rungbench.desktop.theme import Theme

CURVES: Final = ("measured", "high", "current", "low")
"""Colours of the curves, in order; a sign before each name tells them apart without colour."""

SIGNS: Final = ("A", "B", "C", "D")
_VOLTS: Final = (-13.5, 13.5)
_VOLT_TICKS: Final = (-12, -9, -6, -3, 0, 3, 6, 9, 12)
_PERIOD: Final = Frame(
    "", (-20.0, 1040.0), _VOLTS, (0, 200, 400, 600, 800, 1000), _VOLT_TICKS, "µs", "V"
)


class OverlayPlot(QWidget):
    """Up to four traces; the first one's room and limits are drawn behind."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._frame = _PERIOD
        self._plot = FixedPlot(theme, _PERIOD)
        self._plot.setMinimumHeight(theme.px(80))
        self._boxes = [self._plot.box("allowed") for _ in range(2)]
        self._room: Any = self._plot.curve("raw", 1.0)
        self._curves = [self._plot.curve(colour, 1.5) for colour in CURVES]
        self._about = PlainLabel(theme, size=0.9).colour("faint")
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self._plot, 1)
        layout.addWidget(self._about)
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
        if not drawn:
            self._plot.draw(self._room, empty(), empty())
            return
        first = drawn[0]
        self._frame = _frame(first)
        self._fit()
        self._plot.draw(self._room, *_zigzag(first))
        self._limits(first)
        self._plot.setAccessibleName(self._about.text())

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
