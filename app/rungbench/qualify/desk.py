"""The operator's desk: what a run asks of people, and what people ask of a run.

A run never waits for a person with its eyes shut: it puts a question on the desk and goes on
taking the board's messages while it looks for an answer.
"""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final, Protocol

from rungbench.link.words import Setting


class Ask(StrEnum):
    """What an operator can be asked to do with the charger."""

    AUTHORISE = "authorise"
    WITHDRAW = "withdraw the offer"
    OFFER = "offer again"
    SET_CURRENT = "set the current"
    RESTART = "restart the charger"
    CLEAR = "clear the fault"


_TEXTS: Final = {
    Ask.AUTHORISE: "Authorise the charger as its user would (card, key, app), then confirm.",
    Ask.WITHDRAW: "Stop the charge at the charger itself (lock, app, schedule), then confirm.",
    Ask.OFFER: "Let the charger offer its current again, then confirm.",
    Ask.SET_CURRENT: "Set the charger to {ampere:g} A, then confirm.",
    Ask.RESTART: "Switch the charger's supply off, wait 5 s, switch it on again, then confirm.",
    Ask.CLEAR: "Clear the charger's fault as its manual says, then confirm.",
}


@dataclass(frozen=True, slots=True)
class Question:
    """A question with the time there is to answer it; `setting` is what is presented meanwhile."""

    ask: Ask
    setting: Setting
    limit_s: float
    ampere: float | None = None

    @property
    def text(self) -> str:
        """What to do, in a sentence."""
        text = _TEXTS[self.ask]
        return text if self.ampere is None else text.format(ampere=self.ampere)


class Reply(StrEnum):
    """How an operator answers."""

    DONE = "done"
    CANNOT = "cannot"
    """It cannot be done on this charger; a reason goes with it."""


@dataclass(frozen=True, slots=True)
class Answer:
    """An answer; without `reason` an operator who cannot is not believed."""

    reply: Reply
    reason: str = ""


class Want(StrEnum):
    """What an operator can want of a run between two steps."""

    PAUSE = "pause"
    GO_ON = "go on"
    SKIP = "skip"
    REPEAT = "repeat"


@dataclass(frozen=True, slots=True)
class Wish:
    """A wish; skipping needs a reason, repeating a step's name or nothing for the last one."""

    want: Want
    reason: str = ""
    step: str = ""


class Desk(Protocol):
    """Where questions are put and answers are found; used by the runner's thread."""

    def put(self, question: Question, tick: int, /) -> None:
        """Show a question; `tick` is the board's time."""

    def answer(self, tick: int, /) -> Answer | None:
        """The answer to the question, once; ``None`` while there is none."""

    def take_back(self) -> None:
        """The question is no longer open: its time is over, or the run ends."""

    def wish(self) -> Wish | None:
        """The next wish, or ``None``."""


class EmptyDesk:
    """Nobody is there: every question is answered that it cannot be done."""

    def put(self, question: Question, tick: int, /) -> None:
        """Nobody reads it."""

    def answer(self, _tick: int, /) -> Answer | None:
        """It cannot be done."""
        return Answer(Reply.CANNOT, "nobody was there to answer (--answers FILE would)")

    def take_back(self) -> None:
        """There was nothing."""

    def wish(self) -> Wish | None:
        """Nobody wants anything."""
        return None
