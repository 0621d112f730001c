"""Nothing is cut off, whatever size letters have: names of views, plots, judgements, pages."""

import math
from typing import Any

import pytest
from desktop_stage import Stage, staged
from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QFontMetrics
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QLabel
from pytestqt.qtbot import QtBot
from test_desktop_run import BAD, run_view

from pilotsignal.judge import Judgement, Verdict
from pilotsignal.limit import Limit
from pilotsignal.quantity import Quantity
from pilotsignal.standard import load_profile
from rungbench.desktop.figures import number, with_uncertainty
from rungbench.desktop.plots import FixedPlot, Frame
from rungbench.desktop.preferences import Preferences
from rungbench.desktop.run_bar import JudgementBar
from rungbench.desktop.theme import Theme
from rungbench.link.words import Rung, Setting

pytestmark = pytest.mark.qt_log_ignore("propagateSizeHints")
Key = Qt.Key
B = Setting(Rung.B)


def look(scale: int) -> None:
    """As if it had been chosen before: the window then begins with it."""
    preferences = Preferences()
    preferences.put("look", "scale", scale)
    preferences.save()


def theme() -> Theme:
    """The usual look, put on the program: a test before may have left another."""
    made = Theme(Preferences())
    made.apply()
    return made


@pytest.mark.parametrize("scale", [100, 150, 200])
def test_names_of_views_stand_apart(qtbot: QtBot, scale: int) -> None:
    look(scale)
    with staged(qtbot, "") as stage:
        column = stage.window.column
        boxes = [column.visualItemRect(column.item(row)) for row in range(column.count())]
        line = column.fontMetrics().height()
        for above, below in zip(boxes, boxes[1:], strict=False):
            assert above.height() >= 1.5 * line
            assert above.bottom() < below.top()
        assert boxes[-1].bottom() <= column.viewport().height()


@pytest.mark.parametrize("scale", [100, 200])
def test_no_view_makes_the_window_larger(qtbot: QtBot, scale: int) -> None:
    look(scale)
    with run_view(qtbot, BAD) as bench:
        window = bench.stage.window
        window.resize(1200, 800)
        bench.arm()
        bench.verdict()
        qtbot.wait(50)
        for name in ("Run", "Records", "Bench", "Help", "Live"):
            window.go(name)
            qtbot.wait(50)
            assert (window.width(), window.height()) == (1200, 800), name


def shown_whole(label: QLabel) -> bool:
    """Whether a label has the height that its text needs in its width."""
    return label.height() >= label.heightForWidth(label.width()) - 1


@pytest.mark.parametrize("scale", [100, 150, 200])
def test_evidence_is_never_squeezed(qtbot: QtBot, scale: int) -> None:
    look(scale)
    with run_view(qtbot, BAD) as bench:
        bench.stage.window.resize(1200, 800)
        bench.arm()
        bench.verdict()
        panel = bench.page.parts.evidence

        def squeezed() -> list[str]:
            labels = [one for one in panel.findChildren(QLabel) if one.isVisible() and one.text()]
            assert len(labels) > 3
            return [label.text() for label in labels if not shown_whole(label)]

        # Room is given out by events, which a busy computer may take a while for.
        for _ in range(100):
            if not squeezed():
                break
            qtbot.wait(50)
        assert squeezed() == []
        for band in (bench.page.parts.verdict, bench.page.parts.setup):
            texts = [one for one in band.findChildren(QLabel) if one.isVisible() and one.wordWrap()]
            assert all(shown_whole(label) for label in texts)


def test_judgements_are_read_in_a_narrow_panel(qtbot: QtBot) -> None:
    limit = load_profile().limit("source_resistance")
    assert isinstance(limit, Limit)
    quantity = Quantity("source_resistance", 1098.8, "ohm", 1.9, math.inf, "by hand")
    bar = JudgementBar(theme(), Judgement(Verdict.FAIL, "", quantity, limit))
    qtbot.addWidget(bar)
    bar.resize(500, bar.height())
    bar.show()
    wide = bar.height()
    bar.resize(150, bar.height())
    qtbot.waitUntil(lambda: bar.height() > wide)
    assert bar.height() == wide + 2 * bar.fontMetrics().height()


