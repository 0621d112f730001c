"""Calibration: records with the days on which they end, and the dialogue that makes new ones."""

from datetime import UTC, date, datetime
from typing import Final

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QCheckBox,
    QFrame,
    QLabel,
    QLineEdit,
    QPlainTextEdit,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from rungbench.calibrations.record import Part
from rungbench.desktop.bench_dialogue import CAUTION, Wish, kept_answers
from rungbench.desktop.bench_model import PART_WORDS, Shown, missing_parts, shown_records
from rungbench.desktop.bench_pairs import Title
from rungbench.desktop.bench_table import ReadTable
from rungbench.desktop.notes import SIMULATED
from rungbench.desktop.run_flow import FlowLayout
from rungbench.desktop.snapshots import LinkState
from rungbench.desktop.theme import Theme
from rungbench.qualify.bench import store_for

_COLUMNS: Final = ("What", "Made on", "By", "Ends on", "State", "Record")
_NO_BENCH: Final = "Records of all boards; connect a bench to calibrate it."
_LETTERS: Final = {Part.VOLTS: "&v", Part.CLOCK: "c&l", Part.PARTS: "&r", Part.WIDTHS: "&p"}


def today() -> date:
    """The day, in UTC as all dates of records."""
    return datetime.now(UTC).date()


