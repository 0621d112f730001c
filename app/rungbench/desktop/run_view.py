"""The Run view: one charger after another through a plan, with evidence while it is stored."""

from dataclasses import dataclass
from functools import partial

from PySide6.QtCore import QObject, QTimer, Signal, Slot
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QVBoxLayout, QWidget

from rungbench.archive.record import CheckResult
from rungbench.archive.store import open_archive
from rungbench.desktop.errands import Cancel, Errand
from rungbench.desktop.handing import NextUnit, ShowShift, explain
from rungbench.desktop.lots_band import LotBand
from rungbench.desktop.records_traces import Trace, trace_of, trace_of_check
from rungbench.desktop.room import Room
from rungbench.desktop.run_choice import Model, sheets_folder
from rungbench.desktop.run_control import RunControl
from rungbench.desktop.run_course import CourseBar, left_text
from rungbench.desktop.run_evidence import EvidencePanel
from rungbench.desktop.run_fields import AskedLine, has_focus_inside, typed_text
from rungbench.desktop.run_flow import FlowLayout, Halves, Pages
from rungbench.desktop.run_hands import RunHands
from rungbench.desktop.run_inspection import InspectionFace
from rungbench.desktop.run_keys import bind, labelled
from rungbench.desktop.run_labels import PlainLabel, button
from rungbench.desktop.run_options import Options
from rungbench.desktop.run_options_form import OptionsForm
from rungbench.desktop.run_progress import Stage, step_text
from rungbench.desktop.run_prompt import PromptBand
from rungbench.desktop.run_setup import SetupBand
from rungbench.desktop.run_sheet_form import SheetForm
from rungbench.desktop.run_shift_page import ShiftPage
from rungbench.desktop.run_table import LineTable
from rungbench.desktop.run_verdict import VerdictBand
from rungbench.desktop.side import into_sight

_FOOT = ("report", "slip", "pause", "skip", "repeat", "shift", "inspection")


@dataclass(slots=True)
class _Parts:
    """The widgets of the page."""

    setup: SetupBand
    line: AskedLine
    sentence: PlainLabel
    prompt: PromptBand
    verdict: VerdictBand
    course: CourseBar
    step: PlainLabel
    table: LineTable
    evidence: EvidencePanel
    shift: ShiftPage
    form: SheetForm
    options: OptionsForm


