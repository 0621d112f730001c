"""The summary of the shift on a page: tested, verdicts, faults, operators."""

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFrame, QGridLayout, QHBoxLayout, QScrollArea, QVBoxLayout, QWidget

from rungbench.archive.record import RunVerdict
from rungbench.desktop.run_control import RunControl
from rungbench.desktop.run_keys import labelled
from rungbench.desktop.run_labels import PlainLabel, button
from rungbench.desktop.run_shift import Share, Shift
from rungbench.desktop.verdict_mark import VerdictMark

_MOST = 12


class ShiftPage(QFrame):
    """Shows the shift that `control` counts."""

    def __init__(self, control: RunControl, size: float = 1.0) -> None:
        super().__init__()
        self._control, self._theme, self._size = control, control.room.theme, size
        self._shown: Shift | None = None
        self._title = PlainLabel(self._theme, size=1.6 * size, bold=True)
        self._since = PlainLabel(self._theme, size=size).colour("faint")
        self._body = QWidget()
        self._rows = QHBoxLayout(self._body)
        self._rows.setContentsMargins(0, 0, 0, 0)
        self._rows.setSpacing(self._theme.px(40))
        scroll = QScrollArea()
        scroll.setWidget(self._body)
        scroll.setWidgetResizable(True)
        scroll.setFrameShape(QFrame.Shape.NoFrame)
        scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        foot = QHBoxLayout()
        foot.addWidget(PlainLabel(self._theme, "F3: back to the run", size=size).colour("faint"))
        foot.addWidget(button(labelled("new shift"), control.new_shift))
        foot.addStretch(1)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self._title)
        layout.addWidget(self._since)
        layout.addWidget(scroll, 1)
        layout.addLayout(foot)
        control.changed.connect(self.refresh)

    def refresh(self) -> None:
        """Show the shift as it is."""
        shift = self._control.shift
        if shift is self._shown:
            return
        self._shown = shift
        chargers = "1 charger" if shift.chargers == 1 else f"{shift.chargers} chargers"
        runs = "1 run" if shift.runs == 1 else f"{shift.runs} runs"
        mark = "SIMULATED: " if self._control.simulated else ""
        self._title.setText(f"{mark}{chargers} tested in {runs}")
        self._since.setText(f"Shift since {shift.since:%Y-%m-%d %H:%M} UTC")
        self.setAccessibleName(f"Shift: {self._title.text()}")
        while (item := self._rows.takeAt(0)) is not None:
            widget = item.widget()
            if widget is not None:
                widget.hide()
                widget.deleteLater()
        for made in (self._verdicts(shift), self._faults(shift), self._operators(shift)):
            self._rows.addWidget(made, 0, Qt.AlignmentFlag.AlignTop)
        self._rows.addStretch(1)

    def _verdicts(self, shift: Shift) -> QWidget:
        box, grid = self._box("Verdicts")
        for row, verdict in enumerate(reversed(RunVerdict), start=1):
            mark = VerdictMark(self._theme, self._size)
            mark.show_verdict(verdict.value)
            grid.addWidget(mark, row, 0)
            count = PlainLabel(self._theme, f"{shift.count(verdict)}", size=self._size, bold=True)
            grid.addWidget(count, row, 1)
        return box

    def _faults(self, shift: Shift) -> QWidget:
        box, grid = self._box("Failed checks")
        if not shift.faults:
            grid.addWidget(self._text("None."), 1, 0, 1, 2)
        for row, (title, count) in enumerate(shift.faults[:_MOST], start=1):
            grid.addWidget(self._text(title), row, 0)
            grid.addWidget(PlainLabel(self._theme, f"{count}", size=self._size, bold=True), row, 1)
        return box

    def _operators(self, shift: Shift) -> QWidget:
        box, grid = self._box("Operators")
        for row, share in enumerate(shift.operators[:_MOST], start=1):
            grid.addWidget(self._text(share.name or "nobody named"), row, 0)
            grid.addWidget(self._text(share_text(share)), row, 1)
        return box

    def _box(self, title: str) -> tuple[QWidget, QGridLayout]:
        box = QWidget()
        grid = QGridLayout(box)
        grid.setContentsMargins(0, 0, 0, self._theme.px(10))
        grid.setColumnStretch(1, 1)
        grid.setHorizontalSpacing(self._theme.px(16))
        label = PlainLabel(self._theme, title, size=1.1 * self._size, bold=True)
        grid.addWidget(label, 0, 0, 1, 2)
        return box, grid

    def _text(self, text: str) -> PlainLabel:
        label = PlainLabel(self._theme, text, size=self._size)
        label.setWordWrap(False)
        return label


def share_text(share: Share) -> str:
    """What one operator did, in words."""
    runs = "1 run" if share.runs == 1 else f"{share.runs} runs"
    return f"{runs}: {share.passed} pass, {share.failed} fail, {share.other} other"
