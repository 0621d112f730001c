"""Somebody who has never seen the program: three actions to a verdict; inspection from afar."""

from pathlib import Path

import pytest
from desktop_stage import Stage, staged
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QPushButton, QWidget
from pytestqt.qtbot import QtBot
from test_desktop_run import BAD, QUICK, run_view

from rungbench.archive.record import RunVerdict
from rungbench.desktop.cautions import Cautions, CautionsPage
from rungbench.desktop.preferences import Preferences
from rungbench.desktop.run_control import Phase
from rungbench.desktop.run_inspection import InspectionFace
from rungbench.desktop.theme import Theme
from rungbench.paths import paths

pytestmark = pytest.mark.qt_log_ignore("propagateSizeHints")
Key = Qt.Key
CONTROL = Qt.KeyboardModifier.ControlModifier
# Height of a letter that is read at a distance: 1/200 of it (common practice, no source).
THREE_METRES_MM = 3000.0 / 200.0
SCREEN_MM = 300.0  # height of a screen of 21 to 24 inches


def step(stage: Stage, folder: Path, name: str) -> None:
    """A picture of what is seen, as a proof and to be looked at."""
    file = folder / f"{name}.png"
    assert stage.window.grab().save(str(file))
    assert file.stat().st_size > 5000


def test_three_keys_to_a_verdict(qtbot: QtBot, tmp_path: Path) -> None:
    """The address is the one that `app/run` opens, but for its speed."""
    with staged(qtbot, QUICK) as stage:
        stage.until(stage.window.isActiveWindow)
        step(stage, tmp_path, "0-opened")
        QTest.keyClick(stage.window, Key.Key_2, CONTROL)
        control = stage.window.view("Run").control
        stage.until(lambda: control.phase is Phase.READY)
        step(stage, tmp_path, "1-run")
        QTest.keyClick(stage.window, Key.Key_F9, CONTROL)
        step(stage, tmp_path, "2-cautions")
        QTest.keyClick(stage.window, Key.Key_F9, CONTROL)
        stage.until(lambda: control.outcome is not None)
        assert control.outcome.record.verdict is RunVerdict.PASS
        assert stage.window.view("Run").page.parts.verdict.isVisible()
        step(stage, tmp_path, "3-verdict")


def test_three_clicks_to_a_verdict(qtbot: QtBot) -> None:
    with staged(qtbot, QUICK) as stage:
        column = stage.window.column
        QTest.mouseClick(
            column.viewport(),
            Qt.MouseButton.LeftButton,
            pos=column.visualItemRect(column.item(1)).center(),
        )
        view = stage.window.view("Run")
        stage.until(lambda: view.control.phase is Phase.READY)
        QTest.mouseClick(view.page.parts.setup.start, Qt.MouseButton.LeftButton)
        (page,) = stage.window.findChildren(CautionsPage)
        go = next(one for one in page.findChildren(QPushButton) if one.text().startswith("Go on"))
        QTest.mouseClick(go, Qt.MouseButton.LeftButton)
        stage.until(lambda: view.control.outcome is not None)
        assert view.control.outcome.record.verdict is RunVerdict.PASS


def test_app_run_with_a_screen_opens_the_window_on_the_simulated_bench(root: Path) -> None:
    """The command of the README, as text: what it starts is tested above and below."""
    script = (root / "app" / "run").read_text("utf-8")
    assert "set -- desktop --bench sim://sound\n" in script
    assert "\ndesktop=yes\n" in script


def test_what_was_confirmed_on_a_simulated_bench_counts_for_no_real_one(qtbot: QtBot) -> None:
    cautions = Cautions()
    page = CautionsPage(cautions, Theme(Preferences()))
    qtbot.addWidget(page)
    cautions.asked.connect(page.ask)
    done: list[str] = []
    cautions.simulated = True
    cautions.confirmed(lambda: done.append("simulated"))
    page.confirm_key()
    assert done == ["simulated"]
    cautions.confirmed(lambda: done.append("again"))
    assert done == ["simulated", "again"]
    cautions.simulated = False
    cautions.confirmed(lambda: done.append("real"))
    assert done[2:] == []
    page.confirm_key()
    assert done[2:] == []  # ticked only
    page.confirm_key()
    assert done[2:] == ["real"]