class RunPage(QWidget):
    """The page; what is typed where nothing takes it goes to the serial number.

    `inspect` asks for inspection mode.
    """

    inspect = Signal()

    def __init__(self, room: Room, control: RunControl) -> None:
        super().__init__()
        self.setObjectName("page")
        self.control, self._theme = control, room.theme
        theme = room.theme
        self.parts = _Parts(
            SetupBand(control),
            AskedLine(theme),
            PlainLabel(theme, bold=True),
            PromptBand(control),
            VerdictBand(control),
            CourseBar(theme),
            PlainLabel(theme).colour("faint"),
            LineTable(theme),
            EvidencePanel(theme),
            ShiftPage(control),
            SheetForm(theme, sheets_folder()),
            OptionsForm(theme),
        )
        self.hands = RunHands(control, self.parts.line, self, self.take_scans)
        self.pages = Pages()
        self._lay_out()
        self._wire()

    def _lay_out(self) -> None:
        parts, theme = self.parts, self._theme
        split = Halves(theme, parts.table, parts.evidence, [780, 480])
        run = QWidget()
        column = QVBoxLayout(run)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(theme.px(8))
        self.lot = LotBand(self.control)
        for part in (parts.setup, self.lot, parts.line, parts.sentence, parts.prompt):
            column.addWidget(part)
        column.addWidget(parts.verdict)
        column.addWidget(parts.course)
        column.addWidget(parts.step)
        column.addWidget(split, 1)
        column.addLayout(self._foot())
        for page in (run, parts.shift, parts.form, parts.options):
            self.pages.addWidget(page)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, theme.px(8), 0, 0)
        whole.addWidget(self.pages)

    def _foot(self) -> FlowLayout:
        acts = dict(self.hands.acts())
        acts["shift"] = self.toggle_shift
        acts["inspection"] = self.inspect.emit
        acts["report"] = self._report_or_use
        acts["back"] = self.show_run
        acts["options"] = self._state
        self.parts.prompt.cannot.clicked.connect(partial(self.hands.ask, "cannot"))
        self.parts.setup.operator.clicked.connect(self.hands.operator)
        self.buttons = {name: button(labelled(name), acts[name]) for name in _FOOT}
        row = FlowLayout(self._theme.px(6))
        for made in self.buttons.values():
            row.addWidget(made)
        bind(self, acts)
        return row

    def _wire(self) -> None:
        parts, control = self.parts, self.control
        parts.setup.serial.scanned.disconnect()
        parts.setup.serial.scanned.connect(self.hands.scanned)
        parts.setup.describe.connect(self._describe)
        parts.form.done.connect(self._described)
        parts.form.left.connect(self.show_run)
        parts.setup.state.connect(self._state)
        parts.options.done.connect(self._stated)
        parts.options.left.connect(self.show_run)
        parts.options.by_hand.connect(control.let_answer_by_hand)
        control.changed.connect(self.refresh)
        control.ticked.connect(self._tick)
        control.checked.connect(self._on_checked)
        parts.table.chosen.connect(self._on_chosen)
        parts.table.asked.connect(lambda check, said: explain(control.room, check, said))

    # What is shown ------------------------------------------------------------------------------

    def refresh(self) -> None:
        """Show what the control holds."""
        parts, control = self.parts, self.control
        parts.sentence.setText(control.sentence)
        parts.sentence.setVisible(bool(control.sentence))
        progress = control.progress
        parts.table.lines.show_lines(control.lines)
        parts.course.setVisible(control.running)
        parts.step.setVisible(control.running)
        step = None if progress is None else progress.step
        if step is not None and control.running:
            told = step_text(step.step, step.attempt)
            parts.step.setText(f"Step {step.number} of {step.steps}: {told}")
        else:
            parts.step.setText("Looking at the archive and the board.")
        if progress is not None and progress.stage is Stage.PAUSED:
            parts.step.setText("Paused on open; F6 goes on.")
        for name in ("pause", "skip", "repeat"):
            self.buttons[name].setEnabled(control.running)
        for name in ("report", "slip"):
            self.buttons[name].setEnabled(control.outcome is not None)
        if control.outcome is not None and control.outcome.record.verdict == "pass":
            self.buttons["slip"].setEnabled(False)
        self._tick()

    def _tick(self) -> None:
        progress, control = self.control.progress, self.control
        if progress is None or not control.running or not self.isVisible():
            return
        at_s = control.at_s
        left = left_text(progress.left_s(at_s))
        self.parts.course.show_course(progress.stage, progress.share(at_s), left)

    def _on_checked(self, check: str) -> None:
        if not has_focus_inside(self.parts.table):
            self.parts.table.look_at(check)

    def _on_chosen(self, _check: str) -> None:
        line = self.parts.table.current
        result = None if line is None else line.result
        self.parts.evidence.show_result(result, "" if line is None else line.title)
        # While checks come faster than captures are read, the newest ones wait for the end.
        if result is not None and result.captures and not self.control.errands.busy:
            self._read_trace(result)

    def _read_trace(self, result: CheckResult) -> None:
        """The captures of a check, from the archive that the run goes to."""
        control, outcome = self.control, self.control.outcome
        place = control.archive if outcome is None else outcome.archive
        simulated = control.simulated
        if place is None:
            return

        def read(_cancel: Cancel) -> Trace:
            with open_archive(place, simulated, create=False) as archive:
                if outcome is None:
                    return trace_of(result.title, result.captures, archive.load_capture)
                return trace_of_check(result, outcome.record, archive.load_capture)

        def show(trace: Trace) -> None:
            line = self.parts.table.current
            if line is not None and line.result is result:
                self.parts.evidence.show_traces((trace,))

        self.control.errands.start(Errand(read, show, self.control.room.say))

    # Pages --------------------------------------------------------------------------------------

    def take_scans(self) -> None:
        """What is scanned next goes to the serial number."""
        if self.pages.currentIndex() == 0:
            self.parts.setup.serial.setFocus()

    def show_run(self) -> None:
        """Back to the run."""
        self.pages.setCurrentIndex(0)
        self.take_scans()

    def toggle_shift(self) -> None:
        """The summary of the shift, or back."""
        if self.pages.currentIndex() == 1:
            self.show_run()
        else:
            self.show_shift()

    def show_shift(self) -> None:
        """The summary of the shift."""
        self.parts.shift.refresh()
        self.pages.setCurrentIndex(1)
        self.parts.shift.setFocus()

    def _report_or_use(self) -> None:
        """The same key finishes whatever page is shown."""
        match self.pages.currentIndex():
            case 2:
                self.parts.form.use()
            case 3:
                self.parts.options.use()
            case _:
                self.control.report_and_next()

    def _describe(self) -> None:
        self.pages.setCurrentIndex(2)
        self.parts.form.ask()

    def _state(self) -> None:
        control, choice = self.control, self.control.choice
        if choice is None or control.running:
            return
        if choice.model.lot is not None:
            control.tell("A lot is tested as it was ordered; it has no options.")
            return
        self.pages.setCurrentIndex(3)
        self.parts.options.ask(choice, simulated=control.simulated, by_hand=control.by_hand)

    def _stated(self, options: Options) -> None:
        self.control.choose_options(options)
        self.show_run()

    def _described(self, model: Model) -> None:
        self.control.add_model(model)
        self.show_run()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """What nobody takes and can be read was meant for the serial number."""
        text = typed_text(event)
        if text and self.pages.currentIndex() == 0 and not self.control.running:
            self.parts.setup.serial.begin(text)
        else:
            super().keyPressEvent(event)


