"""What goes wrong at a bench: full disks, pulled links, broken files, no screen, a fault of ours.

Each time the rung is open, one sentence says it, and nothing that was stored is lost.
"""

import errno
import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from desktop_stage import FAST, Stage, staged
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot
from test_desktop_run import BAD, QUICK, run_view

import rungbench.report.files
from rungbench.archive.record import RunVerdict
from rungbench.archive.search import Search
from rungbench.archive.store import Archive, open_archive
from rungbench.desktop.commands import Job, Tell
from rungbench.desktop.crash import catch_crashes
from rungbench.desktop.run_control import Phase
from rungbench.desktop.snapshots import JobEnd
from rungbench.link.words import Rung, Setting
from rungbench.paths import paths
from rungbench.standin.board import StandIn

pytestmark = pytest.mark.qt_log_ignore("propagateSizeHints")
Key = Qt.Key
NO_SPACE = os.strerror(errno.ENOSPC)
FULL = Path("/dev/full")
PRIVATE = "serial WB-4711 of A. Person"


def full(*_given: object) -> None:
    raise OSError(errno.ENOSPC, NO_SPACE)


# Full disks -------------------------------------------------------------------------------------


@pytest.mark.skipif(not FULL.exists(), reason="the system has no device that is always full")
def test_data_and_pictures_on_a_full_disk_are_a_sentence(qtbot: QtBot) -> None:
    with staged(qtbot) as stage:
        stage.until(lambda: stage.live.showing is not None)
        stage.live.save_data(stage.live.showing, FULL)
        stage.until(lambda: f"{FULL} cannot be written ({NO_SPACE})" in stage.said)
        stage.window.sentence.say("")
        stage.live.save_picture(FULL)
        assert f"{FULL} cannot be written ({NO_SPACE})" in stage.said
        stage.until_rung(Rung.OPEN)


