"""Every computed table of the hardware pages is what its script computes now."""

import re
from pathlib import Path

import pytest
from hardware_scripts import NOTES, needs_ngspice, page, script, table

PLACES = [
    (path.name, name)
    for path in sorted(NOTES.glob("*.md"))
    for name in re.findall(r"<!-- table: ([\w-]+) -->", path.read_text("utf-8"))
]
LONG = {"spice-widths"}
COMPARED_ELSEWHERE = {"whole"}  # test_hardware_notes_budget.py: to a tolerance


def marked(place: tuple[str, str]) -> object:
    marks = [needs_ngspice] if place[1].startswith("spice") else []
    marks += [pytest.mark.slow] if place[1] in LONG else []
    return pytest.param(*place, marks=marks)


def test_the_pages_carry_every_computed_table_once() -> None:
    names = [name for _, name in PLACES]
    assert sorted(names) == sorted(script("page_tables").TABLES)


@pytest.mark.parametrize(
    ("page_name", "name"),
    [marked(place) for place in PLACES if place[1] not in COMPARED_ELSEWHERE],
)
def test_a_table_is_what_its_script_computes(page_name: str, name: str) -> None:
    tables = script("page_tables")
    assert tables.printed(NOTES / page_name, name) == tables.TABLES[name]()


@needs_ngspice
def test_one_row_of_the_long_table_is_what_ngspice_computes() -> None:
    kept = [row for row in table("front_end.md", "spice-widths") if row[:2] == ["D", "3.1"]]
    assert kept == [script("wave_tables").width_row("D", 3.1e-9)]


def test_a_page_that_differs_is_told_and_rewritten(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    tables = script("page_tables")
    (tmp_path / "some.md").write_text("before\n<!-- table: short -->\nold\n<!-- end -->\nafter\n")
    monkeypatch.setattr(tables, "PAGES", tmp_path)
    assert tables.main([]) == 1
    assert capsys.readouterr().out == "some.md differs from what is computed\n"
    assert tables.main(["--write"]) == 0
    assert tables.main([]) == 0
    assert "| 80 | 0.89 | 0.96 |" in (tmp_path / "some.md").read_text()
    assert (tmp_path / "some.md").read_text().endswith("<!-- end -->\nafter\n")


LINKED = [
    (path, link)
    for path in sorted(NOTES.glob("*.md"))
    for link in re.findall(r"\]\(([^)#]+)\)", path.read_text("utf-8"))
]


@pytest.mark.parametrize(("path", "link"), LINKED, ids=lambda part: getattr(part, "name", part))
def test_links_lead_somewhere(path: Path, link: str) -> None:
    assert (path.parent / link).exists()


# Pages near mains, or whose ground may be live: the caution comes before anything else.
@pytest.mark.parametrize(
    "name",
    [
        "stand_in_circuit.md",
        "front_end.md",
        "mains_senses.md",
        "isolation_and_interlock.md",
        "parts.md",
        "build.md",
        "README.md",
    ],
)
def test_the_caution_comes_first(name: str) -> None:
    head = " ".join(page(name)[:1200].split())
    assert "**" in head
    assert "ocal codes and licensed" in head
    assert "safety.md" in head