class RunView(QObject):
    """The view; see the package's docstring."""

    name = "Run"

    def __init__(self, room: Room) -> None:
        super().__init__()
        self.room = room
        self.control = RunControl(room)
        self.page = RunPage(room, self.control)
        self.page.inspect.connect(self.inspect)
        self.inspection: InspectionFace | None = None
        self.control.ended.connect(self._on_ended)
        self.page.refresh()

    @property
    def widget(self) -> QWidget:
        """The page."""
        return self.page

    def shown(self) -> None:
        """The serial number takes the next scan."""
        self.page.refresh()
        self.page.take_scans()

    def hidden(self) -> None:
        """Nothing is painted."""

    def take(self, what: object) -> None:
        """Another view hands over a lot whose next unit is tested, or asks for the shift."""
        if isinstance(what, NextUnit):
            self.page.show_run()
            self.control.take_lot(what.state)
        elif isinstance(what, ShowShift):
            self.page.show_shift()

    def arm(self) -> None:
        """The key that arms was pressed while this view is in front: the run begins."""
        self.control.start(armed=True)

    def close(self) -> None:
        """End the thread of errands and the full screen."""
        if self.inspection is not None:
            self.inspection.close()
        self.control.close()

    def inspect(self) -> None:
        """Full screen, by keys only; the cautions are confirmed before."""
        self.room.cautions.confirmed(self._enter)

    def _enter(self) -> None:
        if self.inspection is None:
            self.inspection = InspectionFace(self.control)
            self.inspection.left.connect(self._leave)
        self.inspection.enter()

    @Slot()
    def _leave(self) -> None:
        self.page.window().activateWindow()
        self.page.take_scans()

    @Slot(object)
    def _on_ended(self, _outcome: object) -> None:
        """What failed is looked at first; the next scan can come."""
        progress = self.control.progress
        lines = [] if progress is None else list(progress.lines.values())
        for verdict in ("fail", "bench fault", "undecided"):
            found = next((line for line in lines if line.verdict == verdict), None)
            if found is not None:
                self.page.parts.table.look_at(found.check)
                break
        self.page.take_scans()
        # Once it has its place: with large letters it may lie below what is seen.
        QTimer.singleShot(0, self._verdict_into_sight)

    def _verdict_into_sight(self) -> None:
        if self.page.parts.verdict.isVisible():
            into_sight(self.page.parts.verdict)
