"""The summary of the shift on a page: tested, verdicts, faults, operators; since when; to files."""

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFrame, QGridLayout, QScrollArea, QVBoxLayout, QWidget

from rungbench.archive.record import RunVerdict, utc_now
from rungbench.desktop.run_control import RunControl
from rungbench.desktop.run_fields import AskedLine
from rungbench.desktop.run_flow import FlowLayout
from rungbench.desktop.run_keys import bind, labelled
from rungbench.desktop.run_labels import PlainLabel, button
from rungbench.desktop.run_papers import papers_folder
from rungbench.desktop.run_shift import Shift, moment_of
from rungbench.desktop.run_shift_papers import NOBODY, Papers, share_text, write_shift
from rungbench.desktop.verdict_mark import VerdictMark
from rungbench.errors import WrongUse

_MOST = 12


class ShiftPage(QFrame):
    """Shows the shift that `control` counts."""

    def __init__(self, control: RunControl, size: float = 1.0) -> None:
        super().__init__()
        self._control, self._theme, self._size = control, control.room.theme, size
        self._shown: Shift | None = None
        self._title = PlainLabel(self._theme, size=1.6 * size, bold=True)
        self._since = PlainLabel(self._theme, size=size).colour("faint")
        self.sentence = PlainLabel(self._theme, size=size, bold=True)
        self.line = AskedLine(self._theme, size=size)
        self._body = QWidget()
        self._rows = FlowLayout(self._theme.px(40), self._body)
        scroll = QScrollArea()
        scroll.setWidget(self._body)
        scroll.setWidgetResizable(True)
        scroll.setFrameShape(QFrame.Shape.NoFrame)
        scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(self._title)
        layout.addWidget(self._since)
        layout.addLayout(self._deeds())
        layout.addWidget(self.line)
        layout.addWidget(self.sentence)
        layout.addWidget(scroll, 1)
        control.changed.connect(self.refresh)
        self.line.given.connect(self._given)
        self.line.left.connect(self.setFocus)
        self._say("")

    def _deeds(self) -> FlowLayout:
        """The keys that go with the page; the face it is part of binds the one that leads back."""
        acts = {
            "since": self.ask_since,
            "new shift": self._begin,
            "save shift": self.save,
        }
        bind(self, {name: acts[name] for name in ("since", "save shift")})
        row = FlowLayout(self._theme.px(6))
        for name, act in acts.items():
            row.addWidget(button(labelled(name), act))
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        return row

    # What it does -------------------------------------------------------------------------------

    def _begin(self) -> None:
        self._say("")
        self._control.new_shift()

    def ask_since(self) -> None:
        """Ask when the shift began."""
        self.line.ask("since", "Since (UTC):", f"{self._control.shift.since:%Y-%m-%d %H:%M}")

    def _given(self, _purpose: str, text: str) -> None:
        self.setFocus()
        try:
            since = moment_of(text, utc_now())
        except WrongUse as problem:
            self._say(str(problem))
            return
        self._say("")
        self._control.new_shift(since)

    def save(self) -> None:
        """Write the summary as text and as CSV beside the reports."""
        control = self._control
        shift, until, simulated = control.shift, utc_now(), control.simulated
        folder = papers_folder(control.room.preferences)
        control.errand(
            lambda _: write_shift(shift, until, folder, simulated=simulated), self._saved, self._say
        )

    def _saved(self, papers: Papers) -> None:
        self._say(f"The summary is {papers.text}, and as a table {papers.table.name} beside it.")

    def _say(self, sentence: str) -> None:
        self.sentence.setText(sentence)
        self.sentence.setVisible(bool(sentence))

    # What is shown ------------------------------------------------------------------------------

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
        self._since.setText(f"Shift since {shift.since:%Y-%m-%d %H:%M} UTC.  F3: back to the run")
        self.setAccessibleName(f"Shift: {self._title.text()}")
        while (item := self._rows.takeAt(0)) is not None:
            widget = item.widget()
            if widget is not None:
                widget.hide()
                widget.deleteLater()
        for made in (self._verdicts(shift), self._faults(shift), self._operators(shift)):
            self._rows.addWidget(made)

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
        self._more(grid, len(shift.faults))
        return box

    def _operators(self, shift: Shift) -> QWidget:
        box, grid = self._box("Operators")
        if not shift.operators:
            grid.addWidget(self._text("None."), 1, 0, 1, 2)
        for row, share in enumerate(shift.operators[:_MOST], start=1):
            grid.addWidget(self._text(share.name or NOBODY), row, 0)
            grid.addWidget(self._text(share_text(share)), row, 1)
        self._more(grid, len(shift.operators))
        return box

    def _more(self, grid: QGridLayout, count: int) -> None:
        """That a page has no room for all of them."""
        if count > _MOST:
            left = self._text(f"and {count - _MOST} more in the files")
            grid.addWidget(left, _MOST + 1, 0, 1, 2)

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
