"""The scripts and pages of hardware_notes, as the tests reach them."""

import importlib
import re
import shutil
import sys
from pathlib import Path
from types import ModuleType

import pytest

NOTES = Path(__file__).resolve().parents[2] / "hardware_notes"

needs_ngspice = pytest.mark.skipif(
    shutil.which("ngspice") is None, reason="ngspice is not installed"
)


def script(name: str) -> ModuleType:
    """A module of budget/ or drawings/."""
    for folder in ("budget", "drawings"):
        place = str(NOTES / folder)
        if place not in sys.path:
            sys.path.append(place)
    return importlib.import_module(name)


def page(name: str) -> str:
    return (NOTES / name).read_text("utf-8")


def rows(text: str) -> list[list[str]]:
    """Cells of all table rows, heads included."""
    return [
        [cell.strip() for cell in line.strip().strip("|").split("|")]
        for line in text.splitlines()
        if line.startswith("|") and not re.fullmatch(r"[|\-\s]+", line)
    ]


def table(page_name: str, name: str) -> list[list[str]]:
    """Body of a computed table as it stands in a page."""
    tables = script("page_tables")
    return rows(tables.printed(NOTES / page_name, name))[1:]
