"""The bench view on a simulated bench: board, self-check, calibration, resistors, by keyboard."""

from typing import Any

import pytest
from desktop_stage import Stage, staged
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QLineEdit, QTableWidget
from pytestqt.qtbot import QtBot

from rungbench.calibrations.record import Part
from rungbench.qualify.bench import store_for

pytestmark = pytest.mark.qt_log_ignore("propagateSizeHints")
QUICK = "sim://sound?speed=max"
Key = Qt.Key
ALT = Qt.KeyboardModifier.AltModifier
# One clock calibration, question by question; keys are beginnings of the questions.
CLOCK = {
    "Who calibrates": "A. Tester",
    "Temperature": "",
    "How many kelvin": "",
    "Until when": "200",
    "Anything to note": "",
    "Name of the frequency reference": "counter",
    "Its serial number": "",
    "What its last digit": "",
    "How its accuracy is stated": "",
    "Its accuracy": "1 ppm",
    "Apply pulses of a known frequency": "1000",
    "How far this": "",
}


def bench_of(stage: Stage, page: int = 1) -> Any:
    stage.until(stage.window.isActiveWindow)
    stage.window.go("Bench")
    view = stage.window.view("Bench")
    QTest.keyClick(view.tabs, Key(Key.Key_0.value + page), ALT)
    stage.until(lambda: view.tabs.currentIndex() == page - 1)
    return view


# Board ----------------------------------------------------------------------------------------


def test_board_health_and_parts(qtbot: QtBot) -> None:
    with staged(qtbot) as stage:
        board = bench_of(stage).board
        stage.until(lambda: board.health.texts().get("Presents") == "open")
        assert board.identity.texts()["Board"] == "SIMULATED"
        assert board.health.texts()["Converter overruns"] == "0"
        stage.until(lambda: int(board.losses.texts()["Stretches looked at"]) > 0)
        assert board.losses.texts()["Frames lost"] == "0"
        wanted = ["permanent resistor", "nominal"]
        permanent = next(row for row in board.parts.texts() if row[:2] == wanted)
        assert permanent[2] == "2740 Ω"
        assert permanent[3].startswith("2740.0 ± ")


def test_losses_are_counted(qtbot: QtBot) -> None:
    with staged(qtbot, "sim://sound?speed=4&frame_loss=0.02&seed=3") as stage:
        board = bench_of(stage).board
        stage.until(lambda: int(board.losses.texts().get("Frames lost", "0")) > 0)


def test_another_bench_by_keyboard(qtbot: QtBot) -> None:
    with staged(qtbot) as stage:
        board = bench_of(stage).board
        rows = [row[0] for row in board.places.texts()]
        board.places.setCurrentCell(rows.index("sim://sound?source_ohm=1100"), 0)
        QTest.keyClick(board.places, Key.Key_Return)
        wanted = "sim://sound?source_ohm=1100&speed=1"
        stage.until(lambda: stage.worker.link_now.url == wanted and stage.worker.link_now.up)
        board.address.setText(QUICK)
        QTest.keyClick(board.address, Key.Key_Return)
        stage.until(lambda: stage.worker.link_now.url == QUICK and stage.worker.link_now.up)
        board.free.click()
        stage.until(lambda: stage.worker.link_now.url == "")
        assert board.state.text() == "No bench is connected."
        assert not board.health.isVisible()


def test_an_address_that_is_none_is_said_in_place(qtbot: QtBot) -> None:
    with staged(qtbot) as stage:
        board = bench_of(stage).board
        board.address.setText("sim://sound?colour=red")
        board.use.click()
        stage.until(lambda: "colour" in board.state.text())
        assert "colour" in stage.said


# Self-check -----------------------------------------------------------------------------------


def test_self_check_to_its_end(qtbot: QtBot) -> None:
    with staged(qtbot, QUICK) as stage:
        check = bench_of(stage, 3).check
        QTest.keyClick(check.clock, Key.Key_Return)
        assert not check.begin.isEnabled()
        stage.until(check.begin.isEnabled)
        assert check.overall.verdict == "pass"
        assert len(check.lines) == 12
        verdicts = {str(line.line): str(line.verdict) for line in check.lines}
        assert verdicts["board clock"] == "not run"
        assert verdicts["relay settings"] == "pass"


