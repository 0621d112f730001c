"""The window on a simulated bench: arming, the way back, alarms, a lost link, files, the end."""

import time
from pathlib import Path

import pytest
from desktop_stage import FAST, staged
from PySide6.QtCore import QLocale, QPoint, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QLabel, QLineEdit
from pytestqt.qtbot import QtBot

from rungbench.desktop.commands import Job, Tell
from rungbench.desktop.runner import HANGS_S
from rungbench.desktop.snapshots import JobEnd, LinkState
from rungbench.link.words import OPEN, LadderSet, Mode, Rung, Setting
from rungbench.standin.board import StandIn

B, C = Setting(Rung.B), Setting(Rung.C)
# Of the platform without a screen, at each change of a window's least size.
pytestmark = pytest.mark.qt_log_ignore("propagateSizeHints")
Key = Qt.Key
NONE = Qt.KeyboardModifier.NoModifier
CONTROL = Qt.KeyboardModifier.ControlModifier


def test_readings_of_b(qtbot: QtBot) -> None:
    with staged(qtbot) as stage:
        stage.window.resize(1200, 800)
        stage.live.scale.aim_at(B)
        QTest.keyClick(stage.live.scale, Key.Key_Return)
        stage.until_rung(Rung.B)
        stage.until(lambda: stage.live.readings.state.text().startswith("B2"))
        stage.until(lambda: stage.live.showing.folded is not None)
        rows = {row.key: row for row in stage.live.showing.rows}
        for key in ("high_plateau_v", "low_plateau_v", "frequency_hz"):
            assert str(rows[key].judgement.verdict) == "pass"
        assert stage.window.simulated.isVisible()
        stage.until(lambda: stage.live.period.paints > 3)
        assert stage.live.readings.table.item(0, 1).text().startswith("9.0")


def test_nothing_energises_without_cautions_and_arming(qtbot: QtBot) -> None:
    with staged(qtbot) as stage:
        stage.live.scale.aim_at(C)
        QTest.keyClick(stage.live.scale, Key.Key_Return)
        assert "Arm with Ctrl+F9" in stage.said
        QTest.keyClick(stage.window, Key.Key_F9, CONTROL)
        QTest.keyClicks(stage.window, "SN-1")
        QTest.keyClick(stage.window, Key.Key_Return)
        assert not stage.window.cautions.rehearsed
        QTest.keyClick(stage.window, Key.Key_F9, CONTROL)
        assert stage.window.cautions.rehearsed
        stage.until_snapshot(lambda snapshot: snapshot.armed_left_s is not None)
        stage.until(lambda: stage.window.arm.text.startswith("Armed"))
        qtbot.wait(200)
        QTest.keyClick(stage.live.scale, Key.Key_Return)
        stage.until_snapshot(lambda snapshot: snapshot.mains)
        assert "Outlet live" in stage.window.arm.text


def test_escape_on_the_cautions_arms_nothing(qtbot: QtBot) -> None:
    with staged(qtbot) as stage:
        QTest.keyClick(stage.window, Key.Key_F9, CONTROL)
        QTest.keyClick(stage.window, Key.Key_Escape)
        qtbot.wait(300)
        assert not stage.window.cautions.rehearsed
        assert stage.worker.snapshot_now is not None
        assert stage.worker.snapshot_now.armed_left_s is None


def energise(stage_: object) -> None:
    from desktop_stage import Stage

    assert isinstance(stage_, Stage)
    stage_.confirm_cautions()
    stage_.worker.present(B)
    stage_.until_rung(Rung.B)
    stage_.worker.arm()
    stage_.worker.present(C)
    stage_.until_snapshot(lambda snapshot: snapshot.mains)


def test_escape_goes_open_and_the_outlet_is_watched(qtbot: QtBot) -> None:
    with staged(qtbot) as stage:
        energise(stage)
        QTest.keyClick(stage.window, Key.Key_Escape)
        stage.until_rung(Rung.OPEN)
        stage.until_snapshot(lambda snapshot: snapshot.watch_left_s is not None)
        stage.until(lambda: "watched" in stage.window.arm.text)
        stage.until_snapshot(lambda snapshot: snapshot.watch_left_s is None)
        assert stage.window.alarm.text == ""


def test_a_live_outlet_is_shouted_until_noted(qtbot: QtBot) -> None:
    with staged(qtbot, f"{FAST}&welded=yes") as stage:
        energise(stage)
        stage.worker.open()
        stage.until(lambda: stage.window.alarm.text == "Outlet live: switch off the supply")
        QTest.keyClick(stage.window, Key.Key_F10, CONTROL)
        assert stage.window.alarm.text == ""
        # It is live still, so it is shouted again.
        stage.until(lambda: stage.window.alarm.text)


