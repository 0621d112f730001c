"""The help in the window: opened by F1, links, back and forward, search, pictures."""

from typing import Any

import pytest
from desktop_stage import Stage, staged
from PySide6.QtCore import Qt, QUrl
from PySide6.QtGui import QTextDocument
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot

from rungbench.desktop.handing import explain
from rungbench.desktop.help_pictures import names, picture

pytestmark = pytest.mark.qt_log_ignore("propagateSizeHints")
Key = Qt.Key
ALT = Qt.KeyboardModifier.AltModifier
CONTROL = Qt.KeyboardModifier.ControlModifier


def help_of(stage: Stage) -> Any:
    stage.until(stage.window.isActiveWindow)
    QTest.keyClick(stage.window, Key.Key_F1)
    stage.until(lambda: stage.window.column.currentItem().text() == "Help")
    return stage.window.view("Help")


def test_f1_opens_and_keys_lead_through_the_pages(qtbot: QtBot) -> None:
    with staged(qtbot, "") as stage:
        view = help_of(stage)
        assert view.browser.toPlainText().startswith("Where to begin")
        view.browser.anchorClicked.emit(QUrl("pilot#the-diode"))
        assert str(view.place) == "pilot#the-diode"
        qtbot.wait(20)
        assert view.browser.verticalScrollBar().value() > 0
        assert view.browser.textCursor().block().text() == "The diode"
        QTest.keyClick(view.browser, Key.Key_Left, ALT)
        assert view.place.page == "start"
        assert not view.back.isEnabled()
        QTest.keyClick(view.browser, Key.Key_Right, ALT)
        assert view.place.page == "pilot"


def test_tab_and_enter_follow_a_link(qtbot: QtBot) -> None:
    with staged(qtbot, "") as stage:
        view = help_of(stage)
        view.browser.setFocus()
        QTest.keyClick(view.browser, Key.Key_Tab)
        QTest.keyClick(view.browser, Key.Key_Return)
        assert view.place.page == "safety"


def test_search_by_keyboard(qtbot: QtBot) -> None:
    with staged(qtbot, "") as stage:
        view = help_of(stage)
        QTest.keyClick(view.browser, Key.Key_F, CONTROL)
        stage.until(view.seek.hasFocus)
        QTest.keyClicks(view.seek, "why 8.98")
        assert view.found.text().endswith("places") or view.found.text() == "1 place"
        targets = [
            view.contents.item(row).data(Qt.ItemDataRole.UserRole)
            for row in range(view.contents.count())
        ]
        assert "readings#why-8-98-v" in targets
        view.contents.setCurrentRow(targets.index("readings#why-8-98-v"))
        QTest.keyClick(view.seek, Key.Key_Return)
        assert str(view.place) == "readings#why-8-98-v"
        view.seek.setText("xyzzy")
        assert (view.found.text(), view.contents.count()) == ("Nothing", 0)
        view.seek.clear()
        assert view.contents.currentItem().text() == "Every reading explained"


def test_a_reading_leads_to_its_explanation(qtbot: QtBot) -> None:
    with staged(qtbot, "") as stage:
        explain(stage.window.room, "high_plateau_v")
        view = stage.window.view("Help")
        assert str(view.place) == "readings#high-level"
        explain(stage.window.room, "hum")
        assert str(view.place) == "notices#hum"


def test_a_link_that_leads_nowhere_is_said(qtbot: QtBot) -> None:
    with staged(qtbot, "") as stage:
        view = help_of(stage)
        view.go_to("nowhere#at-all")
        assert "no page nowhere#at-all" in stage.said
        assert view.place.page == "start"


def test_licences_open_and_about_stays_marked(qtbot: QtBot) -> None:
    with staged(qtbot, "") as stage:
        view = help_of(stage)
        view.go_to("about")
        view.go_to("licence/LGPL-3.0")
        assert "GNU LESSER GENERAL PUBLIC LICENSE" in view.browser.toPlainText()
        assert view.contents.currentItem().text() == "About"


def test_the_page_shown_last_comes_back(qtbot: QtBot) -> None:
    with staged(qtbot, "") as stage:
        help_of(stage).go_to("verdicts")
        stage.window.go("Live")
        assert help_of(stage).place.page == "verdicts"
    with staged(qtbot, "") as stage:
        assert help_of(stage).place.page == "verdicts"


@pytest.mark.parametrize("look", ["light", "dark"])
def test_pictures_are_drawn_in_the_colours_of_the_theme(qtbot: QtBot, look: str) -> None:
    with staged(qtbot, "") as stage:
        theme = stage.desktop.theme
        theme.set(look=look, scale=150)
        for name in names():
            image = picture(name, theme)
            assert image is not None
            places = [
                (x, y) for x in range(0, image.width(), 3) for y in range(0, image.height(), 3)
            ]
            colours = {image.pixelColor(*place).name() for place in places}
            assert theme.colour("sheet").name() in colours
            assert len(colours) > 3, name
        assert picture("other", theme) is None


def test_pictures_fit_a_narrow_page(qtbot: QtBot) -> None:
    with staged(qtbot, "") as stage:
        theme = stage.desktop.theme
        whole, narrow = picture("period", theme), picture("period", theme, 470.0)
        assert whole is not None
        assert narrow is not None
        assert (whole.width(), narrow.width()) == (560, 470)


def test_nothing_is_loaded_from_anywhere(qtbot: QtBot) -> None:
    with staged(qtbot, "") as stage:
        browser = help_of(stage).browser
        image = QTextDocument.ResourceType.ImageResource.value
        for url in ("file:///etc/hostname", "http://host.invalid/a.png", "other.png"):
            assert browser.loadResource(image, QUrl(url)) is None


@pytest.mark.parametrize("scale", [100, 200])
def test_every_page_is_shown_at_every_size(qtbot: QtBot, scale: int) -> None:
    with staged(qtbot, "") as stage:
        view = help_of(stage)
        stage.desktop.theme.set(scale=scale)
        for row in range(view.contents.count()):
            item = view.contents.item(row)
            view.go_to(item.data(Qt.ItemDataRole.UserRole))
            assert view.browser.toPlainText().strip()
            assert view.browser.accessibleName() == item.text()
