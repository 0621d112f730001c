"""The evidence of one check: what it came to, judgements drawn, quantities, the period recorded."""

from collections.abc import Sequence
from typing import Final

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFrame, QHBoxLayout, QScrollArea, QVBoxLayout, QWidget

from rungbench.archive.record import CheckResult, Role
from rungbench.desktop.figures import figure, localised
from rungbench.desktop.records_facts import name_words
from rungbench.desktop.records_overlay import OverlayPlot
from rungbench.desktop.records_traces import Trace
from rungbench.desktop.run_bar import JudgementBar
from rungbench.desktop.run_labels import PlainLabel
from rungbench.desktop.theme import Theme
from rungbench.desktop.verdict_mark import VerdictMark

_MOST_OBSERVED: Final = 12
_PLOT_PX: Final = 190


class EvidencePanel(QFrame):
    """Shows one `CheckResult`; the trace comes later, when it was read."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self._title = PlainLabel(theme, "Evidence", size=1.2, bold=True)
        self._mark = VerdictMark(theme, 1.2)
        self._why = PlainLabel(theme)
        self._list = QVBoxLayout()
        self._plot = OverlayPlot(theme)
        body = QWidget()
        body.setObjectName("page")
        column = QVBoxLayout(body)
        column.setContentsMargins(0, 0, theme.px(8), 0)
        for part in (self._title, self._mark, self._why):
            column.addWidget(part)
        column.addLayout(self._list)
        column.addWidget(self._plot, 1)
        # All of it scrolls, so that nothing is squeezed where letters are large.
        self._scroll = QScrollArea()
        self._scroll.setWidgetResizable(True)
        self._scroll.setFrameShape(QFrame.Shape.NoFrame)
        self._scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._scroll.setWidget(body)
        self._scroll.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self._scroll.setAccessibleName("Evidence")
        layout = QVBoxLayout(self)
        layout.setContentsMargins(theme.px(8), 0, 0, 0)
        layout.addWidget(self._scroll)
        self.setAccessibleName("Evidence")
        theme.changed.connect(self._resize)
        self._resize()
        self.show_result(None)

    def _resize(self) -> None:
        self._plot.setMinimumHeight(self._theme.px(_PLOT_PX))

    def show_result(self, result: CheckResult | None, title: str = "") -> None:
        """Another check, or one that is still to come."""
        self._title.setText(result.title if result else title or "No check is selected")
        self._mark.setVisible(result is not None)
        self._mark.show_verdict(result.verdict.value if result else "")
        self._why.setText(_why(result) if result else "")
        self._why.setVisible(bool(self._why.text()))
        while (item := self._list.takeAt(0)) is not None:
            widget = item.widget()
            if widget is not None:
                widget.hide()
                widget.deleteLater()
        for widget in self._rows(result) if result else ():
            self._list.addWidget(widget)
        self._plot.show_traces(())
        self._scroll.verticalScrollBar().setValue(0)

    def show_traces(self, traces: Sequence[Trace]) -> None:
        """What was recorded."""
        self._plot.show_traces(traces)

    def _rows(self, result: CheckResult) -> list[QWidget]:
        rows: list[QWidget] = []
        judged = set()
        for judgement in result.judgements:
            rows.append(JudgementBar(self._theme, judgement))
            rows.append(_source(self._theme, judgement.limit.clause, judgement.limit.profile))
            if judgement.quantity is not None:
                judged.add(judgement.quantity.name)
        more = [one for one in result.quantities if one.name not in judged]
        rows += [_pair(self._theme, name_words(one.name), figure(one)) for one in more]
        observed = list(result.observations.items())[:_MOST_OBSERVED]
        rows += [
            _pair(self._theme, name_words(name), localised(str(value))) for name, value in observed
        ]
        return rows


def _why(result: CheckResult) -> str:
    role = "" if result.role is Role.REQUIRED else f"{result.role.value.capitalize()}. "
    again = f" Attempt {result.attempt}." if result.attempt > 1 else ""
    return localised(f"{role}{result.why}{again}".strip())


def _source(theme: Theme, clause: str, profile: str) -> QWidget:
    return PlainLabel(theme, f"{clause} ({profile})", size=0.85).colour("faint")


def _pair(theme: Theme, name: str, text: str) -> QWidget:
    row = QWidget()
    layout = QHBoxLayout(row)
    layout.setContentsMargins(0, 0, 0, 0)
    layout.addWidget(PlainLabel(theme, name).colour("faint"), 1)
    layout.addWidget(PlainLabel(theme, text), 1)
    return row