def test_closing_in_c_leaves_the_rung_open(qtbot: QtBot) -> None:
    with staged(qtbot) as stage:
        energise(stage)
        stage.desktop.close()
        assert stage.window.isVisible()
        stage.until(lambda: not stage.window.isVisible())
        last = stage.worker.snapshot_now
        assert last is not None
        assert (last.setting.rung, last.mains, last.watch_left_s) == (Rung.OPEN, frozenset(), None)


def test_nothing_stays_energised_under_a_window_that_hangs(qtbot: QtBot) -> None:
    with staged(qtbot) as stage:
        energise(stage)
        time.sleep(HANGS_S + 1.5)  # the main thread does nothing
        stage.until_rung(Rung.OPEN)
        stage.until(lambda: "did not respond" in stage.said)


def test_a_pulled_cable_is_said_and_taken_up_again(qtbot: QtBot) -> None:
    with staged(qtbot, f"{FAST}&unplug_after_s=4") as stage:
        links: list[LinkState] = []
        stage.worker.link.connect(links.append)
        stage.until(lambda: any(not link.up for link in links))
        assert "pulled" in stage.said
        assert stage.window.arm.text == "No bench"
        stage.until(lambda: links[-1].up)
        stage.until_snapshot(lambda _snapshot: True)
        assert stage.said == ""


def test_a_bench_that_is_not_there_is_said(qtbot: QtBot) -> None:
    with staged(qtbot, "") as stage:
        stage.worker.connect_bench("/dev/ttyNOBOARD")
        stage.until(lambda: "ttyNOBOARD" in stage.said)
        assert not stage.window.simulated.isVisible()
        stage.worker.connect_bench(FAST)
        stage.until_snapshot(lambda _snapshot: True)


def test_a_job_has_the_bench_and_escape_stops_it(qtbot: QtBot) -> None:
    def work(standin: StandIn, tell: Tell) -> str:
        standin.hold(B)
        tell("on B")
        standin.wait(600.0)
        return "never"

    with staged(qtbot) as stage:
        told: list[object] = []
        ends: list[JobEnd] = []
        stage.worker.told.connect(told.append)
        stage.worker.job_ended.connect(ends.append)
        stage.worker.start(Job("A long run", work))
        stage.until(lambda: told == ["on B"])
        stage.until_snapshot(lambda snapshot: snapshot.job and snapshot.setting.rung is Rung.B)
        stage.live.scale.aim_at(B)
        QTest.keyClick(stage.live.scale, Key.Key_Return)
        assert "has the bench" in stage.said
        QTest.keyClick(stage.window, Key.Key_Escape)
        stage.until(lambda: ends)
        assert ends[0].result is None
        assert ends[0].sentence
        stage.until_rung(Rung.OPEN)


def test_freeze_keeps_what_is_drawn(qtbot: QtBot) -> None:
    with staged(qtbot) as stage:
        stage.until(lambda: stage.live.showing is not None)
        stage.live.tools.frozen.emit(True)
        shown = stage.live.readings.state.text()
        stage.worker.present(B)
        stage.until_rung(Rung.B)
        qtbot.wait(500)
        assert stage.live.readings.state.text() == shown
        stage.live.tools.frozen.emit(False)
        stage.until(lambda: stage.live.readings.state.text().startswith("B2"))


def test_what_is_saved_while_frozen_is_what_is_shown(qtbot: QtBot, tmp_path: Path) -> None:
    with staged(qtbot) as stage:
        stage.worker.present(B)
        stage.until(lambda: stage.live.readings.state.text().startswith("B2"))
        stage.until(stage.window.isActiveWindow)
        QTest.keyClick(stage.window, Key.Key_F8)
        stage.until(stage.live.frozen.isVisible)
        held = stage.live.showing
        stage.worker.open()
        stage.until_rung(Rung.OPEN)
        stage.until(lambda: stage.live._measured is not held)
        assert stage.live.showing is held
        stage.live.save_data(stage.live.showing, tmp_path / "frozen.csv")
        stage.until(lambda: "Saved" in stage.said)
        rows = (tmp_path / "frozen.csv").read_text("utf-8").splitlines()
        volts = [float(row.partition(",")[2]) for row in rows if row[:1].isdigit()]
        assert min(volts) < -11.0  # pulses: B, not the steady level of now
        QTest.keyClick(stage.window, Key.Key_F8)
        stage.until(lambda: not stage.live.frozen.isVisible())
        stage.until(lambda: stage.live.readings.state.text().startswith("A"))


