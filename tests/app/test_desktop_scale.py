"""The voltage scale as a control: keys, mouse, scanners, screen readers."""

import math

import pytest
from PySide6.QtCore import QPoint, QRectF, Qt
from PySide6.QtGui import QFontMetricsF
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot

from pilotsignal.quantity import Quantity
from pilotsignal.standard import load_profile
from rungbench.desktop.preferences import Preferences
from rungbench.desktop.scale import VoltageScale
from rungbench.desktop.scale_face import Face
from rungbench.desktop.scale_model import Extras, bands, choices
from rungbench.desktop.setting_words import Parts
from rungbench.desktop.theme import Theme
from rungbench.link.words import OPEN, LadderSet, Rung, Setting

PROFILE = load_profile()
# Of the platform without a screen, at each change of a window's least size.
pytestmark = pytest.mark.qt_log_ignore("propagateSizeHints")
Key = Qt.Key
NONE = Qt.KeyboardModifier.NoModifier


@pytest.fixture
def scale(qtbot: QtBot) -> VoltageScale:
    theme = Theme(Preferences())
    widget = VoltageScale(theme)
    widget.set_ground(bands(PROFILE), choices(Parts(PROFILE), Extras()))
    qtbot.addWidget(widget)
    widget.resize(420, 600)
    widget.show()
    return widget


@pytest.fixture
def chosen(scale: VoltageScale) -> list[Setting]:
    found: list[Setting] = []
    scale.chosen.connect(found.append)
    return found


def test_keys_move_the_aim_and_enter_chooses(scale: VoltageScale, chosen: list[Setting]) -> None:
    for _ in range(2):
        QTest.keyClick(scale, Key.Key_Down)
    assert chosen == []
    QTest.keyClick(scale, Key.Key_Return)
    assert chosen == [Setting(Rung.B)]
    QTest.keyClick(scale, Key.Key_End)
    QTest.keyClick(scale, Key.Key_Space)
    assert chosen[-1] == Setting(Rung.SHORT)
    QTest.keyClick(scale, Key.Key_Home)
    QTest.keyClick(scale, Key.Key_Return)
    assert chosen[-1] == OPEN


def test_the_enter_of_a_scanner_chooses_nothing(
    qtbot: QtBot, scale: VoltageScale, chosen: list[Setting]
) -> None:
    scale.aim_at(Setting(Rung.C))
    QTest.keyClicks(scale, "SN-0042 17")
    QTest.keyClick(scale, Key.Key_Return)
    assert chosen == []
    qtbot.wait(200)
    QTest.keyClick(scale, Key.Key_Return)
    assert chosen == [Setting(Rung.C)]


def test_a_click_on_a_label_chooses_it(scale: VoltageScale, chosen: list[Setting]) -> None:
    face = scale._face()
    places = [choice.setting for choice in scale.choices]
    for setting in (Setting(Rung.D, LadderSet.LOW), Setting(Rung.B)):
        box = face.label_box(places.index(setting))
        QTest.mouseClick(
            scale,
            Qt.MouseButton.LeftButton,
            NONE,
            QPoint(round(box.left() + 20), round(box.center().y())),
        )
        assert chosen[-1] == setting


def test_a_click_elsewhere_chooses_nothing(scale: VoltageScale, chosen: list[Setting]) -> None:
    QTest.mouseClick(scale, Qt.MouseButton.LeftButton, NONE, QPoint(30, 300))
    assert chosen == []


def test_screen_readers_hear_levels_and_loads(scale: VoltageScale) -> None:
    scale.set_levels(Quantity("high_plateau_v", 8.98, "V", 0.01, math.inf, "t"), None)
    scale.set_setting(Parts(PROFILE).presented(Setting(Rung.B)), Setting(Rung.B))
    scale.aim_at(Setting(Rung.C))
    said = scale.accessibleDescription()
    assert "high level 8.980 ± 0.020 V" in said
    assert "presented: 2740 Ω, diode" in said
    assert "Enter presents: 882 Ω, diode" in said
    assert "the outlet may be live" in said


def test_what_is_presented_is_told_whatever_would_be_chosen(scale: VoltageScale) -> None:
    parts = Parts(PROFILE)
    scale.set_setting(parts.presented(Setting(Rung.B)), Setting(Rung.B))
    scale.set_ground(bands(PROFILE), choices(parts, Extras(diode_in=False)))
    scale.aim_at(Setting(Rung.B, diode_in=False))
    said = scale.accessibleDescription()
    assert "presented: 2740 Ω, diode," in said
    assert "Enter presents: 2740 Ω, no diode," in said


@pytest.mark.parametrize("text", ["9.0 V", "−11.92508 ± 0.00065 V", "↓ −12.34567 ± 0.00065 V"])
@pytest.mark.parametrize("percent", [100, 200])
@pytest.mark.usefixtures("qtbot")
def test_values_with_many_digits_have_room(text: str, percent: int) -> None:
    theme = Theme(Preferences())
    theme.set(scale=percent)
    face = Face(theme, QRectF(0, 0, theme.px(390), theme.px(560)), (), ())
    room = face.level_box(face.y(-12.0)).width()
    assert QFontMetricsF(face.level_font(text, room)).horizontalAdvance(text) <= room
    theme.set(scale=100)


@pytest.mark.parametrize("scale_percent", [100, 150, 200])
@pytest.mark.parametrize("height", [330, 600, 1000])
def test_labels_never_overlap(qtbot: QtBot, scale_percent: int, height: int) -> None:
    theme = Theme(Preferences())
    theme.scale = scale_percent
    widget = VoltageScale(theme)
    qtbot.addWidget(widget)
    offered = choices(Parts(PROFILE), Extras())
    widget.set_ground(bands(PROFILE), offered)
    widget.resize(theme.px(400), theme.px(height))
    boxes = [widget._face().label_box(place) for place in range(len(offered))]
    for above, below in zip(boxes, boxes[1:], strict=False):
        assert above.bottom() <= below.top() + 0.5
    assert boxes[0].top() >= 0.0
    assert boxes[-1].bottom() <= widget.height() + 1.0
    widget.show()
    widget.grab()
    assert widget.paints >= 1
