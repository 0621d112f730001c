"""Self-check: the board against itself, line by line, on the bench that is connected."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Final
from urllib.parse import parse_qsl, urlsplit

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QGridLayout,
    QLabel,
    QLineEdit,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from pilotsignal.judge import Verdict
from rungbench.calibrations.board_check import CLOCK_S, Extent, check_board
from rungbench.calibrations.check_line import CheckLine, Line
from rungbench.desktop.bench_pairs import Title
from rungbench.desktop.commands import Job
from rungbench.desktop.figures import localised
from rungbench.desktop.run_flow import FlowLayout
from rungbench.desktop.snapshots import JobEnd
from rungbench.desktop.theme import Theme
from rungbench.desktop.verdict_mark import VerdictMark
from rungbench.standin.board import StandIn

TITLE: Final = "Self-check"
_LONGEST_S: Final = 3600.0
_WORST: Final = (Verdict.BENCH_FAULT, Verdict.UNDECIDED, Verdict.PASS)
_ABOUT: Final = (
    "The board looks at itself: its converter, noise, missing codes, clocks, lost conversions and "
    "relays. Only the rungs open and B are presented. It needs no reference, and replaces no "
    "calibration. Esc stops it."
)


@dataclass(frozen=True, slots=True)
class Doing:
    """What is being looked at now."""

    text: str


def self_check(extent: Extent) -> Job:
    """The job for the runner's thread; it tells `Doing` and lines, and returns all lines."""
    return Job(TITLE, partial(_check, extent))


def _check(
    extent: Extent, standin: StandIn, tell: Callable[[object], None]
) -> tuple[CheckLine, ...]:
    lines = []
    for line in check_board(standin, extent, lambda text: tell(Doing(text))):
        tell(line)
        lines.append(line)
    return tuple(lines)


def worst_of(lines: tuple[CheckLine, ...]) -> Verdict:
    """The verdict over all lines; nothing looked at is undecided."""
    found = [one for one in _WORST if any(line.verdict is one for line in lines)]
    return found[0] if found else Verdict.UNDECIDED


def extent_for(url: str, clock_s: float) -> Extent:
    """What can be looked at: of simulated benches only those in real time have a clock."""
    simulated = url.lower().startswith("sim://")
    speeds = [value for key, value in parse_qsl(urlsplit(url).query) if key == "speed"]
    if clock_s > 0.0 and simulated and speeds[-1:] != ["1"]:
        return Extent(0.0, "A simulated bench keeps no real time; add speed=1 to its address.")
    return Extent(clock_s)


class CheckPage(QWidget):
    """Starts by `start`; lines appear as they come."""

    start = Signal(float)

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self._rows: list[tuple[QLabel, VerdictMark, QLabel]] = []
        self.lines: list[CheckLine] = []
        self._build()

    def _build(self) -> None:
        about = QLabel(_ABOUT)
        about.setWordWrap(True)
        self.clock = QLineEdit(f"{CLOCK_S:g}")
        self.clock.setMaximumWidth(self._theme.px(80))
        self.clock.setAccessibleName(
            "For how many seconds the board's clock is compared with the computer's; 0: not at all"
        )
        label = QLabel("Compare the &clocks for, s")
        label.setBuddy(self.clock)
        self.begin = QPushButton("S&tart the self-check")
        self.begin.clicked.connect(self._ask)
        self.clock.returnPressed.connect(self._ask)
        self.doing = QLabel("")
        self.doing.setObjectName("link")
        self.overall = VerdictMark(self._theme, 1.6)
        self.overall.hide()
        self.doing.setWordWrap(True)
        row = FlowLayout(self._theme.px(6), centred=True)
        for widget in (self.begin, label, self.clock, self.overall):
            row.addWidget(widget)
        inside = QWidget()
        inside.setObjectName("page")
        self._grid = QGridLayout(inside)
        self._grid.setColumnStretch(2, 1)
        self._grid.setHorizontalSpacing(self._theme.px(16))
        self._grid.setVerticalSpacing(self._theme.px(6))
        self._grid.setAlignment(Qt.AlignmentFlag.AlignTop)
        scroll = QScrollArea()
        scroll.setWidgetResizable(True)
        scroll.setFrameShape(QScrollArea.Shape.NoFrame)
        scroll.setWidget(inside)
        scroll.setAccessibleName("Lines of the self-check")
        column = QVBoxLayout(self)
        column.addWidget(Title(self._theme, TITLE))
        column.addWidget(about)
        column.addLayout(row)
        column.addWidget(self.doing)
        column.addWidget(scroll, 1)
        for line in Line:
            self._add(line)

    def _ask(self) -> None:
        try:
            seconds = float(self.clock.text().replace(",", "."))
        except ValueError:
            seconds = -1.0
        if not 0.0 <= seconds <= _LONGEST_S:
            self.doing.setText(f"State 0 to {_LONGEST_S:g} s for the clocks; 0: not at all.")
        elif self.begin.isEnabled():
            self.start.emit(seconds)

    def _add(self, line: Line) -> None:
        name, mark, text = QLabel(line.value), VerdictMark(self._theme), QLabel("")
        text.setWordWrap(True)
        text.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        row = len(self._rows)
        top = Qt.AlignmentFlag.AlignTop
        self._grid.addWidget(name, row, 0, top)
        self._grid.addWidget(mark, row, 1, top)
        self._grid.addWidget(text, row, 2)
        self._rows.append((name, mark, text))

    # The course -------------------------------------------------------------------------------

    def began(self) -> None:
        """The job was given to the bench."""
        self.lines.clear()
        self.overall.hide()
        for _, mark, text in self._rows:
            mark.show_verdict("")
            text.setText("")
        self.begin.setEnabled(False)
        self.doing.setText("Waiting for the bench")

    def take(self, told: object) -> None:
        """Something that the job tells."""
        match told:
            case Doing(text):
                self.doing.setText(f"Looking at: {text}")
            case CheckLine():
                self.lines.append(told)
                _, mark, text_label = self._rows[list(Line).index(told.line)]
                mark.show_verdict(told.verdict.value)
                text_label.setText(localised(told.text))
                text_label.setAccessibleName(f"{told.line}: {told.verdict}, {text_label.text()}")
            case _:
                pass

    def ended(self, end: JobEnd) -> None:
        """The job is over."""
        self.begin.setEnabled(True)
        if end.sentence:
            self.doing.setText("Not finished: nothing is said of the lines that are empty.")
            self._show_overall("incomplete")
            return
        self.doing.setText("Finished.")
        self._show_overall(worst_of(tuple(self.lines)).value)

    def _show_overall(self, verdict: str) -> None:
        self.overall.show_verdict(verdict)
        self.overall.show()
