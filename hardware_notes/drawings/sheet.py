"""A sheet of a schematic as SVG: wires, dots, texts, and symbols placed at points.

Symbols follow IEC 60617 (from memory, not checked against a purchased copy).  Coordinates are in
pixels, y grows downwards.  The same calls give the same bytes.
"""

from collections.abc import Sequence
from dataclasses import dataclass, field
from xml.sax.saxutils import escape

Point = tuple[float, float]

_FONT = "DejaVu Sans, Liberation Sans, Arial, sans-serif"


def number(value: float) -> str:
    """A coordinate without trailing zeros."""
    return f"{value:.2f}".rstrip("0").rstrip(".")


@dataclass(slots=True)
class Sheet:
    """Collects the elements of one sheet."""

    title: str
    width: int
    height: int
    _parts: list[str] = field(default_factory=list)

    def wire(self, *points: Point) -> None:
        """A conductor through all points."""
        self._line(points, "w")

    def thin(self, *points: Point) -> None:
        """A line of a symbol, open."""
        self._line(points, "s")

    def dashed(self, *points: Point) -> None:
        """A mechanical link or a border."""
        self._line(points, "d")

    def barrier(self, *points: Point) -> None:
        """A border of insulation."""
        self._line(points, "b")

    def closed(self, *points: Point, filled: bool = False) -> None:
        """An outline."""
        place = " ".join(f"{number(x)},{number(y)}" for x, y in points)
        self._parts.append(f'<polygon class="{"f" if filled else "o"}" points="{place}"/>')

    def box(self, corner: Point, size: Point) -> None:
        """A rectangle from its upper left corner."""
        (x, y), (wide, high) = corner, size
        self.closed((x, y), (x + wide, y), (x + wide, y + high), (x, y + high))

    def circle(self, centre: Point, radius: float, *, filled: bool = False) -> None:
        """A circle."""
        x, y = centre
        self._parts.append(
            f'<circle class="{"f" if filled else "o"}" cx="{number(x)}" cy="{number(y)}"'
            f' r="{number(radius)}"/>'
        )

    def dot(self, *points: Point) -> None:
        """Connections."""
        for point in points:
            self.circle(point, 3.2, filled=True)

    def text(self, place: Point, words: str, anchor: str = "start", size: int = 12) -> None:
        """One line of text; `anchor` is start, middle or end."""
        x, y = place
        self._parts.append(
            f'<text x="{number(x)}" y="{number(y)}" font-size="{size}"'
            f' text-anchor="{anchor}">{escape(words)}</text>'
        )

    def lines(self, place: Point, words: Sequence[str], anchor: str = "start") -> None:
        """Lines of text below one another."""
        x, y = place
        for row, line in enumerate(words):
            self.text((x, y + 15 * row), line, anchor)

    def svg(self) -> str:
        """The document."""
        style = (
            "polyline,polygon,circle{fill:none;stroke:#000;stroke-linejoin:round}"
            ".w{stroke-width:1.6}.s{stroke-width:1.6}.o{stroke-width:1.6;fill:#fff}"
            ".f{stroke-width:1.6;fill:#000}.d{stroke-width:1.2;stroke-dasharray:6 4}"
            ".b{stroke-width:2.4;stroke-dasharray:14 5;stroke:#b04000}"
            f"text{{font-family:{_FONT};fill:#000}}"
        )
        head = (
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{self.width}"'
            f' height="{self.height}" viewBox="0 0 {self.width} {self.height}">'
        )
        back = f'<rect width="{self.width}" height="{self.height}" fill="#fff"/>'
        name = f'<text x="24" y="34" font-size="18" font-weight="bold">{escape(self.title)}</text>'
        body = [head, f"<title>{escape(self.title)}</title>", f"<style>{style}</style>", back, name]
        return "\n".join([*body, *self._parts, "</svg>", ""])

    def _line(self, points: Sequence[Point], kind: str) -> None:
        place = " ".join(f"{number(x)},{number(y)}" for x, y in points)
        self._parts.append(f'<polyline class="{kind}" points="{place}"/>')
