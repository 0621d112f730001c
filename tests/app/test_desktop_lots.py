"""The Lots view in its window: by keys, with hostile names, with a damaged archive."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import lots_shelf
import pytest
from desktop_stage import Stage, staged
from lot_examples import order, write_run
from PySide6.QtCore import QLocale, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QLabel, QScrollBar, QSplitterHandle, QWidget
from pytestqt.qtbot import QtBot
from test_desktop_lots_models import draft

from rungbench.archive.store import Archive, open_archive
from rungbench.desktop.errands import Cancel
from rungbench.desktop.lots_draft import make
from rungbench.desktop.lots_view import LotsView
from rungbench.desktop.run_control import Phase
from rungbench.desktop.run_view import RunView
from rungbench.lots.decision import LotDecision
from rungbench.lots.store import Lots
from rungbench.paths import paths

QUICK = "sim://sound?speed=max"
# Of the platform without a screen, at each change of a window's least size.
pytestmark = pytest.mark.qt_log_ignore("propagateSizeHints")
Key = Qt.Key
CONTROL = Qt.KeyboardModifier.ControlModifier
ALT = Qt.KeyboardModifier.AltModifier
PLAIN = Qt.KeyboardModifier.NoModifier


@dataclass
class Counter:
    """The stage with the Lots view in front."""

    stage: Stage
    view: LotsView

    @property
    def said(self) -> str:
        return self.view.sentence.text()

    @property
    def table(self) -> Any:
        return self.view.list.table

    @property
    def lot(self) -> Any:
        return self.view.lot

    def until(self, reached: Callable[[], object]) -> None:
        self.stage.until(reached)

    def press(self, key: Qt.Key, modifier: Qt.KeyboardModifier = PLAIN) -> None:
        focus: QWidget | None = self.stage.window.focusWidget()
        QTest.keyClick(self.view.widget if focus is None else focus, key, modifier)

    def type(self, text: str) -> None:
        focus: QWidget | None = self.stage.window.focusWidget()
        QTest.keyClicks(self.view.widget if focus is None else focus, text)

    def pause(self) -> None:
        """As long as a hand waits, and no scanner does, before Enter."""
        self.stage.bot.wait(300)

    def names(self) -> list[str]:
        return [state.lot.name for state in self.view.found.rows]

    def open(self, name: str) -> None:
        self.view.open(name)
        self.until(lambda: self.lot.state is not None and self.lot.state.lot.name == name)
        self.until(lambda: not self.view.errands.busy)

    def part(self, name: str) -> None:
        """By keys to a part of the lot."""
        for _ in range(4):
            if self.lot.part != name:
                self.press(Key.Key_F6)
        assert self.lot.part == name
        self.until(lambda: not self.view.errands.busy)

    def texts(self) -> str:
        """All that labels show."""
        labels = self.view.widget.findChildren(QLabel)
        return "\n".join(label.text() for label in labels if label.isVisible())


@contextmanager
def counter(qtbot: QtBot, url: str = "") -> Iterator[Counter]:
    with staged(qtbot, url) as stage:
        stage.window.go("Lots")
        view = stage.window.view("Lots")
        view.choose_archive(True)
        one = Counter(stage, view)
        one.until(lambda: not view.errands.busy)
        yield one


@pytest.fixture
def demo() -> Iterator[Archive]:
    paths().demo_archive.parent.mkdir(parents=True, exist_ok=True)
    with open_archive(paths().demo_archive, simulated=True) as archive:
        yield archive


# The list -----------------------------------------------------------------------------------------


def test_an_empty_archive_says_what_to_do(qtbot: QtBot) -> None:
    with counter(qtbot) as one:
        assert "Ctrl+N" in one.view.list.about.text()
        one.press(Key.Key_F9)
        assert "Look at a lot first" in one.said


def test_lots_are_searched_and_opened_by_keys(qtbot: QtBot, demo: Archive) -> None:
    lots_shelf.undecided(demo)
    lots_shelf.rejected(demo)
    with counter(qtbot) as one:
        assert one.names() == ["B-1", "U-1"]
        one.press(Key.Key_F, CONTROL)
        one.type("u-")
        one.until(lambda: one.names() == ["U-1"])
        assert "SIMULATED" in one.texts()
        one.press(Key.Key_Down)
        one.press(Key.Key_Return)
        one.until(lambda: one.lot.state is not None)
        assert "counted as failed: 2 failed, reject" in one.lot.standing.text()
        one.press(Key.Key_Left, ALT)
        one.until(lambda: one.view.pages.currentWidget() is one.view.list)
        one.view.list.text.clear()
        row = one.view.list.stage.findText("closed, rejected")
        one.view.list.stage.setCurrentIndex(row)
        one.view.list.stage.activated.emit(row)
        one.until(lambda: one.names() == ["B-1"])


def test_a_damaged_archive_is_a_sentence(qtbot: QtBot) -> None:
    paths().demo_archive.parent.mkdir(parents=True, exist_ok=True)
    paths().demo_archive.write_bytes(b"no archive at all" * 100)
    with counter(qtbot) as one:
        one.until(lambda: "demo.sqlite" in one.said)


# One lot ------------------------------------------------------------------------------------------


def test_units_are_walked_by_arrows_and_tell_their_runs(qtbot: QtBot, demo: Archive) -> None:
    lots_shelf.retested(demo)
    with counter(qtbot) as one:
        one.open("R-1")
        grid, runs = one.lot.units.grid, one.lot.units.runs
        assert grid.unit.number == one.lot.state.next_unit.number
        grid.setFocus()
        one.press(Key.Key_Home)
        assert runs.rowCount() == 2
        assert "tested again: <script>doubt</script>" in runs.item(1, 1).text()
        one.press(Key.Key_Right)
        assert [runs.item(row, 0).text() for row in range(2)] == ["bench fault", "pass"]
        spoken = grid.model().data(grid.currentIndex(), Qt.ItemDataRole.AccessibleTextRole)
        assert spoken.endswith("pass, 2 runs")
        assert "Accept if the next 9 units pass" in one.lot.remaining.text()


def test_a_record_of_a_unit_is_opened_in_its_view(qtbot: QtBot, demo: Archive) -> None:
    lots_shelf.rejected(demo)
    with counter(qtbot) as one:
        one.open("B-1")
        one.lot.units.grid.setFocus()
        one.press(Key.Key_Home)
        run = one.lot.state.units[0].runs[0].run_id
        one.press(Key.Key_Return)
        records = one.stage.window.view("Records")
        one.until(lambda: records.detail.opened is not None)
        assert records.detail.opened.record.run_id == run
        one.stage.window.go("Lots")
        one.until(lambda: not one.view.errands.busy)
        assert one.lot.state.lot.name == "B-1"


def test_plan_values_and_supplier_are_worked_out(qtbot: QtBot, demo: Archive) -> None:
    lots_shelf.drifting(demo, 8)
    with counter(qtbot) as one:
        one.open("D-08")
        one.part("Plan and risk")
        assert "Producer's risk" in one.texts()
        assert one.lot.plan.chart.chart.points[0].label.startswith("producer's risk")
        one.part("Values")
        values = one.lot.values
        assert values.name == "frequency:frequency_hz"
        assert len(values.charts.faces[1].chart.points) == 13
        assert "Ppk" in values.figures.text()
        before = values.charts.shown
        one.press(Key.Key_F7)
        assert values.charts.shown != before
        one.part("Supplier")
        supplier = one.lot.supplier
        assert "Switching rules: normal inspection" in one.texts()
        assert supplier.table.rowCount() == 8
        assert "Lots off the others" in supplier.charts.faces[0].accessibleDescription()
        supplier.table.setCurrentCell(2, 0)
        supplier.table.cellActivated.emit(2, 0)
        one.until(lambda: one.lot.state.lot.name == "D-03")


def test_another_quantity_is_chosen_from_all_there_are(qtbot: QtBot, demo: Archive) -> None:
    lots_shelf.rejected(demo)
    with counter(qtbot) as one:
        one.open("B-1")
        values = one.lot.values
        assert values.quantity.count() >= 1
        values.quantity.setCurrentIndex(values.quantity.count() - 1)
        values.quantity.activated.emit(values.quantity.count() - 1)
        one.until(lambda: not one.view.errands.busy)
        assert values.charts.faces[1].chart is not None


def test_a_lot_without_runs_says_so(qtbot: QtBot, demo: Archive) -> None:
    Lots(demo).make(order("E-1", listed=False))
    with counter(qtbot) as one:
        one.open("E-1")
        one.part("Values")
        assert "No run of the lot counts yet" in one.lot.values.charts.faces[0]._why
        one.part("Supplier")
        assert one.lot.supplier.table.rowCount() == 1


def test_the_lot_is_closed_with_a_reason(qtbot: QtBot, demo: Archive) -> None:
    lots_shelf.undecided(demo)
    with counter(qtbot) as one:
        one.stage.desktop.preferences.put("run", "operator", "R. Example")
        one.open("U-1")
        one.press(Key.Key_F8)
        assert one.view.line.isVisible()
        one.pause()
        one.press(Key.Key_Return)
        one.until(lambda: "state why" in one.said)
        one.press(Key.Key_F8)
        one.type("no way to decide")
        one.pause()
        one.press(Key.Key_Return)
        one.until(lambda: one.lot.state.end is not None)
        end = one.lot.state.end
        assert (end.decision, end.reason, end.operator) == (
            *(LotDecision.OPEN, "no way to decide"),
            "R. Example",
        )
        assert "Closed without a decision" in one.lot.remaining.text()
        one.press(Key.Key_F8)
        assert "closed already" in one.said


def test_a_record_joins_the_lot(qtbot: QtBot, demo: Archive) -> None:
    lot = lots_shelf.inspected(demo, "J-1", "")
    serial = Lots(demo).state(lot.name).units[0].serial
    first, second = (write_run(demo, serial) for _ in range(2))
    with counter(qtbot) as one:
        one.open("J-1")
        for text, reached in (
            (second, lambda: "outside lot" in one.said),
            (first, lambda: one.lot.state.units[0].runs),
            (second, lambda: "was tested before in lot" in one.said),
            (f"{second} doubt", lambda: len(one.lot.state.units[0].runs) == 2),
        ):
            one.press(Key.Key_J, CONTROL)
            one.type(text)
            one.pause()
            one.press(Key.Key_Return)
            one.until(reached)
        assert one.lot.state.units[0].runs[1].reason == "doubt"
        assert one.lot.state.units[0].counts.run_id == first


def test_closing_can_be_left_by_escape(qtbot: QtBot, demo: Archive) -> None:
    lots_shelf.undecided(demo)
    with counter(qtbot) as one:
        one.open("U-1")
        one.press(Key.Key_F8)
        one.press(Key.Key_Escape)
        assert not one.view.line.isVisible()
        assert Lots(demo).state("U-1").end is None


# Hostile names ------------------------------------------------------------------------------------


def test_names_that_look_like_markup_are_shown_as_they_are(qtbot: QtBot, demo: Archive) -> None:
    lots_shelf.hostile(demo)
    with counter(qtbot) as one:
        one.open(lots_shelf.HOSTILE_LOT)
        for label in one.view.widget.findChildren(QLabel):
            if "<" in label.text():
                assert label.textFormat() == Qt.TextFormat.PlainText, label.text()
        assert lots_shelf.HOSTILE_SUPPLIER in one.texts()
        assert f"Lot {lots_shelf.HOSTILE_LOT}" in one.texts()
        for part in ("Plan and risk", "Values", "Supplier"):
            one.part(part)
        told = one.lot.values.charts.faces[1].chart.points[0].about
        assert told.startswith("<img src=x>: ")


def test_numbers_are_in_the_users_locale(qtbot: QtBot, demo: Archive) -> None:
    lots_shelf.rejected(demo)
    before = QLocale()
    QLocale.setDefault(QLocale(QLocale.Language.German, QLocale.Country.Germany))
    try:
        with counter(qtbot) as one:
            one.open("B-1")
            one.part("Plan and risk")
            # AQL 4.0 and a lot of 40: at most one unit nonconforming, and one may fail.
            assert "rejected with a probability of 0,0 %" in one.texts()
            assert "ISO 2859-1:1999" in one.texts()
            one.part("Values")
            assert "1000,20" in one.texts()
    finally:
        QLocale.setDefault(before)


# Files, cancelling --------------------------------------------------------------------------------


@pytest.mark.parametrize("ending", ["csv", "json", "pdf"])
def test_a_lot_is_exported(qtbot: QtBot, demo: Archive, tmp_path: Path, ending: str) -> None:
    lots_shelf.rejected(demo)
    file = tmp_path / f"lot.{ending}"
    with counter(qtbot) as one:
        one.open("B-1")
        one.view.export(file)
        one.until(lambda: "The lot is in" in one.said)
        content = file.read_bytes()
        assert content.startswith(b"%PDF-") if ending == "pdf" else b"B-1" in content


def test_an_export_that_cannot_be_is_a_sentence(qtbot: QtBot, demo: Archive) -> None:
    lots_shelf.rejected(demo)
    with counter(qtbot) as one:
        one.open("B-1")
        one.view.export(Path("/proc/lot.csv"))
        one.until(lambda: "cannot be written" in one.said)
        one.view.export(Path("lot.doc"))
        one.until(lambda: "csv, json, pdf" in one.said)


def test_work_is_cancelled_by_a_key(qtbot: QtBot, demo: Archive, tmp_path: Path) -> None:
    lots_shelf.rejected(demo)
    with counter(qtbot) as one:
        one.open("B-1")
        one.view.export(tmp_path / "lot.json")
        one.press(Key.Key_F10)
        assert "Cancelled" in one.said
        one.until(lambda: not one.view.exports.busy)
        assert "The lot is in" not in one.said


# The next unit ------------------------------------------------------------------------------------


def test_the_next_unit_is_tested_in_run_with_the_lots_sheet(qtbot: QtBot, demo: Archive) -> None:
    lots_shelf.retested(demo)
    with counter(qtbot, QUICK) as one:
        one.open("R-1")
        unit = one.lot.state.next_unit
        one.press(Key.Key_F9)
        run: RunView = one.stage.window.view("Run")
        control = run.control
        one.until(lambda: control.choice is not None and control.choice.model.lot is not None)
        assert control.choice is not None
        assert control.choice.model.sheet.model == "Sample 11"
        one.until(run.page.lot.isVisible)
        assert f"Next: unit {unit.number}" in run.page.lot.text.text()
        assert "Lot R-1: 3 passed, 1 failed" in run.page.lot.text.text()


def test_a_unit_is_tested_from_lot_to_verdict_by_keys(qtbot: QtBot, demo: Archive) -> None:
    unit = make(demo, draft(), Cancel()).units[0]
    with counter(qtbot, QUICK) as one:
        one.stage.confirm_cautions()
        one.press(Key.Key_F9)
        run: RunView = one.stage.window.view("Run")
        control = run.control
        one.until(lambda: control.choice is not None and control.choice.model.lot is not None)
        one.until(lambda: "13 not tested" in run.page.lot.text.text())
        one.type(unit.serial)
        one.press(Key.Key_Return)
        one.until(lambda: control.phase is Phase.READY)
        one.press(Key.Key_F9, CONTROL)
        one.until(lambda: control.outcome is not None)
        assert "Lot N-1: 1 passed, 0 failed, 0 undecided, 12 not tested" in (
            run.page.lot.text.text()
        )
        assert "Accept if the next 11 units pass" in run.page.lot.text.text()
        one.stage.window.go("Lots")
        one.until(lambda: one.names() == ["N-1"])
        one.until(lambda: one.view.found.rows[0].standing.tally.passed == 1)


def test_a_lot_of_another_kind_is_not_taken_to_the_bench(qtbot: QtBot) -> None:
    paths().archive.parent.mkdir(parents=True, exist_ok=True)
    with open_archive(paths().archive, simulated=False) as real:
        Lots(real).make(order("REAL"))
    with counter(qtbot, QUICK) as one:
        one.view.choose_archive(False)
        one.until(lambda: one.names() == ["REAL"])
        one.press(Key.Key_F9)
        assert "is one of real chargers" in one.said


def test_a_closed_lot_has_no_next_unit(qtbot: QtBot, demo: Archive) -> None:
    lots_shelf.rejected(demo)
    with counter(qtbot) as one:
        one.open("B-1")
        one.press(Key.Key_F9)
        assert "no unit to test" in one.said


def test_the_shift_is_reached_from_here(qtbot: QtBot) -> None:
    with counter(qtbot) as one:
        one.press(Key.Key_F3)
        run: RunView = one.stage.window.view("Run")
        assert run.page.parts.shift.isVisible()


# Everybody ----------------------------------------------------------------------------------------


def test_everything_that_takes_keys_has_a_name(qtbot: QtBot, demo: Archive) -> None:
    lots_shelf.rejected(demo)
    with counter(qtbot) as one:
        assert nameless(one) == []
        one.open("B-1")
        for part in ("Units", "Plan and risk", "Values", "Supplier"):
            one.part(part)
            assert nameless(one) == [], part
        one.view.new()
        one.until(lambda: one.view.pages.currentWidget() is one.view.form)
        assert nameless(one) == []


def nameless(one: Counter) -> list[str]:
    """Widgets that Tab leads to and that a screen reader would not name."""
    return [
        type(widget).__name__
        for widget in one.view.widget.findChildren(QWidget)
        if widget.isVisible()
        and widget.focusPolicy() & Qt.FocusPolicy.TabFocus
        and not widget.accessibleName()
        and type(widget) not in (QScrollBar, QSplitterHandle)
    ]
