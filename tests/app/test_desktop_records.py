"""The Records view in its window: by keys, with many records, with a damaged archive."""

import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from desktop_stage import Stage, staged
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QLabel, QTableWidget, QTableWidgetItem, QWidget
from pytestqt.qtbot import QtBot
from qualify_runs import Run
from records_examples import fill, serial_of, verdict_of

from rungbench.archive.record import ChargerIdentity, RunVerdict
from rungbench.desktop.errands import Cancel
from rungbench.desktop.paging import Turn
from rungbench.desktop.records_view import RecordsView
from rungbench.paths import paths

RUNS = 240
HOSTILE = ChargerIdentity("<b>Bold</b>", "=1+1", "<i>S&1</i>", 16.0, None, 3, "cable")
# Of the platform without a screen, at each change of a window's least size.
pytestmark = pytest.mark.qt_log_ignore("propagateSizeHints")
Key = Qt.Key
CONTROL = Qt.KeyboardModifier.ControlModifier
PLAIN = Qt.KeyboardModifier.NoModifier


@dataclass
class Shelf:
    """The stage with the Records view in front."""

    stage: Stage
    view: RecordsView

    @property
    def table(self) -> Any:
        return self.view.list.table

    @property
    def said(self) -> str:
        return self.view.sentence.text()

    def until(self, reached: Callable[[], object]) -> None:
        self.stage.until(reached)

    def press(self, key: Qt.Key, modifier: Qt.KeyboardModifier = PLAIN) -> None:
        focus: QWidget | None = self.stage.window.focusWidget()
        QTest.keyClick(self.view.widget if focus is None else focus, key, modifier)

    def until_first(self, number: int) -> None:
        """Wait until this run leads the page."""
        self.until(lambda: self.numbers()[:1] == [number])

    def numbers(self) -> list[int]:
        return [row.number for row in self.view.found.rows]


def cell(table: QTableWidget, row: int, column: int = 0) -> QTableWidgetItem:
    found = table.item(row, column)
    assert found is not None
    return found


@contextmanager
def shelf(qtbot: QtBot, *, simulated: bool = False) -> Iterator[Shelf]:
    with staged(qtbot, "") as stage:
        stage.window.go("Records")
        view = stage.window.view("Records")
        if simulated:
            view.choose_archive(True)
        yield Shelf(stage, view)


@pytest.fixture
def many() -> Path:
    paths().archive.parent.mkdir(parents=True, exist_ok=True)
    return fill(paths().archive, RUNS)


@pytest.fixture
def demo() -> Path:
    """Two whole runs of simulated chargers, one of them with names that look like markup."""
    folder = paths().demo_archive.parent
    folder.mkdir(parents=True, exist_ok=True)
    runs = Run(folder), Run(folder, "source_ohm=1100", charger=HOSTILE)
    for run in runs:
        run.record()
    assert runs[0].archive == paths().demo_archive
    return runs[0].archive


@pytest.mark.usefixtures("many")
def test_pages_are_turned_by_keys(qtbot: QtBot) -> None:
    with shelf(qtbot) as one:
        one.until(lambda: one.numbers()[:1] == [RUNS])
        one.table.setFocus()
        for key, first in (
            (Key.Key_PageDown, RUNS - 50),
            (Key.Key_End, 50),
            (Key.Key_PageUp, 100),
            (Key.Key_Home, RUNS),
        ):
            one.press(key, CONTROL)
            one.until_first(first)
        assert f"{RUNS} in the archive" in one.view.list.about.text()


@pytest.mark.usefixtures("many")
def test_a_search_is_typed_and_filtered(qtbot: QtBot) -> None:
    with shelf(qtbot) as one:
        one.until(one.numbers)
        QTest.keyClicks(one.view.list.text, serial_of(123).lower())
        one.until(lambda: one.numbers() == [123])
        one.view.list.text.clear()
        row = one.view.list.verdict.findText("fail")
        one.view.list.verdict.setCurrentIndex(row)
        one.view.list.verdict.activated.emit(row)
        expected = [n for n in range(RUNS, 0, -1) if verdict_of(n) is RunVerdict.FAIL]
        one.until(lambda: one.numbers() == expected)
        QTest.keyClicks(one.view.list.since, "soon")
        one.until(lambda: "no day" in one.said)


@pytest.mark.usefixtures("demo")
def test_a_record_is_opened_with_captures_and_budget(qtbot: QtBot) -> None:
    with shelf(qtbot, simulated=True) as one:
        one.until(lambda: len(one.numbers()) == 2)
        one.table.setFocus()
        one.press(Key.Key_Return)
        one.until(lambda: one.view.detail.opened is not None)
        detail = one.view.detail
        current = detail.table.current
        assert current is not None
        assert current.verdict == "fail"
        labels = detail.evidence.findChildren
        one.until(lambda: any("laid over" in label.text() for label in labels(QLabel)))
        one.press(Key.Key_F6)
        assert detail.budget.isVisible()
        assert detail.budget.rowCount() > 3
        one.press(Key.Key_F6)
        assert "ource resistor" in detail.findings.toPlainText()
        one.press(Key.Key_F6)
        assert detail.facts.rowCount() > 10
        for label in one.view.widget.findChildren(QLabel):
            if "<b>" in label.text() or "<i>" in label.text():
                assert label.textFormat() is Qt.TextFormat.PlainText
        assert any(label.text() == "SIMULATED" for label in detail.findChildren(QLabel))
        one.press(Key.Key_Left, Qt.KeyboardModifier.AltModifier)
        assert one.view.pages.currentWidget() is one.view.list


