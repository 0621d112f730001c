"""The operator's desk on a terminal: questions as lines, answers from the keyboard.

The keyboard is looked at between the board's messages and never waited for, so that the
stand-in is watched while somebody walks to the charger.
"""

import select
import sys
from collections.abc import Callable
from typing import Final, TextIO

from rich.console import Console
from rich.text import Text

from rungbench.cli.terminal import safe
from rungbench.qualify.desk import Answer, Question, Reply, Want, Wish

_HOW: Final = "Enter: done.  Anything typed before Enter: why it cannot be done."
_WISHES: Final = "Between steps, then Enter: 'pause', 'go on', 'repeat [step]', 'skip REASON'."


# What was typed of a line so far, where the system gives single keys.
_typed: list[str] = []


def line_from(stream: TextIO) -> str | None:
    """A whole line that was typed, without its end, or ``None``; never waits for one."""
    if sys.platform == "win32":
        import msvcrt

        while msvcrt.kbhit():
            key = msvcrt.getwch()
            if key in "\r\n":
                line = "".join(_typed)
                _typed.clear()
                return line
            _typed.append(key)
        return None
    ready, _, _ = select.select([stream], [], [], 0)
    if not ready:
        return None
    line = stream.readline()
    return line.rstrip("\r\n") if line else None


class TerminalDesk:
    """Questions on a console, answers by `read`, which gives a typed line or ``None``."""

    def __init__(self, console: Console, read: Callable[[], str | None] | None = None) -> None:
        self._console = console
        self._read = read or (lambda: line_from(sys.stdin))
        self._question: Question | None = None

    def put(self, question: Question, _tick: int, /) -> None:
        """Show the question."""
        self._question = question
        self._console.print(Text(f"\n  ?  {safe(question.text)}", style="bold"))
        self._console.print(Text(f"     {_HOW} There are {question.limit_s:g} s.", style="dim"))

    def answer(self, _tick: int, /) -> Answer | None:
        """What was typed, if a line was."""
        if self._question is None:
            return None
        line = self._read()
        if line is None:
            return None
        self._question = None
        return Answer(Reply.CANNOT, line.strip()) if line.strip() else Answer(Reply.DONE)

    def take_back(self) -> None:
        """Say so if nobody answered."""
        if self._question is not None:
            self._console.print(Text("     The question is withdrawn.", style="dim"))
        self._question = None

    def wish(self) -> Wish | None:
        """A wish that was typed between steps; what is none is answered with those there are."""
        line = self._read()
        if not line or not line.strip():
            return None
        wish = wish_of(line.strip())
        if wish is None:
            self._console.print(Text(f"     {_WISHES}", style="dim"))
        return wish


def wish_of(line: str) -> Wish | None:
    """The wish in a typed line, or ``None``."""
    for want in Want:
        if line == want or line.startswith(f"{want} "):
            rest = line[len(want) :].strip()
            if want is Want.SKIP and not rest:
                return None
            return Wish(want, rest) if want is Want.SKIP else Wish(want, step=rest)
    return None
