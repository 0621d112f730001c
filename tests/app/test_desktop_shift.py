"""The summary of a shift: counted from the archive, since when, as a page, a text and a table."""

import csv
import io
from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from archive_examples import header
from desktop_stage import staged
from lot_examples import write_run
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QLabel
from pytestqt.qtbot import QtBot

from rungbench.archive.record import RunVerdict, utc_now
from rungbench.archive.store import Archive, open_archive
from rungbench.desktop.run_shift import Share, Shift, moment_of, shift_of, still_going
from rungbench.desktop.run_shift_papers import COLUMNS, shift_csv, shift_text, write_shift
from rungbench.desktop.run_view import RunView
from rungbench.errors import RungbenchError, WrongUse
from rungbench.paths import paths

QUICK = "sim://sound?speed=max"
# Of the platform without a screen, at each change of a window's least size.
pytestmark = pytest.mark.qt_log_ignore("propagateSizeHints")
Key = Qt.Key
CONTROL = Qt.KeyboardModifier.ControlModifier
NOON = datetime(2025, 7, 11, 12, 0, tzinfo=UTC)
HOSTILE = "=1+1\n<b>x</b>"


@pytest.fixture
def demo() -> Iterator[Archive]:
    paths().demo_archive.parent.mkdir(parents=True, exist_ok=True)
    with open_archive(paths().demo_archive, simulated=True) as archive:
        yield archive


def named(archive: Archive, number: int, operator: str, verdict: RunVerdict) -> None:
    """A run by somebody, some minutes ago."""
    head = header(f"n{number:04}-saaaa", simulated=True)
    started = utc_now() - timedelta(minutes=30 - number)
    head = replace(head, operator=operator, started=started)
    archive.begin(head)
    archive.finish(head.run_id, verdict, started + timedelta(seconds=9))


# Counting -----------------------------------------------------------------------------------------


def test_a_shift_counts_runs_chargers_faults_and_operators(demo: Archive) -> None:
    since = utc_now()
    for serial, verdict in (
        ("D-0001", RunVerdict.FAIL),
        ("D-0001", RunVerdict.PASS),
        ("d-0002", RunVerdict.FAIL),
        ("D-0003", RunVerdict.BENCH_FAULT),
    ):
        write_run(demo, serial, verdict)
    shift = shift_of(paths().demo_archive, True, since)
    assert (shift.runs, shift.chargers) == (4, 3)
    assert shift.faults == (("Frequency in B", 2),)
    counts = {verdict: count for verdict, count in shift.by_verdict if count}
    assert counts == {RunVerdict.FAIL: 2, RunVerdict.PASS: 1, RunVerdict.BENCH_FAULT: 1}
    (share,) = shift.operators
    assert (share.runs, share.passed, share.failed, share.other) == (4, 1, 2, 1)


def test_a_shift_begins_where_it_was_said_to(demo: Archive) -> None:
    for number in range(4):
        named(demo, 10 * number, "A" if number < 2 else "B", RunVerdict.FAIL)
    since = utc_now() - timedelta(minutes=15)
    shift = shift_of(paths().demo_archive, True, since)
    assert shift.runs == 2
    assert [one.name for one in shift.operators] == ["B"]
    assert shift_of(paths().demo_archive, True, utc_now() + timedelta(hours=1)).runs == 0


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("06:00", datetime(2025, 7, 11, 6, 0, tzinfo=UTC)),
        ("6:00", datetime(2025, 7, 11, 6, 0, tzinfo=UTC)),
        ("22:30", datetime(2025, 7, 10, 22, 30, tzinfo=UTC)),
        ("2025-07-09 05:15", datetime(2025, 7, 9, 5, 15, tzinfo=UTC)),
        ("2025-07-09", datetime(2025, 7, 9, tzinfo=UTC)),
        ("2025-07-11 13:00+02:00", datetime(2025, 7, 11, 11, 0, tzinfo=UTC)),
    ],
)
def test_a_beginning_is_read_as_people_write_it(text: str, moment: datetime) -> None:
    assert moment_of(text, NOON) == moment


@pytest.mark.parametrize("text", ["", "noon", "25:00", "2025-07-12 00:00", "2025-13-01"])
def test_a_beginning_that_is_none_or_lies_ahead_is_a_sentence(text: str) -> None:
    with pytest.raises(WrongUse):
        moment_of(text, NOON)


def test_a_shift_goes_on_after_a_restart_on_the_same_day_only() -> None:
    began = NOON - timedelta(hours=5)
    assert still_going(began.isoformat(), NOON) == began
    for text in ("", "yesterday", (NOON - timedelta(hours=17)).isoformat(), "2025-07-11T07:00:00"):
        assert still_going(text, NOON) == NOON


# Papers -------------------------------------------------------------------------------------------


SHIFT = Shift(
    NOON - timedelta(hours=6),
    runs=5,
    chargers=4,
    by_verdict=((RunVerdict.FAIL, 2), (RunVerdict.PASS, 3)),
    faults=((HOSTILE, 2), ("Source resistance (B)", 1)),
    operators=(Share("", 2, 1, 1, 0), Share(HOSTILE, 3, 2, 1, 0)),
)