def test_a_bench_that_changes_under_the_question_is_asked_for_anew(qtbot: QtBot) -> None:
    cautions = Cautions()
    page = CautionsPage(cautions, Theme(Preferences()))
    qtbot.addWidget(page)
    cautions.asked.connect(page.ask)
    done: list[str] = []
    cautions.simulated = True
    cautions.confirmed(lambda: done.append("run"))
    cautions.simulated = False  # another bench was connected meanwhile
    page.confirm_key()
    assert done == []
    assert not cautions.read


# Inspection mode --------------------------------------------------------------------------------


def face_of(qtbot: QtBot, bench: object) -> InspectionFace:
    from test_desktop_run import Bench

    assert isinstance(bench, Bench)
    bench.press(Key.Key_F11)
    bench.until(lambda: bench.view.inspection is not None and bench.view.inspection.isVisible())
    face = bench.view.inspection
    assert face is not None
    qtbot.waitUntil(face.isActiveWindow)
    return face


def press(face: InspectionFace, key: Qt.Key, modifier: Qt.KeyboardModifier | None = None) -> None:
    focus: QWidget | None = QApplication.focusWidget()
    QTest.keyClick(focus or face, key, modifier or Qt.KeyboardModifier.NoModifier)


def type_text(face: InspectionFace, text: str) -> None:
    focus: QWidget | None = QApplication.focusWidget()
    QTest.keyClicks(focus or face, text)


@pytest.mark.parametrize("scale", [100, 200])
def test_a_verdict_is_read_from_three_metres(qtbot: QtBot, scale: int) -> None:
    with run_view(qtbot, BAD) as bench:
        bench.stage.desktop.theme.set(scale=scale)
        face = face_of(qtbot, bench)
        press(face, Key.Key_F9, CONTROL)
        assert bench.verdict() is RunVerdict.FAIL
        qtbot.wait(50)
        screen = face.screen().geometry()
        assert face.height() <= screen.height()
        assert face.width() <= screen.width()
        # The word takes at least so much of the screen; lower-case letters are half of a line.
        assert face.far.height() >= 0.3 * screen.height()
        letter_mm = 0.5 * face.far.letters_px() / screen.height() * SCREEN_MM
        assert letter_mm >= THREE_METRES_MM
        assert face.far.accessibleName() == "verdict: fail"


def test_an_inspection_needs_no_mouse(qtbot: QtBot) -> None:
    """Two chargers, another operator between them; report, hold slip, shift, all by keys."""
    with run_view(qtbot, BAD) as bench:
        face = face_of(qtbot, bench)
        type_text(face, "WB-0001")
        press(face, Key.Key_Tab)
        assert bench.control.serial == "WB-0001"
        qtbot.wait(100)
        assert bench.control.phase is Phase.READY  # a scan arms and starts nothing
        press(face, Key.Key_F9, CONTROL)
        assert bench.verdict() is RunVerdict.FAIL
        press(face, Key.Key_F12)
        bench.until(lambda: "hold slip is" in bench.control.sentence)
        press(face, Key.Key_F5)
        bench.until(lambda: "inspection report is" in bench.control.sentence)
        assert bench.control.outcome is None
        press(face, Key.Key_F4)
        type_text(face, "B. Operator")
        qtbot.wait(300)  # as a hand types it: the Enter of a scanner comes at once
        press(face, Key.Key_Return)
        assert bench.control.choice is not None
        assert bench.control.choice.operator == "B. Operator"
        type_text(face, "WB-0002")
        press(face, Key.Key_Return)
        press(face, Key.Key_F9, CONTROL)
        assert bench.verdict() is RunVerdict.FAIL
        assert bench.control.outcome is not None
        assert bench.control.outcome.record.header.operator == "B. Operator"
        press(face, Key.Key_F3)
        bench.until(lambda: bench.control.shift.runs == 2)
        assert face.shift.isVisible()
        press(face, Key.Key_F11)
        assert not face.isVisible()
    reports = {file.suffix for file in (paths().archive.parent / "reports").iterdir()}
    assert ".pdf" in reports