@pytest.mark.parametrize("height", [90, 200, 600])
def test_a_title_stands_above_the_data(qtbot: QtBot, height: int) -> None:
    """The highest datum is drawn below the title, however low the plot is."""
    frame = Frame("V over µs", (0.0, 1.0), (-13.5, 13.5), (0, 1), (-12, 0, 12))
    plot = FixedPlot(theme(), frame)
    qtbot.addWidget(plot)
    plot.resize(300, height)
    plot.show()
    qtbot.wait(20)
    low, high = plot.frame.y
    assert low == -13.5
    share = (high - 13.5) / (high - low)
    drawn = height - plot.theme.px(25)
    # Ascent and descent of the title's letters.
    assert share * drawn >= QFontMetrics(plot.theme.font(0.85)).height()
    assert plot.wanted == frame


# Numbers ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("value", [-0.0, -1e-9, -0.0000004, 0.0])
def test_nothing_has_no_sign(value: float) -> None:
    assert number(value, 6) == "0.000000"
    assert with_uncertainty(value, 0.02, "V") == "0.000 ± 0.020 V"


def test_what_is_below_nothing_keeps_its_sign() -> None:
    assert number(-0.0000006, 6) == "−0.000001"
    assert with_uncertainty(-11.927, 0.026, "V") == "−11.927 ± 0.026 V"


# From a reading to the help -----------------------------------------------------------------------


def readings_of_b(stage: Stage) -> Any:
    stage.worker.present(B)
    stage.until(lambda: stage.live.readings.state.text().startswith("B2"))
    stage.until(stage.window.isActiveWindow)
    table = stage.live.readings.table
    table.setFocus()
    return table


@pytest.mark.parametrize("key", [Key.Key_Return, Key.Key_F1])
def test_a_reading_is_explained_by_a_key(qtbot: QtBot, key: Qt.Key) -> None:
    with staged(qtbot) as stage:
        table = readings_of_b(stage)
        assert table.item(0, 0).text() == "High level"
        table.setCurrentCell(0, 0)
        QTest.keyClick(table, key)
        stage.until(lambda: stage.window.column.currentItem().text() == "Help")
        view = stage.window.view("Help")
        assert str(view.place) == "readings#high-level"
        said = view.reading.text()
        assert said.startswith("High level: 9.0")
        assert "Limit 8.37 … 9.59 V (IEC 61851-1:2017, Table A.10)" in said
        assert "Pass: " in said
        view.go_to("faults")
        assert not view.reading.isVisible()


def test_every_reading_that_is_shown_leads_somewhere_of_its_own(qtbot: QtBot) -> None:
    with staged(qtbot) as stage:
        readings_of_b(stage)
        places = set()
        for row in stage.live.showing.rows:
            stage.live.readings.asked.emit(row.key, "")
            places.add(str(stage.window.view("Help").place))
        assert "start" not in places
        assert len(places) >= len(stage.live.showing.rows) - 1  # rise and fall share one


def test_a_double_click_and_a_notice_lead_to_the_help(qtbot: QtBot) -> None:
    with staged(qtbot) as stage:
        table = readings_of_b(stage)
        rows = [table.item(row, 0).text() for row in range(9)]
        item = table.item(rows.index("Frequency"), 0)
        at: QPoint = table.visualItemRect(item).center()
        viewport = table.viewport()
        QTest.mouseClick(viewport, Qt.MouseButton.LeftButton, pos=at)
        QTest.mouseDClick(viewport, Qt.MouseButton.LeftButton, pos=at)
        assert str(stage.window.view("Help").place) == "readings#frequency"
        stage.window.go("Live")
        notices = stage.live.readings.notices
        stage.until(lambda: "edges-unresolved" in notices.text())
        notices.linkActivated.emit("edges-unresolved")
        assert str(stage.window.view("Help").place) == "notices#edges-unresolved"


def test_a_check_is_explained_from_a_run(qtbot: QtBot) -> None:
    with run_view(qtbot, BAD) as bench:
        bench.arm()
        bench.verdict()
        table = bench.page.parts.table
        bench.until(lambda: table.current is not None)
        table.setFocus()
        bench.press(Key.Key_F1)
        view = bench.stage.window.view("Help")
        assert str(view.place) == "readings#source-resistance"
        assert view.reading.text().startswith("Source resistance (B). Fail. 109")