def test_the_text_tells_all_in_lines() -> None:
    text = shift_text(SHIFT, NOON, simulated=True)
    lines = text.splitlines()
    assert lines[0] == "SIMULATED: no charger was tested."
    assert lines[1] == "Shift from 2025-07-11 06:00 to 2025-07-11 12:00 UTC"
    assert any(line.split() == ["Chargers", "tested", "4"] for line in lines)
    assert "  nobody named: 2 runs: 1 pass, 1 fail, 0 other" in lines
    # A line break in a name makes no line of its own.
    assert "  =1+1\\n<b>x</b>: 3 runs: 2 pass, 1 fail, 0 other" in lines
    assert "SIMULATED" not in shift_text(SHIFT, NOON, simulated=False)


def test_the_table_has_the_same_figures_and_runs_nothing() -> None:
    text = shift_csv(SHIFT, NOON, simulated=False).removeprefix("\ufeff")
    rows = list(csv.reader(io.StringIO(text)))
    assert tuple(rows[0]) == COLUMNS
    assert ["runs", "", "5", "3", "2", "0"] in rows
    assert ["chargers", "", "4", "", "", ""] in rows
    assert ["verdict", "fail", "2", "", "", ""] in rows
    assert ["operator", "'=1+1\\n<b>x</b>", "3", "2", "1", "0"] in rows
    assert all(len(row) == len(COLUMNS) for row in rows)
    assert all(cell[:1] not in "=+-@" for row in rows for cell in row if cell)


def test_both_are_files_named_by_the_beginning(tmp_path: Path) -> None:
    papers = write_shift(SHIFT, NOON, tmp_path / "new", simulated=True)
    assert papers.text.name == "rungbench-shift-2025-07-11T0600.txt"
    assert papers.table.suffix == ".csv"
    assert papers.text.read_text(encoding="utf-8").startswith("SIMULATED")
    write_shift(SHIFT, NOON, tmp_path / "new", simulated=True)
    assert len(list((tmp_path / "new").iterdir())) == 2
    with pytest.raises((RungbenchError, OSError)):
        write_shift(SHIFT, NOON, Path("/proc/none"), simulated=True)


# The page -----------------------------------------------------------------------------------------


def shown(view: RunView) -> str:
    labels = view.page.parts.shift.findChildren(QLabel)
    return "\n".join(label.text() for label in labels)


def test_the_page_is_reached_dated_and_saved_by_keys(qtbot: QtBot, demo: Archive) -> None:
    for number in range(3):
        named(demo, number, "<i>Ida</i>", RunVerdict.FAIL)
    with staged(qtbot, QUICK) as stage:
        stage.window.go("Run")
        view: RunView = stage.window.view("Run")
        control, page = view.control, view.page.parts.shift
        stage.until(lambda: control.choice is not None and not control.errands.busy)
        QTest.keyClick(view.page, Key.Key_F3)
        assert page.isVisible()
        assert "SIMULATED: 0 chargers tested in 0 runs" in shown(view)
        QTest.keyClick(page, Key.Key_F4, CONTROL)
        assert page.line.isVisible()
        page.line.edit.setText("soon")
        QTest.keyClick(page.line.edit, Key.Key_Return)
        assert "is no time" in page.sentence.text()
        QTest.keyClick(page, Key.Key_F4, CONTROL)
        page.line.edit.setText(f"{utc_now() - timedelta(hours=2):%Y-%m-%d %H:%M}")
        QTest.keyClick(page.line.edit, Key.Key_Return)
        stage.until(lambda: control.shift.runs == 3)
        assert "SIMULATED: 1 charger tested in 3 runs" in shown(view)
        assert "<i>Ida</i>" in shown(view)
        QTest.keyClick(page, Key.Key_S, CONTROL)
        stage.until(lambda: "The summary is" in page.sentence.text())
        (file,) = (paths().archive.parent / "reports").glob("rungbench-shift-*.txt")
        assert "<i>Ida</i>: 3 runs" in file.read_text(encoding="utf-8")
        QTest.keyClick(page, Key.Key_F3, CONTROL)
        stage.until(lambda: control.shift.runs == 0)
        QTest.keyClick(page, Key.Key_F3)
        assert not page.isVisible()


def test_inspection_mode_has_the_same_page(qtbot: QtBot) -> None:
    with staged(qtbot, QUICK) as stage:
        stage.confirm_cautions()
        stage.window.go("Run")
        view: RunView = stage.window.view("Run")
        stage.until(lambda: view.control.choice is not None)
        view.inspect()
        face = view.inspection
        assert face is not None
        face.activateWindow()
        stage.until(face.isActiveWindow)
        QTest.keyClick(face.serial, Key.Key_F3)
        assert face.shift.isVisible()
        QTest.keyClick(face.shift, Key.Key_S, CONTROL)
        stage.until(lambda: "The summary is" in face.shift.sentence.text())
        QTest.keyClick(face.shift, Key.Key_F3)
        assert not face.shift.isVisible()
        face.leave()
