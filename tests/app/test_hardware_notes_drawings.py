"""The schematics: made by the script, byte for byte, and readable."""

import itertools
import re
from dataclasses import dataclass
from xml.etree import ElementTree

import pytest
from hardware_scripts import NOTES, script

SHEETS = script("draw_sheets").SHEETS
SVG = "{http://www.w3.org/2000/svg}"


@dataclass(frozen=True)
class Words:
    """A text and the room it takes; a letter is at most 0.62 of the size wide."""

    text: str
    left: float
    right: float
    top: float
    bottom: float

    def meets(self, other: "Words") -> bool:
        beside = self.right <= other.left or other.right <= self.left
        return not beside and self.top < other.bottom and other.top < self.bottom


def words_of(element: ElementTree.Element) -> Words:
    text, size = element.text or "", float(element.get("font-size", "12"))
    wide = 0.6 * size * len(text)
    at = {"middle": 0.5, "end": 1.0}.get(element.get("text-anchor", "start"), 0.0)
    left = float(element.get("x", "0")) - at * wide
    y = float(element.get("y", "0"))
    return Words(text, left, left + wide, y - 0.75 * size, y + 0.2 * size)


def points_of(element: ElementTree.Element) -> list[tuple[float, float]]:
    pairs = [pair.split(",") for pair in element.get("points", "").split()]
    return [(float(x), float(y)) for x, y in pairs]


@pytest.mark.parametrize("name", SHEETS)
def test_the_script_makes_the_kept_drawing(name: str) -> None:
    assert (NOTES / "drawings" / name).read_text("utf-8") == SHEETS[name]().svg()


@pytest.mark.parametrize("name", SHEETS)
def test_no_two_texts_meet_and_none_leaves_the_sheet(name: str) -> None:
    tree = ElementTree.fromstring(SHEETS[name]().svg())
    found = [words_of(element) for element in tree.iter(f"{SVG}text")]
    meeting = [
        (first.text, second.text)
        for first, second in itertools.combinations(found, 2)
        if first.meets(second)
    ]
    assert meeting == []
    wide, high = float(tree.get("width", "0")), float(tree.get("height", "0"))
    assert all(one.left >= 0 and one.right <= wide and one.bottom <= high for one in found)


@pytest.mark.parametrize("name", SHEETS)
def test_no_wire_runs_through_a_text(name: str) -> None:
    tree = ElementTree.fromstring(SHEETS[name]().svg())
    texts = [words_of(element) for element in tree.iter(f"{SVG}text")]
    crossed = []
    for line in tree.iter(f"{SVG}polyline"):
        if line.get("class") != "w":
            continue
        for (x1, y1), (x2, y2) in itertools.pairwise(points_of(line)):
            wire = Words("", min(x1, x2), max(x1, x2) + 0.1, min(y1, y2), max(y1, y2) + 0.1)
            crossed += [one.text for one in texts if one.meets(wire)]
    assert crossed == []


def test_each_dot_lies_on_a_wire() -> None:
    for draw in SHEETS.values():
        tree = ElementTree.fromstring(draw().svg())
        lines = [points_of(line) for line in tree.iter(f"{SVG}polyline")]
        for dot in tree.iter(f"{SVG}circle"):
            if dot.get("class") == "f":
                x, y = float(dot.get("cx", "0")), float(dot.get("cy", "0"))
                assert any(on_line(x, y, line) for line in lines), (x, y)


def on_line(x: float, y: float, line: list[tuple[float, float]]) -> bool:
    return any(
        min(x1, x2) <= x <= max(x1, x2) and min(y1, y2) <= y <= max(y1, y2)
        for (x1, y1), (x2, y2) in itertools.pairwise(line)
    )


def test_every_relay_and_ladder_resistor_is_drawn_once() -> None:
    text = SHEETS["sheet1_ladder.svg"]().svg()
    for number in range(17):
        assert len(re.findall(rf">K{number}[ <]", text)) == 1, number
    for number in range(1, 15):
        assert len(re.findall(rf">R{number}<", text)) == 1, number
