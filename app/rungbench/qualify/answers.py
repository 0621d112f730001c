"""Answers from a file: what an operator will have done, so that nobody need stand there."""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from rungbench.errors import InputError, WrongUse
from rungbench.link.words import TICKS_PER_SECOND
from rungbench.qualify.desk import Answer, Ask, Question, Reply, Wish

SCHEMA: Final = "rungbench.answers/1"
_TOP: Final = ("schema", "answer")
_KEYS: Final = ("to", "ampere", "reply", "reason", "after_s")


@dataclass(frozen=True, slots=True)
class Scripted:
    """One answer of a file, given `after_s` of board time after its question."""

    to: Ask
    answer: Answer
    after_s: float = 1.0
    ampere: float | None = None

    def fits(self, question: Question) -> bool:
        """Whether it answers this question."""
        return self.to is question.ask and self.ampere in (None, question.ampere)


@dataclass(slots=True)
class ScriptDesk:
    """Answers questions from a list, each entry once and in order; the last of a kind stays.

    A question that nothing in the list answers cannot be done.
    """

    script: list[Scripted]
    _open: tuple[Question, int] | None = None
    _used: set[int] = field(default_factory=set)

    def put(self, question: Question, tick: int, /) -> None:
        """Note the question and when it was put."""
        self._open = (question, tick)

    def answer(self, tick: int, /) -> Answer | None:
        """The answer of the first unused entry that fits, when its time has come."""
        if self._open is None:
            return None
        question, put = self._open
        index = self._entry(question)
        if index is None:
            return Answer(Reply.CANNOT, "the file of answers has none for it")
        entry = self.script[index]
        if tick - put < entry.after_s * TICKS_PER_SECOND:
            return None
        self._used.add(index)
        self._open = None
        return entry.answer

    def take_back(self) -> None:
        """The question is no longer open."""
        self._open = None

    def wish(self) -> Wish | None:
        """A file wants nothing between steps."""
        return None

    def _entry(self, question: Question) -> int | None:
        fitting = [n for n, entry in enumerate(self.script) if entry.fits(question)]
        fresh = [n for n in fitting if n not in self._used]
        return fresh[0] if fresh else (fitting[-1] if fitting else None)


def read_answers(path: Path) -> list[Scripted]:
    """The answers in a file.

    Raises
    ------
    InputError : it cannot be read or is not TOML.
    WrongUse : not a file of answers, an unknown key, or a value of the wrong kind.
    """
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as problem:
        raise InputError(
            f"The answers {path} cannot be read: {problem.strerror}; check the path."
        ) from problem
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as problem:
        raise InputError(f"The answers {path} are not TOML: {problem}.") from problem
    _known(table, _TOP, str(path))
    rows = table.get("answer", [])
    if table.get("schema") != SCHEMA or not isinstance(rows, list) or not rows:
        raise WrongUse(
            f"{path} holds no answers; it needs schema = {SCHEMA!r} and [[answer]] tables."
        )
    return [_scripted(row, f"{path}, answer {n}") for n, row in enumerate(rows, start=1)]


def _scripted(row: Any, place: str) -> Scripted:
    if not isinstance(row, dict):
        raise WrongUse(f"{place}: each answer is a table under its own [[answer]] line.")
    _known(row, _KEYS, place)
    reply = _word(row, "reply", Reply, place, Reply.DONE)
    reason = row.get("reason", "")
    if not isinstance(reason, str):
        raise WrongUse(f"{place}: reason must be a text in quotes.")
    if reply is Reply.CANNOT and not reason.strip():
        raise WrongUse(f"{place}: 'cannot' needs a reason, for the record.")
    after = _number(row, "after_s", place)
    return Scripted(
        _word(row, "to", Ask, place),
        Answer(reply, reason),
        1.0 if after is None else after,
        _number(row, "ampere", place),
    )


def _known(row: Mapping[str, Any], keys: tuple[str, ...], place: str) -> None:
    for key in row:
        if key not in keys:
            raise WrongUse(f"{place}: there is no key {key!r}; known: {', '.join(keys)}.")


def _word(row: Mapping[str, Any], key: str, words: Any, place: str, default: Any = None) -> Any:
    value = row.get(key, default)
    try:
        return words(value)
    except ValueError:
        known = ", ".join(words)
        raise WrongUse(f"{place}: {key} is {value!r} and must be one of {known}.") from None


def _number(row: Mapping[str, Any], key: str, place: str) -> float | None:
    value = row.get(key)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not 0 <= value <= 3600:
        raise WrongUse(f"{place}: {key} must be a number from 0 to 3600.")
    return float(value)
