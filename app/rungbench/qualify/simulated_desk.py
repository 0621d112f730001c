"""The operator of a simulated bench: does to the simulated charger what a question asks."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from rungbench.link.words import TICKS_PER_SECOND
from rungbench.qualify.desk import Answer, Ask, Desk, EmptyDesk, Question, Reply, Wish
from rungbench.simulated.operator import Operator

_THINKS_S: Final = 1.0
_RESTARTS_S: Final = 8.0

Hand = Callable[[Operator, Question], None]

_HANDS: Final[dict[Ask, Hand]] = {
    Ask.AUTHORISE: lambda hand, _: hand.change(authorised="yes"),
    Ask.WITHDRAW: lambda hand, _: hand.change(offers="no"),
    Ask.OFFER: lambda hand, _: hand.change(offers="yes"),
    Ask.SET_CURRENT: lambda hand, question: hand.set_current(question.ampere or 0.0),
    Ask.RESTART: lambda hand, _: hand.restart(),
    Ask.CLEAR: lambda hand, _: hand.restart(),
}
_TAKES_S: Final = {Ask.RESTART: _RESTARTS_S, Ask.CLEAR: _RESTARTS_S}


@dataclass(slots=True)
class SimulatedDesk:
    """Does what is asked a second later, unless `script` says what to answer.

    `script` is asked first, and only what it answers with *done* is done to the charger.
    """

    operator: Operator
    script: Desk | None = None
    _question: Question | None = None
    _due: int | None = None

    def put(self, question: Question, tick: int, /) -> None:
        """Note what is to be done, and when."""
        self._question, self._due = question, None
        if self.script is not None:
            self.script.put(question, tick)
        else:
            self._act(question, tick)

    def answer(self, tick: int, /) -> Answer | None:
        """Done, when it was; or what the script says."""
        question = self._question
        if question is None:
            return None
        if self.script is not None and self._due is None:
            answer = self.script.answer(tick)
            if answer is None or answer.reply is not Reply.DONE:
                return answer
            self._act(question, tick)
        if self._due is None or tick < self._due:
            return None
        self._question = None
        return Answer(Reply.DONE)

    def take_back(self) -> None:
        """The question is no longer open."""
        self._question = None
        if self.script is not None:
            self.script.take_back()

    def wish(self) -> Wish | None:
        """What the script wants."""
        return (self.script or EmptyDesk()).wish()

    def _act(self, question: Question, tick: int) -> None:
        _HANDS[question.ask](self.operator, question)
        self._due = tick + round(_TAKES_S.get(question.ask, _THINKS_S) * TICKS_PER_SECOND)
