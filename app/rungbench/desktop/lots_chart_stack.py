"""Several charts of which as many are shown as have room; a key goes on to the next ones."""

from collections.abc import Sequence
from typing import Final

from PySide6.QtCore import Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QVBoxLayout, QWidget

from rungbench.desktop.lots_chart import Chart
from rungbench.desktop.lots_chart_face import ChartFace
from rungbench.desktop.run_labels import PlainLabel
from rungbench.desktop.theme import Theme

_LEAST: Final = 170.0  # height of a chart that can be read


class ChartStack(QWidget):
    """Two charts, one above the other, or one where the room is low; `opened` as `ChartFace`.

    What those that are shown say stands below them.
    """

    opened = Signal(str)

    def __init__(self, theme: Theme, names: Sequence[str]) -> None:
        super().__init__()
        self._theme = theme
        self.at = 0
        self.faces = tuple(ChartFace(theme, name) for name in names)
        self.about = PlainLabel(theme, size=0.9).colour("faint")
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        for face in self.faces:
            column.addWidget(face, 1)
            face.opened.connect(self.opened)
        column.addWidget(self.about)
        self._fit()

    @property
    def shown(self) -> tuple[ChartFace, ...]:
        """Those that are seen."""
        return self.faces[self.at : self.at + self._together]

    def show_charts(self, charts: Sequence[Chart | None], why: str = "") -> None:
        """Draw these; `why` stands where there is none."""
        for face, chart in zip(self.faces, charts, strict=True):
            face.show_chart(chart, why)
        self._tell()

    def next(self) -> None:
        """The charts after those that are shown, then the first ones again."""
        focused = any(face.hasFocus() for face in self.faces)
        self.at = (self.at + self._together) % len(self.faces)
        self._fit()
        if focused:
            self.shown[0].setFocus()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """More or less room."""
        super().resizeEvent(event)
        self._fit()

    @property
    def _together(self) -> int:
        return 2 if self.height() >= 2 * self._theme.px(_LEAST) else 1

    def _fit(self) -> None:
        if self._together == 2:
            self.at -= self.at % 2
        for face in self.faces:
            face.setVisible(face in self.shown)
        self._tell()

    def _tell(self) -> None:
        charts = (face.chart for face in self.shown)
        said = dict.fromkeys(note for chart in charts if chart is not None for note in chart.notes)
        self.about.setText(" ".join(said))
