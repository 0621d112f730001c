"""Symbols of two connections, from a point 30 px before their middle to 30 px behind it.

Turn 0 lies along x (first connection left), 90 stands along y (first connection above), 180 and
270 are the reverse.  Labels stand above a lying symbol and to the right of a standing one.
"""

import math
from dataclasses import dataclass

from sheet import Point, Sheet

HALF = 30.0


@dataclass(frozen=True, slots=True)
class Spot:
    """Where a symbol's middle lies, and its turn."""

    sheet: Sheet
    x: float
    y: float
    turn: int = 0

    def at(self, along: float, across: float) -> Point:
        """A point of the symbol on the sheet."""
        angle = math.radians(self.turn)
        cosine, sine = round(math.cos(angle)), round(math.sin(angle))
        return self.x + along * cosine - across * sine, self.y + along * sine + across * cosine

    def leads(self, inner: float) -> None:
        """Both connections up to `inner` from the middle."""
        self.sheet.wire(self.at(-HALF, 0), self.at(-inner, 0))
        self.sheet.wire(self.at(inner, 0), self.at(HALF, 0))

    def line(self, *points: Point) -> None:
        """A line of the symbol."""
        self.sheet.thin(*(self.at(*point) for point in points))

    def outline(self, *points: Point, filled: bool = False) -> None:
        """A closed line of the symbol."""
        self.sheet.closed(*(self.at(*point) for point in points), filled=filled)

    def label(self, name: str, value: str = "", off: float = 14.0) -> None:
        """Name and value beside it."""
        if self.turn in (0, 180):
            words = f"{name}  {value}".strip()
            self.sheet.text((self.x, self.y - off), words, "middle")
            return
        rows = [word for word in (name, value) if word]
        top = self.y + 4 - 7.5 * (len(rows) - 1)
        self.sheet.lines((self.x + off, top), rows)


def resistor(spot: Spot, name: str, value: str) -> None:
    """A resistor."""
    spot.leads(18)
    spot.outline((-18, -7), (18, -7), (18, 7), (-18, 7))
    spot.label(name, value)


def fuse(spot: Spot, name: str, value: str) -> None:
    """A fuse: the conductor goes through."""
    resistor(spot, name, value)
    spot.line((-18, 0), (18, 0))


def varying(spot: Spot, name: str, value: str, mark: str) -> None:
    """A resistor that depends on `mark`: voltage or temperature."""
    resistor(spot, "", "")
    spot.label(name, value, 22)
    spot.line((-20, 14), (-12, 14), (14, -14))
    x, y = spot.at(-16, 22)
    spot.sheet.text((x - 4, y + 4), mark, "middle")


def capacitor(spot: Spot, name: str, value: str, *, trimmer: bool = False) -> None:
    """A capacitor."""
    spot.leads(4)
    spot.line((-4, -13), (-4, 13))
    spot.line((4, -13), (4, 13))
    if trimmer:
        spot.line((-14, 14), (14, -14))
        spot.line((10, -18), (18, -10))
    spot.label(name, value, 24 if trimmer else 18)


def diode(spot: Spot, name: str = "", value: str = "", *, kind: str = "") -> None:
    """A diode, anode first; `kind` is empty, schottky, zener or light."""
    spot.leads(10)
    spot.outline((-10, -9), (10, 0), (-10, 9))
    spot.line((10, -10), (10, 10))
    if kind == "schottky":
        spot.line((10, -10), (5, -10), (5, -6))
        spot.line((10, 10), (15, 10), (15, 6))
    if kind == "zener":
        spot.line((10, -10), (4, -10))
    if kind == "light":
        arrow(spot, (-2, -12), (6, -22))
        arrow(spot, (6, -12), (14, -22))
    spot.label(name, value)


def suppressor(spot: Spot, name: str, value: str) -> None:
    """A bidirectional suppressor."""
    spot.leads(18)
    spot.outline((-18, -8), (0, 0), (-18, 8))
    spot.outline((18, -8), (0, 0), (18, 8))
    spot.line((-4, -10), (0, -10), (0, 10), (4, 10))
    spot.label(name, value)


def make_contact(spot: Spot, name: str) -> None:
    """A contact that closes with current in its coil."""
    spot.leads(14)
    spot.line((-14, 0), (12, -12))
    spot.label(name, off=16)


def break_contact(spot: Spot, name: str) -> None:
    """A contact that opens with current in its coil."""
    spot.leads(14)
    spot.line((-14, 0), (16, -10))
    spot.line((14, 0), (14, -11))
    spot.label(name, off=18)


