"""What keys and buttons of a run do, for both faces: questions for texts, papers, pages."""

from collections.abc import Callable, Mapping
from functools import partial
from typing import Final

from PySide6.QtWidgets import QWidget

from rungbench.desktop.run_control import RunControl
from rungbench.desktop.run_fields import AskedLine
from rungbench.desktop.run_papers import papers_folder
from rungbench.desktop.run_slip import slip_of
from rungbench.qualify.desk import Answer, Reply
from rungbench.report.files import write_file

_ASKED: Final = {
    "cannot": "Why can it not be done?",
    "skip": "Why is the next step skipped?",
    "reason": "Why is this charger tested again?",
    "operator": "Who is the operator?",
    "repeat": "Which step is repeated (empty: the last one)?",
}


class RunHands:
    """Carries out what is asked for; `back` is called when a line was answered or left."""

    def __init__(
        self, control: RunControl, line: AskedLine, face: QWidget, back: Callable[[], None]
    ) -> None:
        self._control, self._line, self._face, self._back = control, line, face, back
        self._again = ""
        line.given.connect(self._given)
        line.left.connect(back)
        control.ended.connect(self._over)

    def acts(self) -> Mapping[str, Callable[[], None]]:
        """What each key does."""
        control = self._control
        return {
            "operator": self.operator,
            "report": control.report_and_next,
            "next": control.next_charger,
            "pause": control.pause,
            "done": partial(control.answer, Answer(Reply.DONE)),
            "cannot": partial(self.ask, "cannot"),
            "skip": partial(self.ask, "skip"),
            "repeat": self.repeat,
            "bare": partial(control.start, armed=False),
            "slip": self.save_slip,
            "print": self.print_slip,
            "new shift": control.new_shift,
        }

    def ask(self, purpose: str) -> None:
        """Ask for a text in place, if there is something to ask for."""
        control = self._control
        question = control.progress.question if control.progress else None
        open_question = question is not None and not question.answered_by
        if purpose == "cannot" and not open_question:
            return
        if purpose in ("skip", "repeat") and not control.running:
            return
        self._line.ask(purpose, _ASKED[purpose])

    def operator(self) -> None:
        """Another operator."""
        choice = self._control.choice
        if choice is not None and not self._control.running:
            self._line.ask("operator", _ASKED["operator"], choice.operator)

    def repeat(self) -> None:
        """Repeat a step: which ones there are stands in the question."""
        control = self._control
        if not control.running or control.progress is None:
            return
        names = ", ".join(control.progress.steps_done()[-6:])
        self._line.ask("repeat", f"{_ASKED['repeat']} {names}")

    def scanned(self, text: str) -> None:
        """A scan; of a charger that was tested before the reason is asked for."""
        if self._control.scan(text):
            return
        if self._control.asks_reason:
            self._again = text
            self._line.ask("reason", _ASKED["reason"])

    def save_slip(self) -> None:
        """The hold slip as PDF beside the reports."""
        control, outcome = self._control, self._control.outcome
        slip = None if outcome is None else slip_of(outcome.record, outcome.explanations)
        if slip is None or outcome is None:
            control.tell("There is no hold slip: no charger is here that did not pass.")
            return
        from rungbench.desktop.run_slip_page import slip_pdf

        folder = papers_folder(control.room.preferences)
        file = folder / f"rungbench-{outcome.record.run_id}-hold.pdf"
        content = slip_pdf(slip)
        done = f"The hold slip is {file}."
        control.errand(
            lambda _: write_file(file, content), lambda _: control.tell(done), control.tell
        )

    def print_slip(self) -> None:
        """The hold slip on a printer."""
        outcome = self._control.outcome
        slip = None if outcome is None else slip_of(outcome.record, outcome.explanations)
        if slip is None:
            self._control.tell("There is no hold slip: no charger is here that did not pass.")
            return
        from rungbench.desktop.run_slip_page import print_slip

        if print_slip(slip, self._face):
            self._control.tell("The hold slip was sent to the printer.")

    def _over(self, _outcome: object) -> None:
        """What was asked for the run that ended is asked no longer."""
        if self._line.purpose in ("cannot", "skip", "repeat"):
            self._line.leave()

    def _given(self, purpose: str, text: str) -> None:
        control = self._control
        match purpose:
            case "cannot":
                control.answer(Answer(Reply.CANNOT, text.strip()))
            case "skip":
                control.skip(text)
            case "repeat":
                control.repeat(text.strip())
            case "operator":
                control.name_operator(text)
            case "reason":
                control.state_reason(text)
                if text.strip():
                    control.scan(self._again)
            case _:
                pass
        self._back()
