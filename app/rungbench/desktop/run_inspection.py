"""Inspection mode: the whole screen, by keys and scanner only, the verdict seen from afar."""

from functools import partial
from typing import Final, Protocol

from PySide6.QtCore import QRectF, Qt, Signal
from PySide6.QtGui import QKeyEvent, QPainter, QPaintEvent, QResizeEvent, QScreen, QShowEvent
from PySide6.QtWidgets import QHBoxLayout, QSizePolicy, QVBoxLayout, QWidget

from rungbench.archive.record import RunVerdict
from rungbench.desktop.lots_band import LotBand
from rungbench.desktop.palette import VERDICT_COLOURS
from rungbench.desktop.run_control import Phase, RunControl
from rungbench.desktop.run_course import CourseBar, left_text
from rungbench.desktop.run_fields import AskedLine, SerialEdit, typed_text
from rungbench.desktop.run_flow import Pages
from rungbench.desktop.run_hands import RunHands
from rungbench.desktop.run_keys import bind
from rungbench.desktop.run_labels import PlainLabel
from rungbench.desktop.run_progress import step_text
from rungbench.desktop.run_prompt import PromptBand
from rungbench.desktop.run_shift_page import ShiftPage
from rungbench.desktop.run_verdict import finding_text, meaning_text
from rungbench.desktop.theme import Theme
from rungbench.desktop.verdict_mark import draw_shape

_KEYS: Final = {
    Phase.CHOOSE: "F3 shift   F4 operator   F11 leave",
    Phase.READY: "Ctrl+F9 arm and start   F3 shift   F4 operator   F11 leave",
    Phase.RUNNING: "Esc stop, open   F6 pause   Ctrl+F6 skip   Ctrl+F7 repeat",
    Phase.DONE: "F5 report and next   F12 hold slip   F3 shift   F4 operator   F11 leave",
}


_USUAL: Final = 760  # height of a screen at which everything has its usual size, at 100 %
_FAR: Final = 0.36  # of the height, for the word
_TEXT: Final = 0.22
_TEXT_SIZES: Final = (1.5, 1.2, 1.0, 0.8, 0.65)


class Sized(Protocol):
    """Something whose letters can have another size."""

    def size_to(self, size: float) -> None:
        """`size` times the usual font."""


class FarVerdict(QWidget):
    """Shape and word as large as they fit."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme, self._word = theme, ""
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)

    def show_word(self, word: str, spoken: str = "") -> None:
        """A verdict, or other words without a shape."""
        self._word = word
        self.setAccessibleName(spoken or word)
        self.update()

    def letters_px(self) -> int:
        """Size of the letters."""
        across = 1.5 * self.width() / max(4, len(self._word))
        return max(10, int(min(self.height() * 0.45, across)))

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Shape above, word below, on the whole width."""
        if not self._word:
            return
        painter = QPainter(self)
        known = self._word in VERDICT_COLOURS
        width, height = float(self.width()), float(self.height())
        font = self._theme.font(1.0, bold=True)
        font.setPixelSize(self.letters_px())
        painter.setFont(font)
        line = float(painter.fontMetrics().height())
        room = height - line
        if known:
            box = QRectF(0.0, 0.0, width, max(10.0, room))
            draw_shape(painter, self._word, box, self._theme)
        painter.setPen(self._theme.colour(VERDICT_COLOURS.get(self._word, "ink")))
        where = QRectF(0.0, room if known else 0.0, width, line if known else height)
        painter.drawText(where, Qt.AlignmentFlag.AlignCenter, self._word)
        painter.end()


