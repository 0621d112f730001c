"""Nothing lies beside the window with large letters: pages reflow, and ask for no needless room."""

from collections.abc import Iterator

import pytest
from desktop_stage import Stage
from lot_examples import fill, order
from PySide6.QtWidgets import QLabel, QScrollArea, QWidget
from pytestqt.qtbot import QtBot
from test_desktop_layout import look, shown_whole, theme
from test_desktop_lots import counter
from test_desktop_run import BAD, run_view

from rungbench.archive.store import open_archive
from rungbench.desktop.help_pages import TITLES
from rungbench.desktop.help_pictures import names, picture
from rungbench.desktop.records_budget import PlainTable
from rungbench.desktop.run_flow import FlowLayout, Pages
from rungbench.lots.store import Lots
from rungbench.paths import paths

pytestmark = pytest.mark.qt_log_ignore("propagateSizeHints")


def sideways(stage: Stage) -> Iterator[str]:
    """Areas in sight that have to be scrolled sideways, and labels of one line that are cut."""
    window = stage.window
    for area in window.findChildren(QScrollArea):
        if area.isVisible() and area.horizontalScrollBar().maximum() > 0:
            yield f"{area.widget()} {area.accessibleName()}"
    for label in window.findChildren(QLabel):
        shown = label.isVisible() and label.text().strip() and not label.wordWrap()
        if shown and label.width() < label.sizeHint().width() - 1:
            yield label.text()


@pytest.mark.parametrize("scale", [150, 200])
def test_no_page_scrolls_sideways(qtbot: QtBot, scale: int) -> None:
    look(scale)
    with run_view(qtbot, BAD) as bench:
        stage, window = bench.stage, bench.stage.window
        window.resize(1200, 800)
        bench.arm()
        bench.verdict()

        def calm(name: str) -> None:
            qtbot.wait(60)
            assert list(sideways(stage)) == [], name

        calm("verdict")
        for number, name in enumerate(("run", "shift", "describe", "options")):
            bench.page.pages.setCurrentIndex(number)
            bench.page.parts.shift.refresh()
            calm(name)
        window.go("Bench")
        view = window.view("Bench")
        for place in range(4):
            view.tabs.setCurrentIndex(place)
            calm(f"bench {place}")
        bench.until(lambda: view.resistors.answered is not None)
        calm("resistors with their answers")
        window.go("Help")
        help_view = window.view("Help")
        for page in TITLES:
            help_view.go_to(page)
            qtbot.wait(30)
            assert help_view.browser.horizontalScrollBar().maximum() == 0, page
        for name in ("Records", "Lots", "Live"):
            window.go(name)
            calm(name)


@pytest.mark.parametrize("scale", [100, 150, 200])
def test_the_parts_of_a_record_are_seen_whole(qtbot: QtBot, scale: int) -> None:
    """No column of a budget lies beyond its table: the share is what it is looked at for."""
    look(scale)
    with run_view(qtbot, BAD) as bench:
        window = bench.stage.window
        window.resize(1200, 800)
        bench.arm()
        bench.verdict()
        window.go("Records")
        view = window.view("Records")
        bench.until(lambda: len(view.found.rows) == 1)
        view.open(view.found.rows[0].run_id)
        bench.until(lambda: view.detail.opened is not None)
        view.detail.next_tab()
        qtbot.wait(60)
        table = view.detail.budget
        assert table.isVisible()
        assert table.rowCount() > 3
        assert table.horizontalScrollBar().maximum() == 0
        texts = [table.item(row, 0).text() for row in range(table.rowCount())]
        assert not [text for text in texts if "_" in text]


@pytest.mark.parametrize("scale", [100, 150, 200])
def test_the_parts_of_a_lot_cover_nothing(qtbot: QtBot, scale: int) -> None:
    """Each text has the height that it needs in its width, whatever lies below it."""
    look(scale)
    paths().demo_archive.parent.mkdir(parents=True, exist_ok=True)
    with open_archive(paths().demo_archive, simulated=True) as archive:
        fill(archive, Lots(archive).make(order("T-1")), "p" * 13)
    with counter(qtbot) as one:
        one.stage.window.resize(1200, 800)
        one.open("T-1")
        for part in ("Units", "Plan and risk", "Values", "Supplier"):
            one.part(part)
            qtbot.wait(60)
            assert list(sideways(one.stage)) == [], part
            cut = [label for label in labels(one.view.widget) if not shown_whole(label)]
            assert [label.text() for label in cut] == [], part


def labels(widget: QWidget) -> Iterator[QLabel]:
    """Those in sight that wrap."""
    for label in widget.findChildren(QLabel):
        if label.isVisible() and label.wordWrap() and label.text():
            yield label


@pytest.mark.usefixtures("qtbot")
@pytest.mark.parametrize("name", names())
def test_pictures_of_the_help_have_the_width_that_there_is(name: str) -> None:
    for room_px in (300.0, 470.0, 2000.0):
        drawn = picture(name, theme(), room_px)
        assert drawn is not None
        assert drawn.width() <= room_px


# Parts ------------------------------------------------------------------------------------------


def test_pages_ask_for_what_the_one_in_front_needs(qtbot: QtBot) -> None:
    pages = Pages()
    qtbot.addWidget(pages)
    low, high = QWidget(), QWidget()
    low.setMinimumHeight(50)
    high.setMinimumHeight(500)
    assert pages.heightForWidth(100) == -1  # no page yet
    pages.addWidget(low)
    pages.addWidget(high)
    assert pages.minimumSizeHint().height() == 50
    pages.setCurrentWidget(high)
    assert pages.minimumSizeHint().height() == 500


def test_items_flow_into_lines_and_stand_on_the_middle(qtbot: QtBot) -> None:
    box = QWidget()
    qtbot.addWidget(box)
    flow = FlowLayout(10, box, centred=True)
    items = [QWidget() for _ in range(3)]
    for item, (width, height) in zip(items, ((100, 20), (100, 40), (100, 20)), strict=True):
        item.setFixedSize(width, height)
        flow.addWidget(item)
    assert flow.heightForWidth(320) == 40
    assert flow.heightForWidth(319) == 40 + 10 + 20
    assert flow.heightForWidth(10) == 20 + 10 + 40 + 10 + 20
    box.resize(319, 200)
    box.show()
    flow.activate()
    assert [item.pos().x() for item in items] == [0, 110, 0]
    assert [item.pos().y() for item in items] == [10, 0, 50]


def test_the_wide_column_gives_way_but_never_vanishes(qtbot: QtBot) -> None:
    table = PlainTable(theme(), ("What", "Figure"), "Table", wraps=True, wide=0)
    qtbot.addWidget(table)
    table.show()
    table.show_rows([("some words that go on and on in the next line " * 3, "1.25 V")])
    table.resize(600, 300)
    assert table.horizontalScrollBar().maximum() == 0
    high = table.rowHeight(0)
    table.resize(150, 300)
    assert table.columnWidth(0) >= table.fontMetrics().horizontalAdvance("M" * 8)
    assert table.rowHeight(0) > high