def test_what_is_frozen_takes_no_setting_but_open(qtbot: QtBot) -> None:
    """Nobody chooses on a picture that would not show what came of it; open always works."""
    with staged(qtbot) as stage:
        stage.worker.present(B)
        stage.until_rung(Rung.B)
        stage.until(stage.window.isActiveWindow)
        QTest.keyClick(stage.window, Key.Key_F8)
        stage.until(stage.live.frozen.isVisible)
        stage.live.scale.chosen.emit(Setting(Rung.B, LadderSet.LOW))
        assert "frozen" in stage.said
        stage.live.scale.chosen.emit(OPEN)
        stage.until_rung(Rung.OPEN)


def test_a_lost_link_leaves_what_was_frozen(qtbot: QtBot) -> None:
    with staged(qtbot, f"{FAST}&unplug_after_s=6") as stage:
        downs: list[LinkState] = []
        stage.worker.link.connect(lambda link: None if link.up else downs.append(link))
        stage.until(lambda: stage.live.showing is not None)
        stage.until(stage.window.isActiveWindow)
        QTest.keyClick(stage.window, Key.Key_F8)
        stage.until(stage.live.frozen.isVisible)
        held, shown = stage.live.showing, stage.live.readings.state.text()
        stage.until(lambda: downs)
        assert stage.live.showing is held
        assert stage.live.readings.state.text() == shown


@pytest.mark.parametrize("typed", ["much", "-6", "0"])
def test_a_current_that_is_none_is_a_sentence(qtbot: QtBot, typed: str) -> None:
    with staged(qtbot) as stage:
        field = stage.live.tools.findChild(QLineEdit)
        QTest.keyClicks(field, typed)
        QTest.keyClick(field, Key.Key_Return)
        assert f"{typed!r} is no current" in stage.said
        assert field.text() == typed  # to be corrected, not typed again
        field.clear()
        QTest.keyClicks(field, "16 A")
        QTest.keyClick(field, Key.Key_Return)
        assert stage.live._set_current_a == 16.0


def test_a_channel_keeps_its_commas(qtbot: QtBot) -> None:
    with staged(qtbot, "") as stage:
        row = stage.live.files
        row._edits["channel"].setText("CH1, pilot")
        row._edits["interval_s"].setText("2,5 us")
        options = row.options("x.csv")
        assert options.channel == "CH1, pilot"
        assert options.interval_s == pytest.approx(2.5e-6)


def test_a_file_is_shown_in_the_same_view(qtbot: QtBot, root: Path) -> None:
    with staged(qtbot) as stage:
        stage.live.open_file(root / "fixtures/csv/comment-lines.csv")
        stage.until(lambda: "file is shown" in stage.said)
        assert stage.live.scale.choices == ()
        assert stage.live.readings.state.text().startswith("B2")
        stage.live.close_file()
        assert len(stage.live.scale.choices) > 5


def test_a_file_of_a_simulated_bench_says_so_anywhere(qtbot: QtBot, tmp_path: Path) -> None:
    """Also in a window without a simulated bench, and in what is saved from it again."""
    file, again = tmp_path / "saved.csv", tmp_path / "again.csv"
    with staged(qtbot) as stage:
        stage.worker.present(B)
        stage.until(lambda: stage.live.readings.state.text().startswith("B2"))
        stage.live.save_data(stage.live.showing, file)
        stage.until(lambda: "Saved" in stage.said)
    with staged(qtbot, "") as stage:
        stage.live.open_file(file)
        stage.until(lambda: "file is shown" in stage.said)
        assert not stage.window.simulated.isVisible()
        assert stage.live.files.simulated.isVisible()
        stage.live.save_data(stage.live.showing, again)
        stage.until(lambda: "Saved" in stage.said)
        stage.live.close_file()
        assert stage.said == ""
    assert again.read_text("utf-8").startswith("#SIMULATED\n")


def test_what_was_said_goes_with_its_view(qtbot: QtBot) -> None:
    with staged(qtbot, "") as stage:
        stage.live.scale.chosen.emit(B)
        assert "no bench" in stage.said
        stage.window.go("Help")
        assert stage.said == ""