def test_self_check_that_was_stopped_is_no_pass(qtbot: QtBot) -> None:
    with staged(qtbot, "sim://sound?speed=1") as stage:
        check = bench_of(stage, 3).check
        check.begin.click()
        stage.until(lambda: check.doing.text().startswith("Looking at"))
        stage.window.activateWindow()
        QTest.keyClick(stage.window, Key.Key_Escape)
        stage.until(check.begin.isEnabled)
        assert check.overall.verdict == "incomplete"


def test_self_check_without_a_bench(qtbot: QtBot) -> None:
    with staged(qtbot, "") as stage:
        bench_of(stage, 3).check.begin.click()
        assert "There is no bench to check" in stage.said


def test_self_check_refuses_nonsense(qtbot: QtBot) -> None:
    with staged(qtbot, QUICK) as stage:
        check = bench_of(stage, 3).check
        for text in ("soon", "-1", "nan", "99999"):
            check.clock.setText(text)
            check.begin.click()
            assert check.doing.text().startswith("State 0 to 3600 s")
            assert check.begin.isEnabled()


# Calibration ----------------------------------------------------------------------------------


def answer(stage: Stage, page: Any) -> str:
    """Answer the question that is put, by keyboard; returns it."""
    stage.until(page.answer.isEnabled)
    question = str(page.question.text())
    text = next(text for begin, text in CLOCK.items() if question.startswith(begin))
    QTest.keyClicks(page.answer, text)
    QTest.keyClick(page.answer, Key.Key_Return)
    return question


def only(page: Any, part: Part) -> None:
    for one, box in page.parts.items():
        box.setChecked(one is part)


def test_calibration_is_broken_off_and_taken_up_again(qtbot: QtBot) -> None:
    with staged(qtbot, QUICK) as stage:
        view = bench_of(stage, 2)
        page = view.calibration
        only(page, Part.CLOCK)
        page.begin.click()
        asked = [answer(stage, page) for _ in range(4)]
        stage.until(page.answer.isEnabled)
        assert not stage.worker.link_now.up  # the port belongs to the calibration
        assert page.simulated.isVisible()
        stage.window.activateWindow()
        stage.until(stage.window.isActiveWindow)
        QTest.keyClick(page.answer, Key.Key_Escape)
        # In the course it stays; the sentence below the view goes when the bench is back.
        stage.until(lambda: "What was answered is kept" in page.course.toPlainText())
        stage.until(lambda: "waits with 4 answers" in page.remark.text())
        stage.until(lambda: stage.worker.link_now.up and page.begin.isEnabled())

        page.begin.click()
        asked += [answer(stage, page) for _ in range(len(CLOCK) - 4)]
        stage.until(lambda: "Finished" in page.course.toPlainText())
        assert len(set(asked)) == len(CLOCK)
        rows = page.records.texts()
        assert [row[0] for row in rows] == ["clock"]
        assert rows[0][4] == "in use, 200 days left"
        record = store_for(simulated=True).records()[0]
        assert record.part is Part.CLOCK
        assert abs(record.result["correction"]) < 1e-4
        stage.until(lambda: stage.worker.link_now.calibration is not None)
        calibration = stage.worker.link_now.calibration
        assert calibration is not None
        assert calibration.time_base.id == record.id


def test_an_answer_that_makes_no_sense_is_asked_again(qtbot: QtBot) -> None:
    with staged(qtbot, QUICK) as stage:
        page = bench_of(stage, 2).calibration
        only(page, Part.CLOCK)
        page.begin.click()
        answer(stage, page)
        stage.until(page.answer.isEnabled)
        QTest.keyClicks(page.answer, "warm")
        QTest.keyClick(page.answer, Key.Key_Return)
        stage.until(lambda: "'warm' is no number" in page.course.toPlainText())
        stage.until(lambda: page.question.text().startswith("Temperature"))
        page.stop.click()
        stage.until(page.begin.isEnabled)


def test_nothing_else_has_the_bench_meanwhile(qtbot: QtBot) -> None:
    with staged(qtbot, QUICK) as stage:
        view = bench_of(stage, 2)
        view.calibration.begin.click()
        stage.until(view.calibration.answer.isEnabled)
        view.board.address.setText(QUICK)
        view.board.use.click()
        assert "A calibration is in progress" in stage.said
        view.check.begin.click()
        assert "A calibration is in progress" in stage.said
        assert not stage.worker.link_now.up


