"""Model sheets: what they hold, and what is refused."""

from pathlib import Path

import pytest

from rungbench.errors import ExitStatus, InputError, RungbenchError, WrongUse
from rungbench.qualify.sheet import Sheet, read_sheet

FULL = """
maker = "Example"
model = "Demo 11"
rated_current_a = 16
set_current_a = 13.0
phases = 3
outlet = "socket"
plan = "quick"
serial_pattern = "D-[0-9]{4}"
notes = "full capacitance fitted"
"""


def sheet_of(folder: Path, text: str) -> Sheet:
    path = folder / "demo.toml"
    path.write_text(text, encoding="utf-8")
    return read_sheet(path)


def test_a_full_sheet(tmp_path: Path) -> None:
    sheet = sheet_of(tmp_path, FULL)
    assert sheet == Sheet(
        "Example", "Demo 11", 16.0, 13.0, 3, "socket", "quick", "D-[0-9]{4}",
        "full capacitance fitted",
    )  # fmt: skip
    assert isinstance(sheet.rated_current_a, float)
    sheet.check_serial("D-0001")


@pytest.mark.parametrize("serial", ["D-1", "XD-0001", "D-0001 ", ""])
def test_a_serial_of_another_model(serial: str, tmp_path: Path) -> None:
    with pytest.raises(WrongUse, match="does not fit the model sheet's pattern"):
        sheet_of(tmp_path, FULL).check_serial(serial)


def test_without_a_pattern_any_serial_goes(tmp_path: Path) -> None:
    sheet_of(tmp_path, "").check_serial("anything")


@pytest.mark.parametrize(
    ("text", "error", "said"),
    [
        ("colour = 1", WrongUse, "there is no key 'colour'"),
        ("maker = 1", WrongUse, "maker must be a text"),
        ('rated_current_a = "16"', WrongUse, "rated_current_a must be a number"),
        ("rated_current_a = true", WrongUse, "rated_current_a must be a number"),
        ("phases = 3.5", WrongUse, "phases must be 1 or 3"),
        ('serial_pattern = "("', WrongUse, "no regular expression"),
        ("maker =", InputError, "is not TOML"),
    ],
)
def test_faulty_sheets(text: str, error: type[RungbenchError], said: str, tmp_path: Path) -> None:
    with pytest.raises(error, match=said):
        sheet_of(tmp_path, text)


def test_a_sheet_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="cannot be read") as refusal:
        read_sheet(tmp_path / "none.toml")
    assert refusal.value.exit_status is ExitStatus.BENCH_FAULT