@pytest.mark.usefixtures("demo")
def test_marked_records_are_compared(qtbot: QtBot) -> None:
    with shelf(qtbot, simulated=True) as one:
        one.until(lambda: len(one.numbers()) == 2)
        one.table.setFocus()
        one.press(Key.Key_F7)
        assert "Mark two" in one.said
        one.press(Key.Key_Space)
        one.press(Key.Key_Down)
        one.press(Key.Key_Space)
        one.press(Key.Key_F7)
        one.until(lambda: one.view.pages.currentWidget() is one.view.compared)
        table = one.view.compared.table
        titles = [cell(table, row).text() for row in range(table.rowCount())]
        row = titles.index("Source resistance (B)")
        assert cell(table, row, 4).text().startswith("−9")  # second minus first: 1004 − 1100 ohm
        assert cell(table, row).font().bold()
        assert not cell(table, titles.index("Frequency of the pilot (B)")).font().bold()


@pytest.mark.usefixtures("demo")
def test_a_record_is_judged_again_and_both_are_kept(qtbot: QtBot) -> None:
    with shelf(qtbot, simulated=True) as one:
        one.until(lambda: len(one.numbers()) == 2)
        first = one.view.found.rows[1].run_id
        one.view.open(first)
        one.until(lambda: one.view.detail.opened is not None)
        one.press(Key.Key_F8)
        assert one.view.judge.isVisible()
        one.view.judge.profile.setCurrentText("sae-j1772-2017")
        QTest.keyClicks(one.view.judge.reason, "for another market")
        QTest.keyClick(one.view.judge.reason, Key.Key_Return)
        one.until(lambda: "was made" in one.said)
        opened = one.view.detail.opened
        assert opened is not None
        assert opened.record.header.profile.startswith("sae-j1772-2017")
        assert opened.record.header.origin is not None
        assert opened.record.header.origin.record == first
        one.press(Key.Key_F8)
        one.view.judge.profile.setCurrentText("sae-j1772-2017")
        QTest.keyClick(one.view.judge.reason, Key.Key_Return)
        one.until(lambda: "judged by" in one.said)
        one.view.back()
        one.view.turn(Turn.FIRST)
        one.until(lambda: len(one.numbers()) == 3)


@pytest.mark.usefixtures("demo")
def test_export_of_a_record_and_of_all(qtbot: QtBot, tmp_path: Path) -> None:
    with shelf(qtbot, simulated=True) as one:
        one.until(lambda: len(one.numbers()) == 2)
        one.view.export(tmp_path / "all.csv")
        one.until(lambda: "2 records in" in one.said)
        one.view.open(one.view.found.rows[0].run_id)
        one.until(lambda: one.view.detail.opened is not None)
        one.view.export(tmp_path / "one.pdf")
        one.until(lambda: "1 record in" in one.said)
        assert (tmp_path / "one.pdf").read_bytes().startswith(b"%PDF")
        one.view.export(tmp_path / "nowhere" / "one.csv")
        one.until(lambda: "cannot be written" in one.said)


@pytest.mark.usefixtures("many")
def test_a_long_export_is_cancelled(qtbot: QtBot, tmp_path: Path) -> None:
    with shelf(qtbot) as one:
        one.until(one.numbers)
        one.view.export(tmp_path / "all.json")
        one.press(Key.Key_F10)
        one.until(lambda: not one.view.exports.busy)
        assert "Cancelled" in one.said
        assert list(tmp_path.iterdir()) == []


@pytest.mark.usefixtures("many")
def test_a_long_export_tells_how_far_it_is(
    qtbot: QtBot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The writing waits after three records until what it told was seen."""
    seen = threading.Event()
    check = Cancel.check

    def slow(cancel: Cancel) -> None:
        if cancel.done >= 3:
            seen.wait(20.0)
        check(cancel)

    monkeypatch.setattr(Cancel, "check", slow)
    with shelf(qtbot) as one:
        one.until(one.numbers)
        one.view.export(tmp_path / "all.csv")
        one.until(lambda: ": 3 so far; F10 cancels." in one.said)
        seen.set()
        one.until(lambda: f"{RUNS} records in" in one.said)
        qtbot.wait(300)
        assert "so far" not in one.said


@pytest.mark.usefixtures("many")
def test_what_cannot_be_looked_for_leaves_no_old_rows(qtbot: QtBot) -> None:
    with shelf(qtbot) as one:
        one.until(one.numbers)
        one.view.list.since.setText("yesterday")
        one.view.list.wanted_changed.emit()
        one.until(lambda: "no day" in one.said)
        assert one.numbers() == []
        assert one.table.model().rowCount() == 0
        assert one.view.list.about.text() == "Nothing is shown."
        one.view.list.since.setText("")
        one.view.list.wanted_changed.emit()
        one.until(one.numbers)
        assert one.said == ""


def test_a_damaged_archive_is_a_sentence(qtbot: QtBot) -> None:
    paths().archive.parent.mkdir(parents=True, exist_ok=True)
    paths().archive.write_bytes(b"no database" * 1000)
    with shelf(qtbot) as one:
        one.until(lambda: str(paths().archive) in one.said)
        assert one.numbers() == []


def test_no_archive_is_no_error(qtbot: QtBot) -> None:
    with shelf(qtbot) as one:
        one.until(lambda: "no records yet" in one.view.list.about.text())
        assert one.said == ""