def test_papers_on_a_full_disk_are_a_sentence_and_come_later(
    qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    folder = paths().archive.parent / "reports"
    with run_view(qtbot, BAD) as bench:
        bench.arm()
        assert bench.verdict() is RunVerdict.FAIL
        assert bench.control.outcome is not None
        run_id = bench.control.outcome.record.run_id
        with monkeypatch.context() as disk:
            disk.setattr(rungbench.report.files, "_write", full)
            bench.press(Key.Key_F12)
            bench.until(lambda: NO_SPACE in bench.control.sentence)
            assert "make room or name another folder" in bench.control.sentence.replace(
                "file", "folder"
            )
            bench.press(Key.Key_F5)
            bench.until(lambda: f"{run_id}.pdf" in bench.control.sentence)
        assert list(folder.iterdir()) == []  # nothing by halves
        # The record is there, so the report can be written once there is room.
        bench.until(lambda: bench.control.phase is Phase.READY)
        with open_archive(paths().demo_archive, simulated=True) as archive:
            assert archive.load(run_id).verdict is RunVerdict.FAIL


def test_a_disk_that_fills_during_a_run_loses_nothing(
    qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    """SQLite is given no page more once a check is stored: that is what a full disk is to it."""
    add, filled = Archive.add_check, list[str]()

    def add_and_fill(self: Archive, run_id: str, result: Any) -> None:
        add(self, run_id, result)
        if not filled and self.place == paths().demo_archive:
            with self.writing() as connection:
                pages = connection.scalar(sa.text("PRAGMA page_count"))
                connection.execute(sa.text(f"PRAGMA max_page_count = {pages}"))
            filled.append(run_id)

    monkeypatch.setattr(Archive, "add_check", add_and_fill)
    with run_view(qtbot, QUICK) as bench:
        bench.arm()
        assert bench.verdict() is RunVerdict.PASS
        assert filled
        bench.until(lambda: "is full" in bench.control.sentence)
        assert "records push" in bench.control.sentence
        outcome = bench.control.outcome
        assert outcome is not None
        assert outcome.archive != paths().demo_archive
        assert outcome.record.make_safe["rung"] == "open"
    with open_archive(outcome.archive, simulated=True) as kept:
        assert len(kept.load(outcome.record.run_id).checks) == len(outcome.record.checks)


# A pulled link ----------------------------------------------------------------------------------


def test_a_cable_pulled_during_a_run_is_no_fault_of_the_charger(qtbot: QtBot) -> None:
    with run_view(qtbot, f"{FAST}&unplug_after_s=12") as bench:
        bench.arm()
        verdict = bench.verdict()
        outcome = bench.control.outcome
        assert outcome is not None
        assert verdict in (RunVerdict.BENCH_FAULT, RunVerdict.INCOMPLETE)
        assert outcome.record.interrupted
        assert all(check.verdict != "fail" for check in outcome.record.checks)
        assert bench.page.parts.verdict.isVisible()
        # The bench comes back by itself, on open, and the next charger can be tested.
        bench.stage.until_rung(Rung.OPEN)
        bench.control.next_charger()
        bench.until(lambda: bench.control.phase is Phase.READY)
    with open_archive(paths().demo_archive, simulated=True) as archive:
        (summary,) = archive.find(Search())
        assert summary.run_id == outcome.record.run_id
        assert len(archive.load(summary.run_id).checks) == len(outcome.record.checks)


# A fault of the program -------------------------------------------------------------------------


@contextmanager
def crashes_caught(stage: Stage) -> Iterator[None]:
    undo = catch_crashes(stage.desktop.cry)
    try:
        yield
    finally:
        undo()


def test_a_fault_of_the_program_is_told_and_leaves_the_rung_open(qtbot: QtBot) -> None:
    def work(standin: StandIn, _tell: Tell) -> str:
        standin.hold(Setting(Rung.B))
        raise RuntimeError(PRIVATE)

    with staged(qtbot) as stage, crashes_caught(stage):
        ends: list[JobEnd] = []
        stage.worker.job_ended.connect(ends.append)
        stage.worker.start(Job("A run", work))
        stage.until(lambda: "fault of the program" in stage.window.alarm.text)
        stage.until(lambda: ends)
        assert "fault of the program" in ends[0].sentence
        stage.until(lambda: not stage.worker.running)
        crash = paths().log_file.with_name("crash.txt")
        stage.until(crash.exists)
        text = crash.read_text("utf-8")
        assert "RuntimeError" in text
        assert PRIVATE not in text
        assert str(Path.home()) not in text


# No screen --------------------------------------------------------------------------------------


def started(root: Path, words: list[str], **given: str) -> subprocess.CompletedProcess[str]:
    removed = ("DISPLAY", "WAYLAND_DISPLAY", "QT_QPA_PLATFORM")
    environment = {key: value for key, value in os.environ.items() if key not in removed}
    environment |= {"PYTHONPATH": os.pathsep.join(str(root / one) for one in ("signal", "app"))}
    return subprocess.run(
        [*words], env=environment | given, capture_output=True, text=True, check=False, timeout=100
    )


@pytest.mark.skipif(sys.platform != "linux", reason="elsewhere Qt needs no such look")
@pytest.mark.parametrize(
    ("given", "said"),
    [
        ({}, "There is no screen to open the window on"),
        ({"WAYLAND_DISPLAY": "wayland-9"}, "There is no screen to open the window on"),
        ({"DISPLAY": ":4711"}, "The screen :4711 (from DISPLAY) cannot be opened"),
        ({"DISPLAY": ":4711", "QT_QPA_PLATFORM": "xcb"}, "cannot be opened"),
    ],
)
def test_without_a_screen_one_sentence_is_said(
    root: Path, given: dict[str, str], said: str
) -> None:
    done = started(root, [sys.executable, "-m", "rungbench", "desktop"], **given)
    assert done.returncode == 4
    assert said in done.stderr
    assert len(done.stderr.strip().splitlines()) == 1
    assert done.stdout == ""


def test_the_command_of_the_readme_runs_in_the_terminal_without_a_screen(root: Path) -> None:
    shell = shutil.which("sh")
    assert shell is not None
    done = started(root, [shell, str(root / "app" / "run")])
    assert done.returncode == 0, done.stderr
    assert "pass  SIMULATED" in done.stdout
    assert "demo.sqlite" in done.stdout
