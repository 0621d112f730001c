"""A new lot through the form: n, Ac, Re before it is made, refusals in place, files, again."""

from collections.abc import Iterator
from pathlib import Path

import lots_shelf
import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot
from test_desktop_lots import Counter, counter

from rungbench.archive.store import Archive, open_archive
from rungbench.desktop.lots_form import LotForm
from rungbench.lots.sampling import Severity
from rungbench.lots.store import Lots
from rungbench.paths import paths

# Of the platform without a screen, at each change of a window's least size.
pytestmark = pytest.mark.qt_log_ignore("propagateSizeHints")
Key = Qt.Key
CONTROL = Qt.KeyboardModifier.ControlModifier
SHEET = """
maker = "Example"
model = "Demo 11"
rated_current_a = 16
phases = 3
outlet = "cable"
plan = "quick"
serial_pattern = "D-[0-9]{4}"
"""


@pytest.fixture
def demo() -> Iterator[Archive]:
    paths().demo_archive.parent.mkdir(parents=True, exist_ok=True)
    with open_archive(paths().demo_archive, simulated=True) as archive:
        yield archive


def form_of(one: Counter) -> LotForm:
    """The form, brought to the front by its key."""
    one.press(Key.Key_N, CONTROL)
    one.until(lambda: one.view.pages.currentWidget() is one.view.form)
    return one.view.form


def settle(one: Counter) -> None:
    """Until what was typed has been worked out."""
    one.stage.bot.wait(300)
    one.until(lambda: not one.view.errands.busy)


def numbers(form: LotForm) -> str:
    """n, Ac and Re as they are seen."""
    return form.numbers.text().replace("\u00a0", " ")


def filled(one: Counter, size: str = "40") -> LotForm:
    form = form_of(one)
    QTest.keyClicks(form.fields.name, "N-1")
    QTest.keyClicks(form.fields.supplier, "Northern Imports")
    QTest.keyClicks(form.fields.size, size)
    settle(one)
    return form


def test_numbers_are_seen_before_a_lot_is_made_by_a_key(qtbot: QtBot) -> None:
    with counter(qtbot) as one:
        form = filled(one)
        assert numbers(form) == "n 8    Ac 0    Re 1"
        assert "Producer's risk" in form.preview.text()
        assert "Switching rules: normal" in form.advice.text()
        assert not paths().demo_archive.exists()
        one.press(Key.Key_F5)
        one.until(lambda: one.lot.state is not None)
        lot = one.lot.state.lot
        assert (lot.name, lot.supplier, lot.plan.lot_size) == ("N-1", "Northern Imports", 40)
        assert len(one.lot.state.units) == 8
        assert lot.seed in one.said
        assert not lot.listed


def test_what_is_wrong_is_told_in_place(qtbot: QtBot) -> None:
    with counter(qtbot) as one:
        form = form_of(one)
        settle(one)
        assert "size of the lot is not stated" in form.trouble.text()
        assert form.numbers.text() == ""
        QTest.keyClicks(form.fields.size, "40")
        settle(one)
        assert "needs a name" in form.trouble.text()
        assert numbers(form).startswith("n 8")
        one.press(Key.Key_F5)
        one.until(lambda: not one.view.making.storing.busy)
        assert "needs a name" in form.trouble.text()
        assert one.lot.state is None


def test_a_name_that_is_taken_is_told_and_nothing_is_lost(qtbot: QtBot, demo: Archive) -> None:
    lots_shelf.inspected(demo, "N-1", "")
    with counter(qtbot) as one:
        form = filled(one)
        one.press(Key.Key_F5)
        one.until(lambda: "N-1" in form.trouble.text())
        assert form.fields.supplier.text() == "Northern Imports"


def test_a_sheet_and_a_list_come_from_files(qtbot: QtBot, tmp_path: Path) -> None:
    sheet, listed = tmp_path / "model.toml", tmp_path / "serials.txt"
    sheet.write_text(SHEET, encoding="utf-8")
    listed.write_text("".join(f"D-{number:04}\n" for number in range(1, 41)), encoding="utf-8")
    with counter(qtbot) as one:
        form = filled(one)
        form.take_sheet(str(sheet))
        form.take_list(str(listed))
        form.fields.seed.setText("seed-1")
        settle(one)
        assert form.listed.text() == "40 serial numbers in the list"
        one.press(Key.Key_F5)
        one.until(lambda: one.lot.state is not None)
        state = one.lot.state
        assert state.lot.listed
        assert state.lot.seed == "seed-1"
        assert all(unit.serial == f"D-{unit.number:04}" for unit in state.units)


@pytest.mark.parametrize("content", [b"\xff\xfe\x00", None])
def test_files_that_cannot_be_read_are_sentences(
    qtbot: QtBot, tmp_path: Path, content: bytes | None
) -> None:
    file = tmp_path / "list.txt"
    if content is not None:
        file.write_bytes(content)
    with counter(qtbot) as one:
        form = form_of(one)
        settle(one)
        form.take_list(str(file))
        assert "list.txt" in form.trouble.text()
        form.take_sheet(str(file))
        assert "list.txt" in form.trouble.text()


def test_typed_serial_numbers_decide_from_where_units_are_drawn(qtbot: QtBot) -> None:
    with counter(qtbot) as one:
        form = filled(one, "3")
        form.fields.serials.setPlainText("X-1\n<b>X-2</b>\nX-1")
        settle(one)
        assert "line 3: 'X-1' stands in line 1 already" in form.trouble.text()
        form.fields.serials.setPlainText("X-1\n<b>X-2</b>\nX-3")
        settle(one)
        assert form.trouble.text() == ""
        one.press(Key.Key_F5)
        one.until(lambda: one.lot.state is not None)
        assert [unit.serial for unit in one.lot.state.units] == ["X-1", "<b>X-2</b>", "X-3"]


def test_severity_can_be_chosen(qtbot: QtBot) -> None:
    with counter(qtbot) as one:
        form = filled(one, "5000")
        # Code letter L, AQL 1.5: 200/7 normal, 200/5 tightened (MIL-STD-105E, as ISO 2859-1).
        assert numbers(form) == "n 200    Ac 7    Re 8"
        form.fields.severity.setCurrentIndex(2)
        form.fields.severity.activated.emit(2)
        settle(one)
        assert numbers(form) == "n 200    Ac 5    Re 6"
        one.press(Key.Key_F5)
        one.until(lambda: one.lot.state is not None)
        assert one.lot.state.lot.plan.severity is Severity.TIGHTENED


def test_a_rejected_lot_is_presented_again_under_another_name(qtbot: QtBot, demo: Archive) -> None:
    lots_shelf.rejected(demo)
    with counter(qtbot) as one:
        one.open("B-1")
        one.press(Key.Key_R, CONTROL)
        one.until(lambda: one.view.pages.currentWidget() is one.view.form)
        form = one.view.form
        assert form.fields.resubmits.currentText() == "B-1"
        assert form.fields.supplier.text() == "Northern Imports"
        QTest.keyClicks(form.fields.name, "B-2")
        settle(one)
        one.press(Key.Key_F5)
        one.until(lambda: one.lot.state.lot.name == "B-2")
        assert one.lot.state.lot.resubmits == "B-1"
        assert Lots(demo).state("B-1").again == ("B-2",)


def test_only_a_rejected_lot_is_presented_again(qtbot: QtBot, demo: Archive) -> None:
    lots_shelf.undecided(demo)
    with counter(qtbot) as one:
        one.press(Key.Key_R, CONTROL)
        assert "closed as rejected" in one.said
        assert one.view.pages.currentWidget() is one.view.list
