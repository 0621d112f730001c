"""Questions and where their answers come from: a file, an earlier start, or a person."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any, Generic, Protocol, TypeVar

from pilotsignal.errors import CalibrationError
from rungbench.calibrations.draft import Draft
from rungbench.errors import WrongUse

T = TypeVar("T")


class Person(Protocol):
    """Somebody who answers, and reads what is told."""

    def ask(self, text: str, default: str | None) -> str:
        """Put a question; an empty answer has become the default."""
        ...

    def tell(self, text: str) -> None:
        """Say something."""
        ...


@dataclass(frozen=True, slots=True)
class Question(Generic[T]):
    """One question: its key in files, its text, and how a text becomes the answer.

    `parse` raises `WrongUse` with a sentence.  Without a `default` it has to be answered.
    """

    key: str
    text: str
    parse: Callable[[str], T]
    default: str | None = None


class Answers:
    """Answers in this order: the file's, what was answered before, the person's.

    With a file nobody is asked; what it leaves out takes its default.
    """

    def __init__(self, draft: Draft, person: Person, given: Mapping[str, str] | None) -> None:
        self.draft, self.person, self._given = draft, person, given
        self._read: set[str] = set()

    @property
    def from_file(self) -> bool:
        """Whether a file answers."""
        return self._given is not None

    @property
    def unread(self) -> tuple[str, ...]:
        """Keys of the file that no question asked for."""
        return tuple(sorted(set(self._given or {}) - self._read))

    def keys(self, prefix: str) -> tuple[str, ...]:
        """What follows `prefix` in the keys of the file, in its order."""
        names = [key.removeprefix(prefix) for key in self._given or {} if key.startswith(prefix)]
        return tuple(names)

    def get(self, question: Question[T]) -> T:
        """The answer.

        Raises
        ------
        WrongUse : the file's answer makes no sense, or is missing and has no default.
        """
        if self._given is not None:
            return self._from_file(question, self._given)
        if question.key in self.draft.answers:
            return question.parse(self.draft.answers[question.key])
        while True:
            text = self.person.ask(question.text, question.default).strip()
            try:
                answer = question.parse(text)
            except (WrongUse, CalibrationError) as problem:
                self.person.tell(str(problem))
                continue
            self.draft.put(question.key, text)
            return answer

    def again(self, key: str, why: str) -> None:
        """An answer turned out to be wrong: forget it, so that it is asked anew.

        Raises
        ------
        WrongUse : a file gave it.
        """
        if self._given is not None:
            raise WrongUse(f"{key}: {why}")
        self.person.tell(why)
        self.draft.drop(key)

    def _from_file(self, question: Question[T], given: Mapping[str, str]) -> T:
        self._read.add(question.key)
        text = given.get(question.key, question.default)
        if text is None:
            raise WrongUse(f"The answer {question.key} is missing in the file ({question.text}).")
        try:
            return question.parse(text)
        except (WrongUse, CalibrationError) as problem:
            raise WrongUse(f"{question.key}: {problem}") from problem


def flat(plain: Mapping[str, Any], prefix: str = "") -> dict[str, str]:
    """Nested tables as texts by dotted keys, numbers with all their digits.

    Raises
    ------
    WrongUse : a list, which no question takes.
    """
    found: dict[str, str] = {}
    for key, value in plain.items():
        name = f"{prefix}{key}"
        if isinstance(value, Mapping):
            found |= flat(value, f"{name}.")
        elif isinstance(value, list):
            raise WrongUse(f"{name} is a list; write one key for each answer.")
        else:
            found[name] = repr(value) if isinstance(value, float) else str(value)
    return found


def number(
    low: float = -math.inf, high: float = math.inf, unit: str = ""
) -> Callable[[str], float]:
    """Reader of a finite number from `low` to `high`."""

    def parse(text: str) -> float:
        try:
            value = float(text)
        except ValueError:
            value = math.nan
        if not (math.isfinite(value) and low <= value <= high):
            room = f" from {low:g} to {high:g}" if math.isfinite(low) else ""
            raise WrongUse(f"{text!r} is no number{room} {unit}".rstrip() + "; type it again.")
        return value

    return parse


def text_of(what: str) -> Callable[[str], str]:
    """Reader of a text that must not be empty."""

    def parse(text: str) -> str:
        if not text.strip():
            raise WrongUse(f"State {what}.")
        return text.strip()

    return parse


def any_text(text: str) -> str:
    """Reader of a text that may be empty."""
    return text.strip()


def one_of(*words: str) -> Callable[[str], str]:
    """Reader of one of some words."""

    def parse(text: str) -> str:
        if text not in words:
            raise WrongUse(f"{text!r} is none of {', '.join(words)}; type one of them.")
        return text

    return parse


def last_day(today: date) -> Callable[[str], date]:
    """Reader of a day such as 2027-05-31, or of a number of days from `today`."""

    def parse(text: str) -> date:
        try:
            found = date.fromisoformat(text) if "-" in text else today + timedelta(int(text))
        except (ValueError, OverflowError):
            raise WrongUse(
                f"{text!r} is neither a day such as 2027-05-31 nor a number of days."
            ) from None
        if not today <= found <= today + timedelta(3653):
            raise WrongUse(f"{found.isoformat()} is past, or more than ten years away.")
        return found

    return parse