@pytest.mark.parametrize("content", [b"", b"\x00\xff\x00" * 50, b"1\n2\n", b"a,b\nc,d\n"])
def test_a_broken_file_is_one_sentence(qtbot: QtBot, tmp_path: Path, content: bytes) -> None:
    file = tmp_path / "broken.csv"
    file.write_bytes(content)
    with staged(qtbot) as stage:
        stage.live.open_file(file)
        stage.until(lambda: stage.said)
        assert "Traceback" not in stage.said
        assert stage.live.readings.state.text()  # the bench goes on


def test_data_and_pictures_are_saved(qtbot: QtBot, tmp_path: Path) -> None:
    with staged(qtbot) as stage:
        stage.until(lambda: stage.live.showing is not None)
        stage.live.save_data(stage.live.showing, tmp_path / "pilot.csv")
        stage.until((tmp_path / "pilot.csv").exists)
        assert (tmp_path / "pilot.csv").read_text("utf-8").startswith("#SIMULATED\n")
        stage.live.save_picture(tmp_path / "view.svg")
        stage.live.save_picture(tmp_path / "view.png")
        svg = (tmp_path / "view.svg").read_text("utf-8")
        assert "SIMULATED" in svg
        assert "2740" in svg
        assert (tmp_path / "view.png").read_bytes().startswith(b"\x89PNG")
        stage.live.save_picture(tmp_path / "no" / "view.png")
        assert "cannot be written" in stage.said


def test_the_other_sampling_is_used(qtbot: QtBot) -> None:
    with staged(qtbot) as stage:
        stage.live.tools.mode.emit(Mode.STREAM8)
        stage.until_snapshot(lambda snapshot: snapshot.mode is Mode.STREAM8)
        stage.until(
            lambda: (
                stage.live.showing is not None
                and stage.live.showing.capture.interval_s == pytest.approx(13e-6)
            )
        )


def test_numbers_are_those_of_the_users_locale(qtbot: QtBot) -> None:
    before = QLocale()
    QLocale.setDefault(QLocale(QLocale.Language.German))
    try:
        with staged(qtbot) as stage:
            stage.until(lambda: stage.live.showing is not None)
            assert stage.live.readings.table.item(0, 1).text().startswith("12,0")
    finally:
        QLocale.setDefault(before)


@pytest.mark.parametrize("scale", [100, 150, 200])
@pytest.mark.parametrize("look", ["light", "dark"])
def test_no_word_is_cut(qtbot: QtBot, look: str, scale: int) -> None:
    with staged(qtbot) as stage:
        stage.desktop.theme.set(look=look, scale=scale)
        stage.window.resize(1200, 800)
        stage.until(lambda: stage.live.showing is not None)
        qtbot.wait(100)
        assert stage.window.width() <= 1200
        for label in stage.window.findChildren(QLabel):
            if label.isVisible() and label.text().strip() and not label.wordWrap():
                assert label.width() >= label.sizeHint().width() - 1, label.text()


def test_the_cursor_reads_out_by_keys(qtbot: QtBot) -> None:
    with staged(qtbot) as stage:
        stage.worker.present(B)
        stage.until(lambda: stage.live.showing is not None and stage.live.showing.folded)
        QTest.keyClick(stage.live.period, Key.Key_Left)
        assert stage.live.readings.read_out.text().startswith("at ")
        assert " V" in stage.live.readings.read_out.text()


def test_what_was_set_is_remembered(qtbot: QtBot) -> None:
    with staged(qtbot, "") as stage:
        stage.desktop.theme.set(look="dark", scale=150)
    with staged(qtbot, "") as stage:
        assert (stage.desktop.theme.look, stage.desktop.theme.scale) == ("dark", 150)


def test_the_mouse_finds_a_choice(qtbot: QtBot) -> None:
    with staged(qtbot) as stage:
        scale = stage.live.scale
        box = scale._face().label_box([c.setting for c in scale.choices].index(B))
        at = QPoint(round(box.left() + 10), round(box.center().y()))
        QTest.mouseClick(scale, Qt.MouseButton.LeftButton, NONE, at)
        stage.until_rung(Rung.B)


def test_a_window_that_was_maximised_comes_back_so(qtbot: QtBot) -> None:
    """And, when it is made smaller again, in the size that it had before."""
    with staged(qtbot, "") as stage:
        stage.window.resize(790, 700)
        stage.window.showMaximized()
        stage.until(stage.window.isMaximized)
        stage.window._ending_begins()
    with staged(qtbot, "") as stage:
        assert stage.window.isMaximized()
        stage.window.showNormal()
        stage.until(lambda: not stage.window.isMaximized())
        assert (stage.window.width(), stage.window.height()) == (790, 700)
        stage.window._ending_begins()
    with staged(qtbot, "") as stage:
        assert not stage.window.isMaximized()
