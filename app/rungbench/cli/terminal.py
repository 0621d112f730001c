"""What all commands share on the terminal: verdicts by word, shape and colour, and safe text.

The colours are four of the Okabe-Ito palette, which colour-blind eyes tell
apart (M. Okabe, K. Ito, "Color Universal Design", 2008).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from rich.console import Console
from rich.text import Text


class PageConsole(Console):
    """A console on standard output, without guesses at what is to be coloured.

    A reader that has enough is told by the error that it is: the library's own answer would end
    the program with 1, which says that a charger failed.
    """

    def __init__(self, width: int | None = None) -> None:
        super().__init__(highlight=False, width=width)

    def on_broken_pipe(self) -> None:
        """Be silent from now on, and pass the error on."""
        self.quiet = True
        raise BrokenPipeError


@dataclass(frozen=True, slots=True)
class Face:
    """How a verdict looks; `plain` stands in where the terminal knows ASCII only."""

    shape: str
    plain: str
    colour: str


FACES: Final[Mapping[str, Face]] = {
    "pass": Face("●", "+", "#009e73"),
    "fail": Face("▲", "X", "bold #d55e00"),
    "undecided": Face("◐", "?", "#56b4e9"),
    "bench fault": Face("■", "!", "bold #cc79a7"),
    "incomplete": Face("◌", "/", "default"),
    "not run": Face("–", "-", "default"),
    "observed": Face("·", ".", "default"),
}

SIMULATED: Final = "SIMULATED"


def verdict_text(verdict: str, console: Console) -> Text:
    """A verdict of a check or a run: shape, word, colour."""
    face = FACES[verdict]
    shape = face.shape if console.encoding.lower().startswith("utf") else face.plain
    return Text(f"{shape} {verdict}", style=face.colour)


def printable(text: str) -> str:
    """`text` with everything that a terminal could obey written as its escaped code.

    Serial numbers come from scanners and notes from anywhere: neither may move the cursor, turn
    the direction of writing or break a line.
    """
    return "".join(one if one.isprintable() else ascii(one)[1:-1] for one in text)


def safe(text: str, style: str = "") -> Text:
    """`text` for a table or a line: never read as markup, never obeyed."""
    return Text(printable(text), style=style)
