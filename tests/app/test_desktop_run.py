"""The Run view on a simulated bench, through keys as a scanner and a hand send them."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest
from desktop_stage import Stage, staged
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QAbstractButton, QComboBox, QLabel, QLineEdit, QTableView, QWidget
from pytestqt.qtbot import QtBot

from pilotsignal.standard import load_profile
from rungbench.archive.record import RunVerdict
from rungbench.archive.search import Search
from rungbench.archive.store import open_archive
from rungbench.desktop.run_choice import Choice, Model
from rungbench.desktop.run_control import Phase, RunControl
from rungbench.desktop.run_slip import slip_of
from rungbench.desktop.run_slip_page import slip_pdf
from rungbench.desktop.run_view import RunPage, RunView
from rungbench.link.words import Rung
from rungbench.lots.basis import basis_of
from rungbench.lots.lot import LotOrder
from rungbench.lots.sampling import plan_for
from rungbench.lots.store import Lots
from rungbench.paths import paths
from rungbench.qualify.plan_file import load_plan
from rungbench.qualify.sheet import INVENTED

QUICK = "sim://sound?speed=max"
BAD = "sim://sound?speed=max&source_ohm=1100"
SLOW = "sim://sound?speed=8"
# Of the platform without a screen, at each change of a window's least size.
pytestmark = pytest.mark.qt_log_ignore("propagateSizeHints")
Key = Qt.Key
CONTROL = Qt.KeyboardModifier.ControlModifier
PLAIN = Qt.KeyboardModifier.NoModifier


@dataclass
class Bench:
    """The stage with the Run view in front."""

    stage: Stage
    view: RunView

    @property
    def control(self) -> RunControl:
        return self.view.control

    @property
    def page(self) -> RunPage:
        return self.view.page

    @property
    def serial(self) -> Any:
        return self.page.parts.setup.serial

    def until(self, reached: Callable[[], object]) -> None:
        self.stage.until(reached)

    def press(self, key: Qt.Key, modifier: Qt.KeyboardModifier = PLAIN) -> None:
        """A key, to whatever has the focus."""
        QTest.keyClick(self.target, key, modifier)

    @property
    def target(self) -> QWidget:
        """What has the focus."""
        focus: QWidget | None = self.stage.window.focusWidget()
        return self.page if focus is None else focus

    def scan(self, text: str, suffix: Qt.Key = Key.Key_Return) -> None:
        """What a scanner types."""
        QTest.keyClicks(self.target, text)
        self.press(suffix)

    def arm(self) -> None:
        """The one key that arms and starts."""
        self.press(Key.Key_F9, CONTROL)

    def verdict(self) -> RunVerdict:
        """Wait for the end of the run."""
        self.until(lambda: self.control.outcome is not None)
        assert self.control.outcome is not None
        return self.control.outcome.record.verdict


@contextmanager
def run_view(qtbot: QtBot, url: str = QUICK, *, cautions: bool = True) -> Iterator[Bench]:
    with staged(qtbot, url) as stage:
        stage.window.go("Run")
        view = stage.window.view("Run")
        stage.window.cautions.read = cautions
        stage.until(lambda: view.control.choice is not None)
        stage.until(lambda: view.control.phase is Phase.READY)
        yield Bench(stage, view)


# One charger ------------------------------------------------------------------------------------


def test_a_newcomer_reaches_a_verdict(qtbot: QtBot) -> None:
    with run_view(qtbot) as bench:
        bench.arm()
        assert bench.verdict() is RunVerdict.PASS
        assert bench.page.parts.verdict.isVisible()
        lines = bench.page.parts.table.lines.lines
        assert {line.verdict for line in lines} == {"pass", "observed"}
        assert bench.control.outcome is not None
        record = bench.control.outcome.record
        assert record.header.simulated
        assert len(record.checks) == len(lines)
        with open_archive(paths().demo_archive, simulated=True) as archive:
            assert archive.load(record.run_id).verdict is RunVerdict.PASS
        bench.until(lambda: bench.control.shift.runs == 1)
        labels = [label.text() for label in bench.page.findChildren(QLabel)]
        assert any(text.startswith("SIMULATED") for text in labels)


@pytest.mark.parametrize("suffix", [Key.Key_Return, Key.Key_Enter, Key.Key_Tab])
def test_a_scan_names_a_charger_with_either_suffix(qtbot: QtBot, suffix: Qt.Key) -> None:
    with run_view(qtbot) as bench:
        bench.scan("WB-77", suffix)
        assert (bench.control.serial, bench.control.phase) == ("WB-77", Phase.READY)
        assert bench.stage.window.focusWidget() is bench.serial
        bench.scan("WB-78", suffix)
        assert bench.control.serial == "WB-78"


def test_a_scan_never_starts_or_arms_anything(qtbot: QtBot) -> None:
    with run_view(qtbot) as bench:
        widgets = [bench.serial, bench.page.parts.table, bench.page, bench.page.parts.setup.plan]
        widgets += [bench.page.parts.setup.operator, bench.stage.window.column]
        for number, widget in enumerate(widgets):
            widget.setFocus()
            for suffix in (Key.Key_Return, Key.Key_Tab, Key.Key_Space, Key.Key_Enter):
                bench.scan(f"WB {number}", suffix)
        qtbot.wait(300)
        assert not bench.control.running
        snapshot = bench.stage.worker.snapshot_now
        assert snapshot is not None
        assert (snapshot.setting.rung, snapshot.armed_left_s, snapshot.job) == (Rung.OPEN, None, "")


def test_a_scan_replaces_what_stood_there_whatever_is_selected(qtbot: QtBot) -> None:
    with run_view(qtbot) as bench:
        bench.scan("WB-1")
        bench.serial.deselect()
        bench.serial.setCursorPosition(2)
        bench.scan("WB-2")
        assert bench.control.serial == "WB-2"


def test_what_is_typed_elsewhere_goes_to_the_serial(qtbot: QtBot) -> None:
    with run_view(qtbot) as bench:
        bench.page.parts.table.setFocus()
        bench.scan("WB-5")
        assert bench.control.serial == "WB-5"


def test_a_wrong_and_a_repeated_scan_are_refused_in_place(qtbot: QtBot) -> None:
    with run_view(qtbot) as bench:
        sheet = Model("patterned", replace(INVENTED, serial_pattern=r"WB\d+"))
        bench.control.add_model(sheet)
        bench.scan("XX1")
        assert "does not fit" in bench.page.parts.sentence.text()
        assert bench.control.phase is Phase.CHOOSE
        bench.scan("WB1")
        bench.arm()
        assert bench.verdict() is RunVerdict.PASS
        bench.until(lambda: bench.control.shift.runs == 1)
        bench.scan("WB1")
        assert bench.control.asks_reason
        qtbot.wait(200)
        QTest.keyClicks(bench.page.parts.line.edit, "plug changed")
        bench.press(Key.Key_Return)  # as fast as a scanner: that is no reason
        assert bench.page.parts.line.isVisible()
        qtbot.wait(200)
        bench.press(Key.Key_Return)
        assert (bench.control.serial, bench.control.reason) == ("WB1", "plug changed")
        bench.until(lambda: bench.control.phase is Phase.READY)


def test_the_cautions_come_before_the_first_run(qtbot: QtBot) -> None:
    with run_view(qtbot, cautions=False) as bench:
        bench.arm()
        qtbot.wait(200)
        assert not bench.control.running
        QTest.keyClick(bench.stage.window, Key.Key_F9, CONTROL)
        assert not bench.stage.window.cautions.read  # for a real bench they were not confirmed
        bench.until(lambda: bench.control.phase is not Phase.READY)
        assert bench.verdict() is RunVerdict.PASS


def test_without_arming_nothing_energises(qtbot: QtBot) -> None:
    with run_view(qtbot) as bench:
        bench.press(Key.Key_F8, CONTROL)
        assert bench.verdict() is RunVerdict.INCOMPLETE
        assert bench.control.outcome is not None
        not_run = [one for one in bench.control.outcome.record.checks if one.check == "mains-on"]
        assert "not armed" in not_run[0].why


# What did not pass ------------------------------------------------------------------------------


def test_a_fail_shows_the_check_its_finding_and_a_slip(qtbot: QtBot) -> None:
    with run_view(qtbot, BAD) as bench:
        bench.arm()
        assert bench.verdict() is RunVerdict.FAIL
        current = bench.page.parts.table.current
        assert current is not None
        assert current.verdict == "fail"
        assert current.check == "source-resistance"
        bench.press(Key.Key_F12)
        bench.until(lambda: "hold slip is" in bench.control.sentence)
        (slip,) = (paths().archive.parent / "reports").glob("*-hold.pdf")
        assert slip.read_bytes().startswith(b"%PDF")
        bench.press(Key.Key_F5)
        bench.until(lambda: "report is" in bench.control.sentence)
        assert bench.control.outcome is None
        names = {file.suffix for file in slip.parent.iterdir()}
        assert names == {".pdf", ".txt"}
        bench.until(lambda: bench.control.serial == "SIM-0002")
        faults = [title for title, _ in bench.control.shift.faults]
        assert "Source resistance (B)" in faults


def test_a_slip_draws_hostile_text_as_text(qtbot: QtBot) -> None:
    with run_view(qtbot, BAD) as bench:
        hostile = "<b>WB</b>&<img src=x>"
        bench.scan(hostile)
        bench.arm()
        bench.verdict()
        outcome = bench.control.outcome
        assert outcome is not None
        slip = slip_of(outcome.record, outcome.explanations)
        assert slip is not None
        assert slip.serial == hostile
        assert slip_pdf(slip).startswith(b"%PDF")
        for label in bench.page.findChildren(QLabel):
            if "<b>" in label.text():
                assert label.textFormat() is Qt.TextFormat.PlainText


def test_reports_that_cannot_be_written_are_a_sentence(qtbot: QtBot, tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("")
    with run_view(qtbot) as bench:
        bench.control.room.preferences.put("run", "papers", str(blocked / "reports"))
        bench.arm()
        bench.verdict()
        bench.press(Key.Key_F5)
        bench.until(lambda: "cannot be made" in bench.control.sentence)


def test_a_broken_archive_is_a_sentence_and_starts_nothing(qtbot: QtBot) -> None:
    broken = paths().demo_archive
    broken.parent.mkdir(parents=True, exist_ok=True)
    broken.write_bytes(b"no database" * 1000)
    with staged(qtbot, QUICK) as stage:
        stage.window.go("Run")
        stage.window.cautions.read = True
        control = stage.window.view("Run").control
        stage.until(lambda: control.choice is not None)
        stage.until(lambda: str(broken) in control.sentence)
        QTest.keyClick(stage.window, Key.Key_F9, CONTROL)
        stage.until(lambda: not control.running)
        stage.until_rung(Rung.OPEN)
        assert control.outcome is None


def test_a_lot_takes_its_units_and_no_others(qtbot: QtBot) -> None:
    sheet = replace(INVENTED, serial_pattern=r"D-\d+")
    draft = Choice(Model("m", sheet), load_plan("quick"), load_profile()).draft("D-1")
    paths().demo_archive.parent.mkdir(parents=True, exist_ok=True)
    with open_archive(paths().demo_archive, simulated=True) as archive:
        serials = tuple(f"D-{number}" for number in range(1, 41))
        plan = plan_for(40, 4.0)
        order = LotOrder("L1", "Northern Imports", sheet, basis_of(draft), plan, serials, "seed")
        lots = Lots(archive)
        lot = lots.make(order)
        drawn = {unit.serial for unit in lots.state(lot.name).units}
    inside = min(drawn)
    outside = min(set(serials) - drawn)
    with run_view(qtbot) as bench:
        model = next(one for one in bench.control.offer.models if one.lot is not None)
        bench.control.choose_model(model)
        bench.scan(outside)
        bench.arm()
        bench.until(lambda: "was not drawn" in bench.control.sentence)
        assert not bench.control.running
        bench.scan(inside)
        bench.arm()
        assert bench.verdict() is RunVerdict.PASS
        assert bench.control.outcome is not None
        state = bench.control.outcome.lot
        assert state is not None
        assert sum(unit.counts is not None for unit in state.units) == 1
        bench.scan(inside)
        bench.arm()
        bench.until(lambda: "was tested before" in bench.control.sentence)
        assert not bench.control.running


# While it runs ----------------------------------------------------------------------------------


def test_escape_stops_the_run_which_is_recorded(qtbot: QtBot) -> None:
    with run_view(qtbot, SLOW) as bench:
        bench.arm()
        bench.until(lambda: bench.control.progress and bench.control.progress.step)
        bench.press(Key.Key_Escape)
        assert bench.verdict() is RunVerdict.INCOMPLETE
        assert bench.control.outcome is not None
        assert bench.control.outcome.record.interrupted
        bench.stage.until_rung(Rung.OPEN)


def test_pause_and_go_on_and_skip_with_a_reason(qtbot: QtBot) -> None:
    with run_view(qtbot, SLOW) as bench:
        bench.arm()
        bench.press(Key.Key_F6)
        bench.until(lambda: bench.control.progress and bench.control.progress.stage == "paused")
        bench.press(Key.Key_F6, CONTROL)
        assert bench.page.parts.line.isVisible()
        QTest.keyClicks(bench.page.parts.line.edit, "no time")
        qtbot.wait(250)
        bench.press(Key.Key_Return)
        bench.press(Key.Key_F6)
        assert bench.verdict() is RunVerdict.INCOMPLETE
        assert bench.control.outcome is not None
        skipped = [one.why for one in bench.control.outcome.record.checks if "Skipped" in one.why]
        assert skipped
        assert all("no time" in why for why in skipped)


def test_the_window_closed_in_c_opens_and_records(qtbot: QtBot) -> None:
    with run_view(qtbot, SLOW) as bench:
        bench.arm()
        bench.stage.until_snapshot(lambda snapshot: snapshot.mains)
        bench.stage.window.close()
        bench.until(lambda: not bench.stage.worker.running)
        snapshot = bench.stage.worker.snapshot_now
        assert snapshot is None or snapshot.setting.rung is Rung.OPEN
    with open_archive(paths().demo_archive, simulated=True) as archive:
        (summary,) = archive.find(Search())
        record = archive.load(summary.run_id)
    assert record.verdict is RunVerdict.INCOMPLETE
    assert record.interrupted
    assert record.make_safe["rung"] == "open"


def test_a_question_is_answered_by_keys_that_no_scanner_sends(qtbot: QtBot) -> None:
    with run_view(qtbot, "sim://sound?speed=10") as bench:
        bench.control.choose_plan("full")
        bench.control.let_answer_by_hand(True)
        bench.arm()
        bench.until(lambda: bench.control.progress and bench.control.progress.question)
        assert bench.control.progress is not None
        first = bench.control.progress.question
        assert first is not None
        prompt = bench.page.parts.prompt
        assert prompt.isVisible()
        bench.scan("WB-9")
        assert bench.control.progress.question is first
        left = bench.control.progress.answer_left_s(bench.control.at_s)
        assert left is not None
        assert 0.0 < left <= first.question.limit_s
        bench.press(Key.Key_F7)
        bench.until(
            lambda: (
                bench.control.progress is not None and bench.control.progress.question is not first
            )
        )
        bench.press(Key.Key_Escape)
        bench.verdict()


# Inspection mode --------------------------------------------------------------------------------


def test_inspection_mode_by_keys_only(qtbot: QtBot) -> None:
    with run_view(qtbot, BAD) as bench:
        bench.press(Key.Key_F11)
        face = bench.view.inspection
        assert face is not None
        assert QTest.qWaitForWindowExposed(face)
        assert face.isFullScreen()
        QTest.keyClicks(face.serial, "WB-1")
        QTest.keyClick(face.serial, Key.Key_Return)
        assert bench.control.serial == "WB-1"
        QTest.keyClick(face, Key.Key_F9, CONTROL)
        assert bench.verdict() is RunVerdict.FAIL
        assert face.far.accessibleName() == "verdict: fail"
        QTest.keyClick(face.serial, Key.Key_F4)
        assert face.line.isVisible()
        QTest.keyClicks(face.line.edit, "Second Shift")
        qtbot.wait(250)
        QTest.keyClick(face.line.edit, Key.Key_Return)
        assert bench.control.choice is not None
        assert bench.control.choice.operator == "Second Shift"
        QTest.keyClick(face.serial, Key.Key_F3)
        bench.until(lambda: bench.control.shift.runs == 1)
        assert face.shift.isVisible()
        QTest.keyClick(face, Key.Key_F3)
        QTest.keyClick(face.serial, Key.Key_F11)
        assert not face.isVisible()


def test_names_of_plans_and_limits_are_explained(qtbot: QtBot) -> None:
    with run_view(qtbot) as bench:
        setup = bench.page.parts.setup
        assert setup.plan.toolTip() == "Incoming inspection"
        assert setup.profile.toolTip() == "IEC 61851-1:2017"
        bench.control.choose_plan("full")
        assert setup.plan.accessibleDescription() == load_plan("full").title


def test_every_control_has_a_name(qtbot: QtBot) -> None:
    with run_view(qtbot) as bench:
        kinds = (QLineEdit, QComboBox, QTableView, QAbstractButton)
        for kind in kinds:
            for widget in bench.page.findChildren(kind):
                inner = widget.objectName().startswith("qt_") or not widget.isEnabled()
                named = widget.accessibleName() or getattr(widget, "text", str)()
                assert named or inner or not widget.isVisible(), widget
