"""The desk of a run in the window: questions go out with what the run tells, answers come in.

No Qt: the runner's thread puts and looks, the window's thread answers; both through queues.
"""

import queue
from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from rungbench.desktop.commands import Tell
from rungbench.qualify.desk import Answer, Desk, Question, Wish


@dataclass(frozen=True, slots=True)
class QuestionPut:
    """A question is open; `tick` is the board's time, `answered_by` who answers if not a person."""

    number: int
    question: Question
    tick: int
    answered_by: str = ""


@dataclass(frozen=True, slots=True)
class QuestionGone:
    """The question is no longer open."""

    number: int


class WindowDesk:
    """Questions for people in front of the window.

    An answer names the question that it is for, so that one that comes late answers no other.
    """

    def __init__(self, tell: Tell, answered_by: str = "") -> None:
        self._tell, self._answered_by = tell, answered_by
        self._answers: queue.SimpleQueue[tuple[int, Answer]] = queue.SimpleQueue()
        self._wishes: queue.SimpleQueue[Wish] = queue.SimpleQueue()
        self._number, self._open = 0, False

    # From the window's thread -------------------------------------------------------------------

    def reply(self, number: int, answer: Answer) -> None:
        """The answer to question `number`."""
        self._answers.put((number, answer))

    def want(self, wish: Wish) -> None:
        """A wish to be looked at between two steps."""
        self._wishes.put(wish)

    # From the runner's thread -------------------------------------------------------------------

    def put(self, question: Question, tick: int, /) -> None:
        """Show a question."""
        self._number += 1
        self._open = True
        self._tell(QuestionPut(self._number, question, tick, self._answered_by))

    def answer(self, _tick: int, /) -> Answer | None:
        """The answer, once there is one."""
        while True:
            try:
                number, answer = self._answers.get_nowait()
            except queue.Empty:
                return None
            if number == self._number and self._open:
                self._close()
                return answer

    def take_back(self) -> None:
        """Its time is over, or the run ends."""
        if self._open:
            self._close()

    def wish(self) -> Wish | None:
        """The next wish."""
        try:
            return self._wishes.get_nowait()
        except queue.Empty:
            return None

    def _close(self) -> None:
        self._open = False
        self._tell(QuestionGone(self._number))


class _Answering(Protocol):
    """What answers in place of a person."""

    def put(self, question: Question, tick: int, /) -> None:
        """A question."""

    def answer(self, tick: int, /) -> Answer | None:
        """Its answer."""

    def take_back(self) -> None:
        """It is no longer open."""


@dataclass(slots=True)
class HelpedDesk:
    """Somebody else answers; the window shows the question and keeps its wishes."""

    window: WindowDesk
    helper: _Answering

    def put(self, question: Question, tick: int, /) -> None:
        """To both."""
        self.window.put(question, tick)
        self.helper.put(question, tick)

    def answer(self, tick: int, /) -> Answer | None:
        """The helper's."""
        answer = self.helper.answer(tick)
        if answer is not None:
            self.window.take_back()
        return answer

    def take_back(self) -> None:
        """From both."""
        self.window.take_back()
        self.helper.take_back()

    def wish(self) -> Wish | None:
        """What people want."""
        return self.window.wish()


MakeDesk = Callable[[WindowDesk], Desk]
"""Makes the desk of a run around that of the window."""
