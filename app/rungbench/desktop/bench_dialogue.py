"""The procedure of a calibration on a thread of its own; its questions come to the window.

It is the procedure of ``rungbench bench calibrate``.  The thread owns the port while it measures;
nothing else may have it.  Breaking off keeps what was answered, in the draft of the board.
"""

import logging
import queue
import threading
import time
from dataclasses import dataclass
from typing import Final

from PySide6.QtCore import QObject, Qt, Signal

from pilotsignal.errors import PilotSignalError
from rungbench.calibrations.answers import Answers
from rungbench.calibrations.contact import Contact
from rungbench.calibrations.draft import Draft
from rungbench.calibrations.procedure import Job, calibrate
from rungbench.calibrations.record import Part
from rungbench.calibrations.volts import OFFERED_V
from rungbench.desktop.errands import FAULT
from rungbench.errors import Interrupted, PortBusy, RungbenchError
from rungbench.qualify.bench import calibration_for, is_simulated, store_for

CAUTION: Final = (
    "No charger may be connected, and the supply of the outlet under test must be off. Apply what "
    "is asked for between pilot contact and PE, from a source of 14 V at most."
)
BROKEN_OFF: Final = "Broken off. What was answered is kept; start again to go on with it."
_END_S: Final = 20.0
_FREE_S: Final = 5.0
_LOOK_S: Final = 0.2
_WAIT_S: Final = 0.0  # somebody answers when the level is there
_WORDS: Final = (
    ("begin anew with --restart", "tick Begin anew and start again"),
    ("calibrate again with --restart", "tick Begin anew and start again"),
    ("allow it with --arm", "allow C and D above"),
)
_log = logging.getLogger(__name__)


@dataclass(frozen=True, slots=True)
class Wish:
    """What is to be calibrated, where, by whom; `fresh` drops what was answered before.

    `armed` allows rungs C and D for the pulse width: with a generator at the contact, no charger.
    """

    url: str
    parts: tuple[Part, ...]
    operator: str = ""
    fresh: bool = False
    armed: bool = False
    levels_v: tuple[float, ...] = OFFERED_V


class _Signals(QObject):
    asked = Signal(str, str)
    said = Signal(str)
    made = Signal(object)
    over = Signal(str)


class _Course(threading.Thread):
    """One calibration from its first question to its end; the procedure's `Person` as well.

    A thread of Python's: what nobody caught reaches the crash file.
    """

    def __init__(self, wish: Wish) -> None:
        super().__init__(name="calibration")
        self.signals = _Signals()
        self._wish = wish
        self._answers: queue.SimpleQueue[str | None] = queue.SimpleQueue()
        self._wanted_off = threading.Event()

    # From the window's thread -------------------------------------------------------------------

    def answer(self, text: str) -> None:
        """What was typed; empty takes what is offered."""
        self._answers.put(text)

    def break_off(self) -> None:
        """Stop at once, also while something is measured."""
        self._wanted_off.set()
        self._answers.put(None)

    # The procedure's person -----------------------------------------------------------------------

    def ask(self, text: str, default: str | None) -> str:
        """Put a question and wait for the answer, for as long as it takes."""
        self._check()
        self.signals.asked.emit(text, default or "")
        answer = self._answers.get()
        if answer is None:
            raise Interrupted(BROKEN_OFF)
        return answer.strip() or default or ""

    def tell(self, text: str) -> None:
        """Say something."""
        self.signals.said.emit(text)

    # The thread -----------------------------------------------------------------------------------

    def run(self) -> None:
        """The thread's life."""
        sentence = FAULT
        try:
            self._calibrate()
            sentence = ""
        except (RungbenchError, PilotSignalError) as problem:
            sentence = str(problem)
        except OSError as problem:
            reason = problem.strerror or str(problem)
            sentence = f"{problem.filename or 'A file'} cannot be used ({reason}); check it."
        finally:
            for command, words in _WORDS:
                sentence = sentence.replace(command, words)
            self.signals.over.emit(sentence)

    def _calibrate(self) -> None:
        wish = self._wish
        store = store_for(is_simulated(wish.url))
        store.records()  # a damaged one is told before anybody begins to turn knobs
        contact = self._contact()
        board_id = contact.identity.board_id
        draft = Draft.in_folder(store.folder, board_id, fresh=wish.fresh)
        if draft.answers:
            self.tell(
                f"Going on with what was begun on {draft.begun:%Y-%m-%d %H:%M} UTC; "
                f"answers kept: {len(draft.answers)}."
            )
        job = Job(
            wish.parts, calibration_for(wish.url)(contact.identity), wish.operator, wish.levels_v
        )
        for record in calibrate(job, contact, Answers(draft, self, None), store):
            self.tell(f"Stored as {record.id}.")
            self.signals.made.emit(record)

    def _contact(self) -> Contact:
        """The contact; the window's own thread may take a moment to give the port back."""
        until = time.monotonic() + _FREE_S
        while True:
            self._check()
            try:
                return Contact(
                    self._wish.url,
                    wait_s=_WAIT_S,
                    armed=self._wish.armed,
                    check_stop=self._check,
                )
            except PortBusy:
                if time.monotonic() > until:
                    raise
                self._wanted_off.wait(_LOOK_S)

    def _check(self) -> None:
        if self._wanted_off.is_set():
            raise Interrupted(BROKEN_OFF)


class Dialogue(QObject):
    """A calibration seen from the window: signals that come queued, calls that do not wait.

    `asked` brings a question and what is offered as its answer; `ended` an empty sentence where all
    records were made.
    """

    asked = Signal(str, str)
    said = Signal(str)
    made = Signal(object)
    ended = Signal(str)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._course: _Course | None = None

    @property
    def running(self) -> bool:
        """Whether a calibration is in progress."""
        return self._course is not None

    def start(self, wish: Wish) -> None:
        """Begin, or go on with what was begun before."""
        if self._course is not None:
            return
        course = self._course = _Course(wish)
        queued = Qt.ConnectionType.QueuedConnection
        course.signals.asked.connect(self.asked, queued)
        course.signals.said.connect(self.said, queued)
        course.signals.made.connect(self.made, queued)
        course.signals.over.connect(self._on_over, queued)
        course.start()

    def answer(self, text: str) -> None:
        """Answer the question that was asked last."""
        if self._course is not None:
            self._course.answer(text)

    def break_off(self) -> None:
        """Stop; what was answered is kept."""
        if self._course is not None:
            self._course.break_off()

    def close(self) -> None:
        """Break off and wait for the thread, at the end of the program."""
        course, self._course = self._course, None
        if course is None:
            return
        course.break_off()
        course.join(_END_S)
        if course.is_alive():
            _log.error("the thread of the calibration does not end")

    def _on_over(self, sentence: str) -> None:
        course, self._course = self._course, None
        if course is not None:
            course.join(_END_S)
            self.ended.emit(sentence)


def kept_answers(url: str, board_id: str) -> int:
    """How many answers of an unfinished calibration of a board are kept."""
    folder = store_for(is_simulated(url)).folder
    try:
        return len(Draft.in_folder(folder, board_id).answers)
    except RungbenchError:
        return 0
