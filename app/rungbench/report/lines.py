"""Text into lines of a given width: nothing in it is ever read as markup."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from rungbench.report.typefaces import needs_codes, spelled, width

# Nobody reads more of a serial number or a note on paper; the JSON holds all of it.
LONGEST: Final = 480
INK: Final = "#1a1a1a"
FAINT: Final = "#5a5a5a"
_IDEOGRAPHS: Final = 0x2E80


@dataclass(frozen=True, slots=True)
class Style:
    """Size in points, weight, colour; `leading` is the distance from line to line."""

    size: float = 8.0
    bold: bool = False
    colour: str = INK

    @property
    def leading(self) -> float:
        return self.size * 1.28


@dataclass(frozen=True, slots=True)
class Line:
    """One line of spelled text; `coded` says that characters stand in it as codes."""

    text: str
    style: Style
    coded: bool = False

    @property
    def width(self) -> float:
        return width(self.text, self.style.size, bold=self.style.bold)


def wrapped(text: str, room: float, style: Style, most: int = 0) -> tuple[Line, ...]:
    """`text` in lines no wider than `room` points.

    Parameters
    ----------
    most : lines at the most, the last one then ends in an ellipsis; 0: any number.
    """
    kept = text if len(text) <= LONGEST else f"{text[:LONGEST]}… ({len(text)} characters)"
    coded = needs_codes(kept)
    lines = [Line(one, style, coded) for one in _broken(spelled(kept), room, style)]
    if most and len(lines) > most:
        lines = [*lines[: most - 1], _shortened(lines[most - 1], room)]
    return tuple(lines)


def one_line(text: str, room: float, style: Style) -> Line:
    """`text` in one line, cut with an ellipsis where it is too wide."""
    return wrapped(text, room, style, most=1)[0]


def _shortened(line: Line, room: float) -> Line:
    text = line.text
    while text and width(f"{text}…", line.style.size, bold=line.style.bold) > room:
        text = text[:-1]
    return replace(line, text=f"{text}…")


def _broken(text: str, room: float, style: Style) -> Iterator[str]:
    line, used = "", 0.0
    for piece in _pieces(text):
        size = width(piece, style.size, bold=style.bold)
        if used + size <= room or piece == " ":
            line, used = line + piece, used + size
            continue
        if line.strip():
            yield line.rstrip()
        line, used = piece, size
        while used > room and len(line) > 1:
            fitting = _fitting(line, room, style)
            yield line[:fitting]
            line = line[fitting:]
            used = width(line, style.size, bold=style.bold)
    yield line.rstrip()


def _pieces(text: str) -> Iterator[str]:
    """Words, spaces and single ideographs: a line may end after each of them."""
    word = ""
    for one in text:
        if one == " " or ord(one) >= _IDEOGRAPHS:
            if word:
                yield word
            yield one
            word = ""
        else:
            word += one
    if word:
        yield word


def _fitting(text: str, room: float, style: Style) -> int:
    """How many characters of one long word fit, at least one."""
    used = 0.0
    for count, one in enumerate(text):
        used += width(one, style.size, bold=style.bold)
        if used > room:
            return max(1, count)
    return len(text)