def jumper(spot: Spot, name: str) -> None:
    """Two pins and a link that can be set."""
    spot.leads(10)
    for along in (-10, 10):
        spot.sheet.circle(spot.at(along, 0), 3)
    spot.sheet.dashed(spot.at(-7, -7), spot.at(7, -7))
    spot.label(name)


def coil(spot: Spot, name: str, value: str = "") -> None:
    """The coil of a relay."""
    spot.leads(10)
    spot.outline((-10, -20), (10, -20), (10, 20), (-10, 20))
    spot.label(name, value, 26)


def arrow(spot: Spot, start: Point, end: Point) -> None:
    """A small arrow in the symbol's own frame."""
    spot.line(start, end)
    angle = math.atan2(end[1] - start[1], end[0] - start[0])
    for side in (2.6, -2.6):
        tip = (end[0] + 5 * math.cos(angle + side), end[1] + 5 * math.sin(angle + side))
        spot.line(end, tip)


def earth(sheet: Sheet, place: Point) -> None:
    """Protective earth, hanging at a point."""
    x, y = place
    sheet.wire((x, y), (x, y + 10))
    sheet.circle((x, y + 20), 12)
    sheet.thin((x, y + 10), (x, y + 16))
    for row, half in enumerate((8, 5, 2)):
        sheet.thin((x - half, y + 16 + 4 * row), (x + half, y + 16 + 4 * row))


def supply(sheet: Sheet, place: Point, name: str) -> None:
    """A supply rail above a point."""
    x, y = place
    sheet.wire((x, y), (x, y - 10))
    sheet.thin((x - 9, y - 10), (x + 9, y - 10))
    sheet.text((x, y - 15), name, "middle")


def below(sheet: Sheet, place: Point, name: str) -> None:
    """A negative rail below a point."""
    x, y = place
    sheet.wire((x, y), (x, y + 10))
    sheet.thin((x - 9, y + 10), (x + 9, y + 10))
    sheet.text((x, y + 24), name, "middle")


def contact(sheet: Sheet, place: Point, name: str) -> None:
    """A contact of the connector, its wire leaves to the right."""
    x, y = place
    sheet.circle((x, y), 6)
    sheet.wire((x + 6, y), (x + 30, y))
    sheet.text((x - 12, y + 4), name, "end")


def flag(sheet: Sheet, place: Point, name: str, *, left: bool = False) -> None:
    """A wire that goes on elsewhere: to the right, or to the left."""
    x, y = place
    sign = -1 if left else 1
    sheet.thin((x, y), (x + 8 * sign, y - 6), (x + 8 * sign, y + 6), (x, y))
    sheet.text((x + 13 * sign, y + 4), name, "end" if left else "start")


def amplifier(sheet: Sheet, place: Point, name: str, mark: str) -> None:
    """A triangle: plus at the upper left, minus at the lower left, output right (x + 70)."""
    x, y = place
    sheet.closed((x, y - 40), (x, y + 40), (x + 70, y))
    sheet.text((x + 5, y - 15), "+", size=15)
    sheet.text((x + 5, y + 25), "-", size=15)
    sheet.text((x + 18, y + 5), mark)
    sheet.text((x + 40, y - 30), name)


@dataclass(frozen=True, slots=True)
class Chip:
    """A box with pins on both sides; pin rows are 30 px apart."""

    sheet: Sheet
    x: float
    y: float
    wide: float
    name: str
    left: tuple[str, ...]
    right: tuple[str, ...]

    def draw(self) -> None:
        """Box, names, and 20 px of wire at every pin that has a name."""
        rows = max(len(self.left), len(self.right))
        self.sheet.box((self.x, self.y), (self.wide, 30.0 * rows + 10))
        self.sheet.text((self.x + self.wide / 2, self.y - 8), self.name, "middle", 13)
        for row, word in enumerate(self.left):
            if word:
                place = self.left_pin(row)
                self.sheet.wire(place, (self.x, place[1]))
                self.sheet.text((self.x + 5, place[1] + 4), word)
        for row, word in enumerate(self.right):
            if word:
                place = self.right_pin(row)
                self.sheet.wire((self.x + self.wide, place[1]), place)
                self.sheet.text((self.x + self.wide - 5, place[1] + 4), word, "end")

    def left_pin(self, row: int) -> Point:
        """Outer end of a left pin."""
        return self.x - 20, self.y + 20 + 30 * row

    def right_pin(self, row: int) -> Point:
        """Outer end of a right pin."""
        return self.x + self.wide + 20, self.y + 20 + 30 * row