class InspectionFace(QWidget):
    """The same run as the view's, for an inspector who stands; `left` when it was put away."""

    left = Signal()

    def __init__(self, control: RunControl) -> None:
        super().__init__(None, Qt.WindowType.Window)
        self.setObjectName("page")
        self.setAttribute(Qt.WidgetAttribute.WA_StyledBackground)
        self.setWindowTitle("Rungbench: inspection")
        self.control, theme = control, control.room.theme
        self._theme = theme
        self.far = FarVerdict(theme)
        self.serial = SerialEdit(theme, size=3.0)
        self.line = AskedLine(theme, size=1.5)
        self._top = PlainLabel(theme, size=1.3)
        self._simulated = PlainLabel(theme, "SIMULATED", size=1.3, bold=True)
        self._simulated.setObjectName("simulated")
        self._simulated.setWordWrap(False)
        self._sentence = PlainLabel(theme, size=1.8, bold=True)
        self._text = PlainLabel(theme, size=1.5)
        self._course = CourseBar(theme, size=1.6)
        self._prompt = PromptBand(control, size=1.5)
        self._keys = PlainLabel(theme, size=1.3).colour("faint")
        self._tally = PlainLabel(theme, size=1.3, bold=True)
        self.lot = LotBand(control, size=1.3)
        self.shift = ShiftPage(control, size=1.5)
        self.pages = Pages()
        self._sizes: tuple[tuple[Sized, float], ...] = (
            (self.serial, 3.0),
            (self._sentence, 1.8),
            (self._course, 1.6),
            *((part, 1.3) for part in (self._top, self._simulated, self._keys, self._tally)),
        )
        self.hands = RunHands(control, self.line, self, self.take_scans)
        self._lay_out()
        self._wire()

    def _lay_out(self) -> None:
        theme = self._theme
        head = QHBoxLayout()
        head.addWidget(self._simulated)
        head.addWidget(self._top, 1)
        run = QWidget()
        column = QVBoxLayout(run)
        column.setSpacing(theme.px(10))
        column.addWidget(self.serial)
        for part in (self.lot, self._sentence, self._prompt, self._course):
            column.addWidget(part)
        column.addWidget(self.far, 1)
        column.addWidget(self._text)
        self.pages.addWidget(run)
        self.pages.addWidget(self.shift)
        foot = QHBoxLayout()
        foot.addWidget(self._keys, 1)
        foot.addWidget(self._tally)
        self._tally.setWordWrap(False)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(theme.px(28), theme.px(20), theme.px(28), theme.px(16))
        whole.addLayout(head)
        whole.addWidget(self.line)
        whole.addWidget(self.pages, 1)
        whole.addLayout(foot)

    def _wire(self) -> None:
        acts = dict(self.hands.acts())
        acts["shift"], acts["inspection"] = self.toggle_shift, self.leave
        self._prompt.cannot.clicked.connect(partial(self.hands.ask, "cannot"))
        bind(self, acts)
        self.serial.scanned.connect(self.hands.scanned)
        self.control.changed.connect(self.refresh)
        self.control.ticked.connect(self._tick)
        self._theme.changed.connect(self.refresh)

    def enter(self) -> None:
        """Fill the screen."""
        self.pages.setCurrentIndex(0)
        self.refresh()
        # Where nobody manages windows, the wish for the full screen alone is not heard.
        self.setGeometry(self.control_screen().geometry())
        self.showFullScreen()
        self.activateWindow()
        self.take_scans()

    def control_screen(self) -> QScreen:
        """The screen to fill."""
        return self.screen()

    def leave(self) -> None:
        """Back to the window."""
        self.hide()
        self.left.emit()

    def take_scans(self) -> None:
        """What is scanned next names a charger."""
        self.serial.setFocus()

    def toggle_shift(self) -> None:
        """The summary of the shift, or back."""
        self.shift.refresh()
        self.pages.setCurrentIndex(1 - self.pages.currentIndex())
        if self.pages.currentIndex() == 0:
            self.take_scans()
        else:
            self.shift.setFocus()

    # What is shown ------------------------------------------------------------------------------

    def refresh(self) -> None:
        """Show what the control holds."""
        if not self.isVisible() and self.isWindow() and self._keys.text():
            return
        control = self.control
        self._simulated.setVisible(control.simulated)
        self._top.setText(self._about())
        self.serial.show_serial(control.serial)
        self.serial.setReadOnly(control.running)
        self._sentence.setText(control.sentence)
        self._sentence.setVisible(bool(control.sentence))
        self._course.setVisible(control.running)
        self._keys.setText(_KEYS[control.phase])
        shift = control.shift
        failed = shift.count(RunVerdict.FAIL)
        self._tally.setText(f"{shift.chargers} tested, {failed} failed")
        self._middle()
        self._tick()

    def showEvent(self, event: QShowEvent) -> None:
        """Now it is worth showing."""
        super().showEvent(event)
        self.refresh()

    def _about(self) -> str:
        choice = self.control.choice
        if choice is None:
            return "No model sheet is chosen; choose one in the window (F11)."
        operator = choice.operator or "nobody named"
        return f"{choice.model.title}    {choice.plan.title}    {operator}"

    def _middle(self) -> None:
        control = self.control
        word = text = spoken = ""
        match control.phase:
            case Phase.CHOOSE:
                word = "scan"
                text = "Scan the serial number of the next charger."
            case Phase.READY:
                word = "ready"
                text = "Connect the charger, then arm and start with Ctrl+F9."
            case Phase.RUNNING:
                word = self._running_word()
                text = self._running_text()
            case Phase.DONE:
                outcome = control.outcome
                word = "" if outcome is None else outcome.record.verdict.value
                spoken = f"verdict: {word}"
                if outcome is not None:
                    text = f"{meaning_text(outcome)}\n{finding_text(outcome)}".strip()
        self.far.show_word(word, spoken)
        self._text.setText(text)
        self._fit()

    def _fit(self) -> None:
        """The word stays large on any screen: what stands around it gives way."""
        height = self.control_screen().geometry().height()
        share = min(1.0, height / self._theme.px(_USUAL))
        for part, size in self._sizes:
            part.size_to(size * share)
        self.far.setMinimumHeight(round(_FAR * height))
        width = max(1, self._text.width())
        for size in _TEXT_SIZES:
            self._text.size_to(size * share)
            if self._text.heightForWidth(width) <= _TEXT * height:
                break

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Another screen."""
        super().resizeEvent(event)
        self._fit()

    def _running_word(self) -> str:
        progress = self.control.progress
        return "" if progress is None else progress.stage.value

    def _running_text(self) -> str:
        progress = self.control.progress
        if progress is None or progress.step is None:
            return ""
        counts = progress.counts()
        told = [f"{number} {word}" for word, number in counts.items() if word]
        step = progress.step
        where = f"Step {step.number} of {step.steps}: {step_text(step.step, step.attempt)}"
        return f"{where}\n{', '.join(told)}"

    def _tick(self) -> None:
        progress = self.control.progress
        if progress is None or not self.control.running or not self.isVisible():
            return
        at_s = self.control.at_s
        left = left_text(progress.left_s(at_s))
        self._course.show_course(progress.stage, progress.share(at_s), left)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """What nobody takes and can be read was meant for the serial number."""
        text = typed_text(event)
        if text and self.pages.currentIndex() == 0 and not self.control.running:
            self.serial.begin(text)
        else:
            super().keyPressEvent(event)