def test_rungs_that_energise_need_the_cautions(qtbot: QtBot) -> None:
    with staged(qtbot, QUICK) as stage:
        page = bench_of(stage, 2).calibration
        assert page.armed.focusPolicy() is Qt.FocusPolicy.NoFocus
        page.armed.setChecked(True)
        page.begin.click()
        assert not page.stop.isEnabled()  # the cautions are asked first
        stage.window.cautions.settle(read=False)
        assert not page.stop.isEnabled()
        page.begin.click()
        stage.window.cautions.settle(read=True)
        stage.until(page.stop.isEnabled)
        page.stop.click()
        stage.until(page.begin.isEnabled)
        assert not page.armed.isChecked()


def test_a_fault_of_the_store_is_a_sentence(qtbot: QtBot) -> None:
    folder = store_for(simulated=True).folder
    with staged(qtbot, QUICK) as stage:
        page = bench_of(stage, 2).calibration
        folder.mkdir(parents=True)
        (folder / "clock-X.json").write_text("{")
        page.begin.click()
        stage.until(lambda: "damaged" in page.course.toPlainText())
        # With such a record no bench is used; once it is put away the bench comes back by itself.
        stage.until(lambda: "damaged" in stage.said)
        (folder / "clock-X.json").unlink()
        stage.until(lambda: stage.worker.link_now.up and page.begin.isEnabled())


# Resistors ------------------------------------------------------------------------------------


def test_resistors_are_worked_out(qtbot: QtBot) -> None:
    with staged(qtbot) as stage:
        page = bench_of(stage, 4).resistors
        stage.until(lambda: page.answered is not None)
        levels = {row[0]: row for row in page.levels.texts()}
        # IEC 61851-1:2017 Table A.10: 8.37 to 9.59 V.
        assert levels["B"][2] == "8.370 … 9.594"
        page.values["source"].setText("1100")
        QTest.keyClick(page.values["source"], Key.Key_Return)
        stage.until(lambda: page.answered and page.answered.parts.source.nominal == 1100.0)
        # By hand: 0.70 V + 11.30 V x 2740 / 3840
        assert page.levels.texts()[1][1] == "8.763"
        assert any("read as B" in row for row in page.chances.texts())
        page.ladder.setCurrentIndex(page.ladder.findData("high"))
        page.ladder.activated.emit(page.ladder.currentIndex())
        stage.until(lambda: page.answered and page.answered.parts.permanent.nominal == 4610.0)
        assert any(row[1] == "read as A or B" for row in page.chances.texts())


def test_a_wrong_field_leaves_no_old_answer(qtbot: QtBot) -> None:
    with staged(qtbot) as stage:
        page = bench_of(stage, 4).resistors
        stage.until(lambda: page.answered is not None)
        page.values["diode"].setText("?")
        page.go.click()
        stage.until(lambda: "Drop of the diode: '?' is no number" in stage.said)
        assert page.answered is None
        assert page.levels.texts() == []
        assert page.chances.texts() == []


def test_parts_are_found_by_keyboard(qtbot: QtBot) -> None:
    with staged(qtbot) as stage:
        page = bench_of(stage, 4).resistors
        stage.until(lambda: page.answered is not None)
        QTest.keyClicks(page.level, "8.9786")
        QTest.keyClick(page.level, Key.Key_Return)
        # IEC 61851-1:2017 Table A.3: 2740 ohm, which IEC 60063 has in E96.
        assert page.fits.texts()[0][0] == "2740"
        page.level.clear()
        QTest.keyClicks(page.level, "12")
        QTest.keyClick(page.level, Key.Key_Return)
        assert page.fits.texts() == []
        assert "No resistor brings 12 V in B" in page.needed.text()


# All pages ------------------------------------------------------------------------------------


@pytest.mark.parametrize("look", ["light", "dark"])
@pytest.mark.parametrize("scale", [100, 200])
def test_every_page_fits_the_window(qtbot: QtBot, look: str, scale: int) -> None:
    with staged(qtbot) as stage:
        stage.desktop.theme.set(look=look, scale=scale)
        view = bench_of(stage, 1)
        for page in range(4):
            view.tabs.setCurrentIndex(page)
            qtbot.wait(50)
            assert view.tabs.minimumSizeHint().width() < 1100
            picture = view.tabs.grab().toImage()
            places = [(x, y) for x in range(0, 400, 7) for y in range(0, 400, 7)]
            assert len({picture.pixel(*place) for place in places}) > 3


def test_fields_have_names_for_screen_readers(qtbot: QtBot) -> None:
    with staged(qtbot) as stage:
        view = bench_of(stage, 4)
        fields = view.tabs.findChildren(QLineEdit) + view.tabs.findChildren(QTableWidget)
        assert len(fields) > 20
        assert [field for field in fields if not field.accessibleName()] == []
