"""The typefaces of a report: which characters they show, and how wide.

They ship with the program and are embedded as subsets, so that a report looks the same on every
machine.  A character that none of them shows, that a reader could not see, or that would turn the
direction of writing is spelled out as its code.
"""

import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files
from io import BytesIO
from typing import Any, Final

REGULAR: Final = "report"
BOLD: Final = "report-bold"
EASTERN: Final = "report-eastern"
_FILES: Final = {
    REGULAR: "DejaVuSansCondensed.ttf",
    BOLD: "DejaVuSansCondensed-Bold.ttf",
    EASTERN: "DroidSansFallback.ttf",
}
# The first character that the eastern typeface is asked for: what lies below is in the others.
_EASTERN_FROM: Final = 0x1100
# Right to left, and digits that follow it: letters would stand in the wrong order and unjoined.
_RIGHT_TO_LEFT: Final = ("R", "AL", "AN")


@dataclass(frozen=True, slots=True)
class Typeface:
    """One registered typeface; widths in thousandths of its size."""

    name: str
    font: Any
    widths: Mapping[int, float]

    def shows(self, character: str) -> bool:
        """Whether the character leaves ink; a blank counts only as a space."""
        face, code = self.font.face, ord(character)
        glyph = face.charToGlyph.get(code)
        if glyph is None or code not in self.widths:
            return False
        return character == " " or face.glyphPos[glyph] != face.glyphPos[glyph + 1]


@cache
def typeface(name: str) -> Typeface:
    """A typeface by name, registered with the PDF library at its first use."""
    # Late: the library takes a sixth of a second to import.
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    content = files(__package__).joinpath("typefaces", _FILES[name]).read_bytes()
    font = TTFont(name, BytesIO(content), asciiReadable=False, shapable=False)
    pdfmetrics.registerFont(font)
    return Typeface(name, font, font.face.charWidths)


@lru_cache(maxsize=8192)
def face_of(character: str, bold: bool) -> str:
    """Name of the typeface that shows a character; empty if none does."""
    name = BOLD if bold else REGULAR
    if typeface(name).shows(character):
        return name
    if ord(character) >= _EASTERN_FROM and typeface(EASTERN).shows(character):
        return EASTERN
    return ""


@lru_cache(maxsize=8192)
def _spelled(character: str) -> str:
    if (
        character.isprintable()
        and unicodedata.bidirectional(character) not in _RIGHT_TO_LEFT
        and face_of(character, bold=False)
        and face_of(character, bold=True)
    ):
        return character
    return ascii(character)[1:-1]


def spelled(text: str) -> str:
    """`text` composed (NFC), with what cannot be shown as it is written as its code."""
    return "".join(_spelled(one) for one in unicodedata.normalize("NFC", text))


def needs_codes(text: str) -> bool:
    """Whether `spelled` writes any character of `text` as its code."""
    return any(_spelled(one) != one for one in unicodedata.normalize("NFC", text))


def width(text: str, size: float, *, bold: bool = False) -> float:
    """Width in points of spelled text."""
    total = 0.0
    for one in text:
        total += typeface(face_of(one, bold)).widths[ord(one)]
    return total * size / 1000.0


def runs(text: str, *, bold: bool = False) -> tuple[tuple[str, str], ...]:
    """Spelled text in stretches of one typeface each: name and text."""
    found: list[tuple[str, str]] = []
    for one in text:
        name = face_of(one, bold)
        if found and found[-1][0] == name:
            found[-1] = (name, found[-1][1] + one)
        else:
            found.append((name, one))
    return tuple(found)
