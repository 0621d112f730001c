"""Pages in the making: what is drawn on each, and how far down one is.

Drawing is put down as steps and done at the end, when the number of pages is known.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import cache
from io import BytesIO
from typing import Any, Final

from rungbench.report.lines import INK, Line, Style
from rungbench.report.typefaces import REGULAR, runs, typeface

A4: Final = (595.28, 841.89)
MARGIN: Final = 42.0
LEFT: Final = MARGIN
RIGHT: Final = A4[0] - MARGIN
WIDTH: Final = RIGHT - LEFT
TOP: Final = A4[1] - 56.0
BOTTOM: Final = 50.0

Step = Callable[[Any], None]
Points = Sequence[tuple[float, float]]


@dataclass(slots=True)
class Page:
    """Steps of one page; `coded` says that characters stand on it as codes."""

    steps: list[Step] = field(default_factory=list)
    coded: bool = False

    def text(self, x: float, y: float, line: Line) -> None:
        """A line whose baseline begins at (x, y)."""
        self.coded = self.coded or line.coded
        parts, style = runs(line.text, bold=line.style.bold), line.style

        def step(canvas: Any) -> None:
            pen = canvas.beginText(x, y)
            pen.setFillColor(_colour(style.colour))
            for name, part in parts:
                pen.setFont(name, style.size)
                pen.textOut(part)
            canvas.drawText(pen)

        self.steps.append(step)

    def right_text(self, x: float, y: float, line: Line) -> None:
        """A line that ends at x."""
        self.text(x - line.width, y, line)

    def centred_text(self, x: float, y: float, line: Line) -> None:
        """A line with its middle at x."""
        self.text(x - 0.5 * line.width, y, line)

    def box(self, x: float, y: float, size: tuple[float, float], **ink: Any) -> None:
        """A rectangle from its lower left corner; `fill`, `stroke`: colours; `thin`: width."""

        def step(canvas: Any) -> None:
            _ink(canvas, ink)
            canvas.rect(x, y, *size, stroke=int("stroke" in ink), fill=int("fill" in ink))

        self.steps.append(step)

    def rule(self, x: float, y: float, to: tuple[float, float], **ink: Any) -> None:
        """A straight line; `stroke`, `thin`, `dash`."""

        def step(canvas: Any) -> None:
            _ink(canvas, {"stroke": INK, **ink})
            canvas.line(x, y, *to)

        self.steps.append(step)

    def outline(self, points: Points, *, close: bool = False, **ink: Any) -> None:
        """A line through points, or with `close` an area."""

        def step(canvas: Any) -> None:
            _ink(canvas, ink)
            path = canvas.beginPath()
            path.moveTo(*points[0])
            for point in points[1:]:
                path.lineTo(*point)
            if close:
                path.close()
            canvas.drawPath(path, stroke=int("stroke" in ink), fill=int("fill" in ink))

        self.steps.append(step)


@cache
def _colour(code: str) -> Any:
    """A colour of the PDF library: to read its code takes longer than to draw with it."""
    from reportlab.lib.colors import HexColor

    return HexColor(code)


def _ink(canvas: Any, ink: dict[str, Any]) -> None:
    if "fill" in ink:
        canvas.setFillColor(_colour(ink["fill"]))
    if "stroke" in ink:
        canvas.setStrokeColor(_colour(ink["stroke"]))
    canvas.setLineWidth(ink.get("thin", 0.5))
    canvas.setDash(*ink.get("dash", ()))


Frame = Callable[[Page, int, int], None]


@dataclass(slots=True)
class Sheet:
    """Pages one after the other; `y` is how far down the last one is filled."""

    size: tuple[float, float] = A4
    bottom: float = BOTTOM
    top: float = TOP
    pages: list[Page] = field(default_factory=list)
    y: float = 0.0

    @property
    def page(self) -> Page:
        return self.pages[-1]

    @property
    def room(self) -> float:
        return self.y - self.bottom

    def turn(self) -> None:
        """Begin a new page."""
        self.pages.append(Page())
        self.y = self.top

    def need(self, height: float) -> bool:
        """Begin a new page if less than `height` is left; whether one was begun."""
        if self.room >= height:
            return False
        self.turn()
        return True

    def down(self, height: float) -> None:
        """Leave `height` empty."""
        self.y -= height

    def put(self, lines: Iterable[Line], x: float = LEFT) -> None:
        """Lines one below the other, on as many pages as it takes."""
        for line in lines:
            self.need(line.style.leading)
            self.y -= line.style.leading
            self.page.text(x, self.y + 0.28 * line.style.size, line)


@dataclass(frozen=True, slots=True)
class Binding:
    """What a PDF says of itself, and what stands on each of its pages besides its content."""

    title: str
    subject: str
    frame: Frame


def bound(sheet: Sheet, binding: Binding) -> bytes:
    """The pages as a PDF: the same bytes for the same pages, whatever the clock says."""
    from reportlab.pdfgen.canvas import Canvas

    typeface(REGULAR)
    stream = BytesIO()
    canvas = Canvas(
        stream,
        pagesize=sheet.size,
        pageCompression=1,
        invariant=1,
        initialFontName=REGULAR,
        lang="en",
    )
    canvas.setTitle(binding.title)
    canvas.setSubject(binding.subject)
    canvas.setAuthor("")
    canvas.setCreator("rungbench")
    for number, page in enumerate(sheet.pages, start=1):
        binding.frame(page, number, len(sheet.pages))
        for step in page.steps:
            step(canvas)
        canvas.showPage()
    canvas.save()
    return stream.getvalue()


def plain(text: str, size: float = 8.0, *, bold: bool = False, colour: str = INK) -> Line:
    """One short line of the program's own words."""
    return Line(text, Style(size, bold, colour))