class CalibrationPage(QWidget):
    """`start` carries a `Wish`; questions are put and answers taken by text."""

    start = Signal(object)
    answered = Signal(str)
    broken_off = Signal()

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self._link = LinkState()
        self._offered = ""
        self._asking = self._running = False
        self.operator = ""
        self._build()
        theme.changed.connect(self._restyle)
        self._restyle()

    # Widgets ----------------------------------------------------------------------------------

    def _build(self) -> None:
        self.remark = QLabel(_NO_BENCH)
        self.remark.setWordWrap(True)
        self.records = ReadTable(self._theme, "Calibration records", _COLUMNS, 4)
        self.simulated = QLabel(f"{SIMULATED}: this calibrates nothing but a simulated bench.")
        self.simulated.setObjectName("simulated")
        self.simulated.setWordWrap(True)
        self.simulated.hide()
        column = QVBoxLayout(self)
        column.addWidget(Title(self._theme, "Calibration records"))
        column.addWidget(self.simulated)
        column.addWidget(self.remark)
        column.addWidget(self.records, 2)
        column.addWidget(Title(self._theme, "Calibrate"))
        column.addWidget(self._wishes())
        column.addWidget(self._dialogue(), 3)

    def _wishes(self) -> QWidget:
        page = QWidget()
        self.parts: dict[Part, QCheckBox] = {}
        row = FlowLayout(self._theme.px(8))
        for part, letter in _LETTERS.items():
            words = PART_WORDS[part]
            box = QCheckBox(words.replace(letter.replace("&", ""), letter, 1))
            box.setChecked(True)
            self.parts[part] = box
            row.addWidget(box)
        self.fresh = QCheckBox("Begin a&new: drop what was answered before")
        self.armed = QCheckBox("No charger is there: rungs C and &D are allowed")
        self.armed.setToolTip("The width of pulses is then calibrated on them as well.")
        # A scanner's space must not tick it; Alt with a letter comes from no scanner.
        self.armed.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.begin = QPushButton("Start or &go on")
        self.begin.clicked.connect(self._start)
        second = FlowLayout(self._theme.px(8), centred=True)
        for widget in (self.begin, self.fresh):
            second.addWidget(widget)
        caution = QLabel(CAUTION)
        caution.setWordWrap(True)
        column = QVBoxLayout(page)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(caution)
        column.addLayout(row)
        column.addWidget(self.armed)
        column.addLayout(second)
        self._wishes_page = page
        return page

    def _dialogue(self) -> QWidget:
        page = QFrame()
        self.question = QLabel("")
        self.question.setWordWrap(True)
        self.question.setTextFormat(Qt.TextFormat.PlainText)
        self.answer = QLineEdit()
        self.answer.setAccessibleName("Answer")
        self.answer.returnPressed.connect(self._answer)
        self.question.setBuddy(self.answer)
        self.give = QPushButton("Answer (Enter)")
        self.give.clicked.connect(self._answer)
        self.stop = QPushButton("Break off (Esc)")
        self.stop.clicked.connect(self.broken_off)
        deeds = FlowLayout(self._theme.px(6))
        deeds.addWidget(self.give)
        deeds.addWidget(self.stop)
        self.course = QPlainTextEdit()
        self.course.setReadOnly(True)
        self.course.setTabChangesFocus(True)
        self.course.setAccessibleName("Course of the calibration")
        column = QVBoxLayout(page)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.question)
        column.addWidget(self.answer)
        column.addLayout(deeds)
        column.addWidget(self.course, 1)
        self._show_running()
        return page

    def _restyle(self) -> None:
        self.question.setFont(self._theme.font(1.15, bold=True))

    # Records ----------------------------------------------------------------------------------

    def show_link(self, link: LinkState) -> None:
        """Another bench; while a calibration has the port the old one stays."""
        if self._running:
            return
        self._link = link
        self.simulated.setVisible(link.simulated)
        self.begin.setEnabled(link.up)
        self.look_again()

    def look_again(self) -> None:
        """Read the records anew."""
        identity = self._link.identity
        board_id = identity.board_id if identity is not None else ""
        shown = shown_records(store_for(self._link.simulated), board_id, today())
        self.records.fill(
            [
                (
                    PART_WORDS[row.record.part],
                    row.record.made.on.isoformat(),
                    row.record.made.by,
                    row.record.made.valid_until.isoformat(),
                    row.state,
                    row.record.id,
                )
                for row in shown.rows
            ]
        )
        for number, row in enumerate(shown.rows):
            if not row.in_use:
                self.records.tint(number, self._theme.colour("faint"))
        self.remark.setText(self._remark(shown, board_id))

    def _remark(self, shown: Shown, board_id: str) -> str:
        if shown.remarks:
            return " ".join(shown.remarks)
        if not board_id:
            return _NO_BENCH
        said = f"Records of board {board_id}."
        missing = missing_parts(shown)
        if missing:
            words = ", ".join(PART_WORDS[part] for part in missing)
            said += f" Not calibrated here: {words}."
        kept = kept_answers(self._link.url, board_id)
        if kept:
            answers = "one answer" if kept == 1 else f"{kept} answers"
            said += f" An unfinished calibration waits with {answers}."
        return said

    # The dialogue -----------------------------------------------------------------------------

    def _start(self) -> None:
        chosen = tuple(part for part, box in self.parts.items() if box.isChecked())
        if not chosen:
            self.course.setPlainText("Choose at least one part to calibrate.")
            return
        self.start.emit(
            Wish(
                self._link.url,
                chosen,
                self.operator,
                fresh=self.fresh.isChecked(),
                armed=self.armed.isChecked(),
            )
        )

    def began(self) -> None:
        """The port is being given to the calibration."""
        self._running = True
        self.course.setPlainText("The bench goes to open and is given to the calibration.")
        self._show_running()

    def ask(self, text: str, offered: str) -> None:
        """Put a question; an empty answer takes what is offered."""
        self._asking, self._offered = True, offered
        self.question.setText(f"{text}?" if text[-1:].isalnum() else text)
        self.answer.clear()
        self.answer.setPlaceholderText(f"Enter alone takes: {offered}" if offered else "")
        self.answer.setAccessibleName(text)
        self.answer.setAccessibleDescription(self.answer.placeholderText())
        self._show_running()
        self.answer.setFocus()

    def tell(self, text: str) -> None:
        """A line of the course."""
        self.course.appendPlainText(text)

    def ended(self, sentence: str) -> None:
        """It is over; an empty sentence says that all records were made."""
        self._running = self._asking = False
        self.tell(sentence or "Finished: all records are stored.")
        self.fresh.setChecked(False)
        self.armed.setChecked(False)
        self._show_running()
        self.look_again()
        self.begin.setFocus()

    def _answer(self) -> None:
        if not self._asking:
            return
        self._asking = False
        text = self.answer.text().strip()
        self.tell(f"{self.question.text()}  {text or self._offered}")
        self.question.setText("Measuring")
        self._show_running()
        self.answered.emit(text)

    def _show_running(self) -> None:
        self._wishes_page.setEnabled(not self._running)
        for widget in (self.answer, self.give):
            widget.setEnabled(self._asking)
        self.stop.setEnabled(self._running)
        if not self._running:
            self.question.setText("No calibration is in progress.")
            self.answer.clear()
            self.answer.setPlaceholderText("")
