"""Draws the schematics beside this file.

From the root of the project:

    PYTHONPATH=hardware_notes/budget .venv/bin/python hardware_notes/drawings/draw_sheets.py
"""

import sys
from collections.abc import Callable, Mapping
from pathlib import Path

import control_sheet
import front_end_sheet
import ladder_sheet
import mains_sheet
from sheet import Sheet

HERE = Path(__file__).resolve().parent

SHEETS: Mapping[str, Callable[[], Sheet]] = {
    "sheet1_ladder.svg": ladder_sheet.draw,
    "sheet2_front_end.svg": front_end_sheet.draw,
    "sheet3_mains_senses.svg": mains_sheet.draw,
    "sheet4_control.svg": control_sheet.draw,
}


def main() -> int:
    """Write every sheet."""
    for name, draw in SHEETS.items():
        (HERE / name).write_text(draw().svg(), encoding="utf-8")
    return 0


if __name__ == "__main__":
    sys.exit(main())
