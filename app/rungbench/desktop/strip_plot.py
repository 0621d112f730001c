"""The last minutes: duty, advertised current, levels, with marks of settings and mains."""

from typing import Any, Final

import pyqtgraph as pg
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QVBoxLayout, QWidget

from rungbench.desktop.history import SPAN_S, History, Mark
from rungbench.desktop.plots import FixedPlot, Frame
from rungbench.desktop.theme import Theme

_X: Final = (-SPAN_S, 0.0)
_X_TICKS: Final = (-120, -90, -60, -30, 0)
_MARKS: Final = 24  # shown at a time
_DUTY: Final = Frame("Duty, %", _X, (-6, 106), _X_TICKS, (0, 50, 100), "s", "%", axis=False)
_CURRENT: Final = Frame(
    "Advertised current per phase, A", _X, (-5, 85), _X_TICKS, (0, 40, 80), "s", "A", axis=False
)
_LEVELS: Final = Frame(
    "High and low level, V, over seconds before now",
    _X,
    (-13.5, 13.5),
    _X_TICKS,
    (-12, 0, 12),
    "s",
    "V",
)
_TOGETHER_S: Final = 1.0
_ROWS_V: Final = (2.5, -2.5, -7.5)  # where the words of marks stand, in turn


class Strips(QWidget):
    """Three plots over the same seconds."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self.duty = FixedPlot(theme, _DUTY)
        self.current = FixedPlot(theme, _CURRENT)
        self.levels = FixedPlot(theme, _LEVELS)
        self.plots = (self.duty, self.current, self.levels)
        self._duty: Any = self.duty.curve("duty")
        self._current: Any = self.current.curve("current")
        self._high: Any = self.levels.curve("high")
        self._low: Any = self.levels.curve("low")
        self._marks = [_MarkLine(self.plots, theme) for _ in range(_MARKS)]
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(0)
        layout.addWidget(self.duty, 5)
        layout.addWidget(self.current, 5)
        layout.addWidget(self.levels, 9)
        theme.changed.connect(self._restyle)

    def show_history(self, history: History) -> None:
        """Draw what there is."""
        now = history.now_s
        self.duty.draw(self._duty, *history.duty.curve(now))
        self.current.draw(self._current, *history.current.curve(now))
        self.levels.draw(self._high, *history.high.curve(now))
        self.levels.draw(self._low, *history.low.curve(now))
        shown = grouped(history.recent_marks())[-_MARKS:]
        for place, line in enumerate(self._marks):
            if place < len(shown):
                number, at_s, text = shown[place]
                line.show(at_s - now, text, _ROWS_V[number % len(_ROWS_V)])
            else:
                line.hide()

    def _restyle(self) -> None:
        for line in self._marks:
            line.restyle(self._theme)


def grouped(marks: tuple[Mark, ...]) -> list[tuple[int, float, str]]:
    """Marks that lie close together as one: running number, board time, words."""
    found: list[tuple[int, float, list[str]]] = []
    for mark in marks:
        if found and mark.at_s - found[-1][1] < _TOGETHER_S:
            found[-1][2].append(mark.text)
        else:
            found.append((mark.number, mark.at_s, [mark.text]))
    return [(number, at_s, _together(texts)) for number, at_s, texts in found]


def _together(texts: list[str]) -> str:
    """Several phases in one word: ``L1 L2 L3 on``."""
    said: dict[str, list[str]] = {}
    for text in texts:
        name, _, state = text.rpartition(" ")
        phase = name in ("L1", "L2", "L3")
        said.setdefault(state if phase else text, []).append(name if phase else "")
    return ", ".join(" ".join([*dict.fromkeys(names), key]).strip() for key, names in said.items())


class _MarkLine:
    """One mark: a line in each plot, its words in the lowest."""

    def __init__(self, plots: tuple[FixedPlot, ...], theme: Theme) -> None:
        self._lines = [pg.InfiniteLine(angle=90, movable=False) for _ in plots]
        self._text: Any = pg.TextItem("", anchor=(1, 0.5))
        for plot, line in zip(plots, self._lines, strict=True):
            plot.add(line)
        plots[-1].add(self._text)
        self._said = ""
        self.restyle(theme)
        self.hide()

    def restyle(self, theme: Theme) -> None:
        """Colours anew."""
        pen = pg.mkPen(theme.colour("event"), width=1, style=Qt.PenStyle.DotLine)
        for line in self._lines:
            line.setPen(pen)
        self._text.setColor(theme.colour("faint"))
        self._text.setFont(theme.font(0.75))

    def show(self, at_s: float, text: str, height_v: float) -> None:
        """So many seconds before now (negative), the words at a height."""
        for line in self._lines:
            line.setValue(at_s)
            line.show()
        if text != self._said:
            self._said = text
            self._text.setText(text)
        self._text.setPos(at_s, height_v)
        self._text.show()

    def hide(self) -> None:
        """Not used."""
        for line in self._lines:
            line.hide()
        self._text.hide()
