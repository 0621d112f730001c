"""Tables and headings that flow over pages; a row is never torn apart."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from rungbench.report.lines import FAINT, INK, Line, Style, wrapped
from rungbench.report.sheet import LEFT, RIGHT, WIDTH, Sheet, plain

BODY: Final = Style(7.6)
SMALL: Final = Style(6.8, colour=FAINT)
STRONG: Final = Style(7.6, bold=True)
_HEADING: Final = Style(11.0, bold=True)
_FOOT: Final = Style(6.6, colour=FAINT)
_RULE: Final = "#c8c8c8"
_GAP: Final = 6.0
_PAD: Final = 2.4
# No cell is higher than this, so that a row always fits a page.
_MOST_LINES: Final = 48
_NARROW_NAMES: Final = 62.0

Cell = tuple[Line, ...]


@dataclass(frozen=True, slots=True)
class Column:
    """Heading and width in points."""

    title: str
    width: float

    @property
    def inner(self) -> float:
        return self.width - _GAP


def columns(*named: tuple[str, float]) -> tuple[Column, ...]:
    """Columns whose shares of the width of the page are given."""
    total = sum(share for _, share in named)
    return tuple(Column(title, share / total * WIDTH) for title, share in named)


def heading(sheet: Sheet, text: str, keep: float = 60.0) -> None:
    """A heading, with at least `keep` points of what it heads on the same page."""
    sheet.need(_HEADING.leading + 12.0 + keep)
    sheet.down(10.0)
    sheet.put((Line(text, _HEADING),))
    sheet.down(2.0)


def paragraph(sheet: Sheet, text: str, style: Style = BODY, indent: float = 0.0) -> None:
    """Text over the width of the page."""
    sheet.put(wrapped(text, WIDTH - indent, style), LEFT + indent)


def pairs(sheet: Sheet, named: Iterable[tuple[str, str]], name_width: float = 96.0) -> None:
    """Names with their texts beside them; an empty text leaves the row out."""
    for name, text in named:
        if not text:
            continue
        lines = wrapped(text, WIDTH - name_width, BODY)[:_MOST_LINES]
        sheet.need(len(lines) * BODY.leading + _PAD)
        top = sheet.y
        sheet.put(wrapped(name, name_width - _GAP, SMALL, most=1))
        sheet.y = top
        sheet.put(lines, LEFT + name_width)
        sheet.down(_PAD - 1.0)


def narrow_pairs(
    sheet: Sheet, rows: Iterable[tuple[str, str, int]], x: float, top: float | None = None
) -> float:
    """As `pairs` over half the page, each text of a number of lines at the most.

    Begins at `top` or where the sheet is, and returns where it ends; the sheet stays where it is.
    """
    y = sheet.y if top is None else top
    for name, text, most in rows:
        if not text:
            continue
        sheet.page.text(x, y - 8.0, plain(name, 7.0, colour=FAINT))
        for line in wrapped(text, 0.5 * WIDTH - _NARROW_NAMES - 10.0, BODY, most):
            y -= 10.0
            sheet.page.text(x + _NARROW_NAMES, y + 2.0, line)
        y -= 1.4
    return y


def table(sheet: Sheet, heads: Sequence[Column], rows: Iterable[Sequence[Cell]]) -> None:
    """Rows under their headings, which come again on each new page."""
    begun = False
    for row in rows:
        cells = [cell[:_MOST_LINES] for cell in row]
        height = max(_height(cell) for cell in cells) + 2 * _PAD
        turned = sheet.need(height + (0.0 if begun else 18.0))
        if turned or not begun:
            _headings(sheet, heads)
            begun = True
        top = sheet.y
        x = LEFT
        for column, cell in zip(heads, cells, strict=True):
            sheet.y = top - _PAD
            sheet.put(cell, x)
            x += column.width
        sheet.y = top - height
        sheet.page.rule(LEFT, sheet.y, (RIGHT, sheet.y), stroke=_RULE, thin=0.4)


def _height(cell: Cell) -> float:
    return sum(line.style.leading for line in cell)


def _headings(sheet: Sheet, heads: Sequence[Column]) -> None:
    sheet.down(11.0)
    x = LEFT
    for column in heads:
        sheet.page.text(x, sheet.y + 3.0, plain(column.title, 7.0, bold=True, colour=FAINT))
        x += column.width
    sheet.page.rule(LEFT, sheet.y, (RIGHT, sheet.y), stroke=INK, thin=0.8)


def cell(column: Column, *texts: tuple[str, Style]) -> Cell:
    """A cell of several texts, each below the other; empty ones are left out."""
    return tuple(
        line for text, style in texts if text for line in wrapped(text, column.inner, style)
    )


def draw_foot(sheet: Sheet, texts: Iterable[str], most: int) -> float:
    """Fine print above the lower edge, `most` lines a text; returns where it begins."""
    lines = [line for text in texts for line in wrapped(text, WIDTH, _FOOT, most=most)]
    height = sum(line.style.leading for line in lines)
    y = sheet.bottom + height
    sheet.page.rule(LEFT, y + 3.0, (RIGHT, y + 3.0), stroke=INK, thin=0.4)
    for line in lines:
        y -= line.style.leading
        sheet.page.text(LEFT, y + 1.5, line)
    return sheet.bottom + height + 6.0
