"""Options of a run in the window: what the command's options state, for plans that use them."""

import pytest
from desktop_stage import LONG_MS
from PySide6.QtCore import QLocale, Qt
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot
from test_desktop_run import QUICK, Bench, run_view

from pilotsignal.standard import load_profile
from rungbench.desktop.run_choice import Choice, Model
from rungbench.desktop.run_control import Phase
from rungbench.desktop.run_options import Options, options_from, used_by
from rungbench.errors import WrongUse
from rungbench.qualify.amounts import currents_of, span_of
from rungbench.qualify.desk import Ask
from rungbench.qualify.plan import Do, Plan
from rungbench.qualify.plan_file import load_plan, shipped_plans
from rungbench.qualify.sheet import INVENTED

pytestmark = pytest.mark.qt_log_ignore("propagateSizeHints")
Key = Qt.Key
ALT = Qt.KeyboardModifier.AltModifier


def sweep(plan: Plan) -> tuple[float, ...]:
    return next(step.amperes for step in plan.steps if step.do is Do.SWEEP)


def stay_s(plan: Plan) -> float:
    return next(step.record_s for step in plan.steps if step.do is Do.ENDURE)


# Without a window -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "point", "amperes"),
    [
        ("6,10,16", ".", (6.0, 10.0, 16.0)),
        (" 6A; 10.5 A;16 ", ".", (6.0, 10.5, 16.0)),
        ("6; 10,5; 16", ",", (6.0, 10.5, 16.0)),
        ("", ".", ()),
    ],
)
def test_currents_as_people_write_them(text: str, point: str, amperes: tuple[float, ...]) -> None:
    assert currents_of(text.replace(" A", "A"), point) == amperes


@pytest.mark.parametrize("text", ["six", "6,,x", "-6", "nan", "inf", "0"])
def test_what_is_no_current_is_refused(text: str) -> None:
    with pytest.raises(WrongUse, match="is no current"):
        currents_of(text)


@pytest.mark.parametrize(
    ("text", "seconds"), [("90", 90.0), ("90s", 90.0), ("30m", 1800.0), ("1.5h", 5400.0)]
)
def test_lengths_as_people_write_them(text: str, seconds: float) -> None:
    assert span_of(text) == seconds


@pytest.mark.parametrize("text", ["", "soon", "-5m", "0", "nanh", "inf"])
def test_what_is_no_length_is_refused(text: str) -> None:
    with pytest.raises(WrongUse, match="is not a time"):
        span_of(text)


def test_each_plan_offers_what_it_has_a_use_for() -> None:
    used = {name: used_by(load_plan(name)) for name in shipped_plans()}
    assert [name for name, one in used.items() if one.currents] == ["full"]
    assert [name for name, one in used.items() if one.length] == ["soak"]
    assert used["full"].ventilation
    assert not used["quick"].ventilation
    assert used["quick"].asks == ()
    assert Ask.SET_CURRENT in used["full"].asks


def test_options_change_the_plan_and_its_hash() -> None:
    full, soak = load_plan("full"), load_plan("soak")
    options = Options(amperes=(6.0, 13.0), length_s=90.0)
    assert sweep(options.amended(full)) == (6.0, 13.0)
    assert stay_s(options.amended(soak)) == 90.0
    assert options.amended(full).hash != full.hash
    assert options.amended(load_plan("quick")) == load_plan("quick")
    assert options.told(full) == "sweep of 6; 13 A"
    assert options.told(soak) == "stay of 90s"


def test_a_length_that_no_stay_has_is_refused() -> None:
    with pytest.raises(WrongUse, match="from 1 s to 30 days"):
        options_from({"length": "1000h"}, frozenset(), load_plan("soak"))


def test_what_is_stated_reaches_the_order() -> None:
    choice = Choice(
        Model("one", INVENTED),
        load_plan("full"),
        load_profile(),
        options=Options(10.0, (6.0, 10.0), None, "refuse", frozenset({Ask.WITHDRAW})),
    )
    order = choice.order("1", armed=True)
    assert order.charger.set_current_a == 10.0
    assert order.charger.ventilation == "refuse"
    assert order.cannot == {Ask.WITHDRAW}
    assert sweep(order.plan) == (6.0, 10.0)


# In the window ----------------------------------------------------------------------------------


def open_options(bench: Bench, plan: str) -> None:
    bench.control.choose_plan(plan)
    bench.until(lambda: bench.control.phase is Phase.READY)
    bench.press(Key.Key_F2)
    assert bench.page.pages.currentIndex() == 3


def test_options_are_stated_by_keys_and_the_record_holds_them(qtbot: QtBot) -> None:
    with run_view(qtbot, QUICK) as bench:
        form = bench.page.parts.options
        open_options(bench, "soak")
        assert form.texts["length"].isVisible()
        assert not form.texts["currents"].isVisible()
        assert bench.stage.window.focusWidget() is form.texts["set_current"]
        QTest.keyClicks(form.texts["set_current"], "16")
        QTest.keyClick(form.texts["set_current"], Key.Key_Tab)
        QTest.keyClicks(bench.target, "20s")
        bench.press(Key.Key_F5)
        assert bench.page.pages.currentIndex() == 0
        assert bench.control.choice is not None
        assert bench.control.choice.options == Options(16.0, length_s=20.0)
        bench.arm()
        qtbot.waitUntil(lambda: bench.control.outcome is not None, timeout=2 * LONG_MS)
        assert bench.control.outcome is not None
        header = bench.control.outcome.record.header
        assert header.charger.set_current_a == 16.0
        assert header.plan_hash == Options(length_s=20.0).amended(load_plan("soak")).hash


def test_what_makes_no_sense_is_said_in_place(qtbot: QtBot) -> None:
    with run_view(qtbot) as bench:
        form = bench.page.parts.options
        open_options(bench, "full")
        form.texts["currents"].setText("6; lots")
        bench.press(Key.Key_F5)
        assert bench.page.pages.currentIndex() == 3
        assert "'lots' is no current" in form.trouble
        bench.press(Key.Key_Left, ALT)
        assert bench.page.pages.currentIndex() == 0
        assert bench.control.choice is not None
        assert bench.control.choice.options == Options()


def test_what_cannot_be_done_is_taken_out_and_said(qtbot: QtBot) -> None:
    with run_view(qtbot) as bench:
        before = len(bench.control.lines)
        bench.control.choose_plan("full")
        everything = len(bench.control.lines)
        open_options(bench, "full")
        form = bench.page.parts.options
        for ask in (Ask.SET_CURRENT, Ask.RESTART):
            form.asks[ask].setChecked(True)
        form.hands.setChecked(True)
        bench.press(Key.Key_F5)
        assert before < len(bench.control.lines) < everything
        assert "cannot: " in bench.page.parts.setup.about
        assert bench.control.by_hand
        # Of another model nothing of it holds.
        bench.control.add_model(Model("another", INVENTED))
        assert bench.control.choice is not None
        assert bench.control.choice.options == Options()


def test_currents_are_typed_in_the_users_locale(qtbot: QtBot) -> None:
    before = QLocale()
    QLocale.setDefault(QLocale(QLocale.Language.German))
    try:
        with run_view(qtbot) as bench:
            open_options(bench, "full")
            form = bench.page.parts.options
            form.texts["currents"].setText("6; 10,5")
            bench.press(Key.Key_F5)
            assert bench.control.choice is not None
            assert bench.control.choice.options.amperes == (6.0, 10.5)
            bench.press(Key.Key_F2)
            assert form.texts["currents"].text() == "6; 10,5"
    finally:
        QLocale.setDefault(before)
