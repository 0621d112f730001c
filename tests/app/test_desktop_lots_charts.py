"""What the charts of a lot show, without drawing; and that drawing them shows something."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import UTC, datetime
from math import comb

import numpy as np
import pytest
from PySide6.QtCore import QLocale, Qt
from PySide6.QtGui import QImage
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot

from rungbench.archive.record import RunVerdict
from rungbench.desktop.lots_chart import Chart, axis, counting, span
from rungbench.desktop.lots_chart_face import ChartFace
from rungbench.desktop.lots_chart_stack import ChartStack
from rungbench.desktop.lots_charts import (
    figure_lines,
    histogram_chart,
    individuals_chart,
    ranges_chart,
    run_chart,
    too_few,
)
from rungbench.desktop.lots_plan_charts import characteristic_chart, trend_chart
from rungbench.desktop.preferences import Preferences
from rungbench.desktop.theme import Theme
from rungbench.lots.characteristic import risks
from rungbench.lots.control import control_chart, frozen
from rungbench.lots.counting import LotRun
from rungbench.lots.sampling import plan_for
from rungbench.lots.values import Name, Place, Series
from rungbench.lots.variables import LotPoint, Trend, Variables, variables_of

# NIST/SEMATECH e-Handbook of Statistical Methods, 6.3.2.2: ten batches of a flow rate (recalled).
FLOW = (49.6, 47.6, 49.9, 51.3, 47.8, 51.2, 52.6, 52.4, 53.6, 52.1)
pytestmark = pytest.mark.qt_log_ignore("propagateSizeHints")


@pytest.fixture(autouse=True)
def _plain_numbers() -> Iterator[None]:
    before = QLocale()
    QLocale.setDefault(QLocale.c())
    yield
    QLocale.setDefault(before)


def place(number: int, lot: str = "L") -> Place:
    started = datetime(2025, 7, 11, 8, number % 60, tzinfo=UTC)
    run = LotRun(number, f"r{number:04}", number, started, RunVerdict.PASS, None, "", "")
    return Place(lot, f"S-{number:03}", run)


def series(
    values: tuple[float, ...], low: float | None = 40.0, high: float | None = 60.0, lot: str = "L"
) -> Series:
    name = Name("flow", "flow_v", judged=True)
    places = tuple(place(at + 1, lot) for at in range(len(values)))
    u = np.full(len(values), 0.05)
    return Series(name, "V", places, frozen(values), frozen(u), low, high)


def variables(
    values: tuple[float, ...] = FLOW, low: float | None = 40.0, high: float | None = 60.0
) -> Variables:
    return variables_of(series(values, low, high))


def require(chart: Chart | None) -> Chart:
    assert chart is not None
    return chart


# Axes ---------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("low", "high", "ticks"),
    [
        (0.0, 100.0, (0, 20, 40, 60, 80, 100)),
        (-0.3, 0.3, (-0.3, -0.2, -0.1, 0.0, 0.1, 0.2, 0.3)),
        (1000.02, 1000.33, (1000.1, 1000.2, 1000.3)),
    ],
)
def test_ticks_stand_at_round_figures(low: float, high: float, ticks: tuple[float, ...]) -> None:
    found = axis(low, high)
    assert found.ticks == pytest.approx(ticks, abs=1e-9)
    assert len({found.text(tick) for tick in found.ticks}) == len(ticks)


@pytest.mark.parametrize("value", [0.0, 5.0, -1e-9, 1e9])
def test_an_axis_without_width_is_widened(value: float) -> None:
    found = axis(value, value)
    assert found.low < value < found.high


@pytest.mark.parametrize("pair", [(float("nan"), 1.0), (0.0, float("inf")), (2.0, 1.0)])
def test_an_axis_needs_numbers_in_order(pair: tuple[float, float]) -> None:
    with pytest.raises(ValueError, match="axis"):
        axis(*pair)


def test_units_are_counted_from_one() -> None:
    assert counting(3, "").ticks == (1, 2, 3)
    assert counting(49, "").ticks == (1, 10, 20, 30, 40)


def test_far_limits_do_not_squeeze_the_values() -> None:
    assert span([10.0, 11.0], [12.0]).high > 12.0
    assert span([10.0, 11.0], [500.0]).high < 12.0


# Charts of a quantity -----------------------------------------------------------------------------


def test_individuals_have_the_published_limits() -> None:
    # The same source: centre 50.81, limits 55.8041 and 45.8159; mean range 1.8778, limit 6.1347.
    chart = require(individuals_chart(variables()))
    high, centre, low = (line.value for line in chart.across)
    assert (high, centre, low) == pytest.approx((55.8041, 50.81, 45.8159), abs=1e-4)
    assert chart.across[0].label == "+3 σ 55.8"
    assert chart.notes == ()
    ranges = require(ranges_chart(variables()))
    # Printed there without the rounding of d2 and D4: 3.267 x 1.8778 = 6.1347.
    assert [line.value for line in ranges.across] == pytest.approx([6.1347, 1.8778], abs=1e-4)
    assert [point.x for point in ranges.points] == list(range(2, 11))
    assert ranges.points[0].y == pytest.approx(2.0)


def test_what_stands_out_is_marked_and_named() -> None:
    values = (*FLOW, 90.0)
    chart = require(individuals_chart(variables(values)))
    assert [point.stands_out for point in chart.points] == [False] * 10 + [True]
    assert chart.notes == ("Outside the chart's limits: S-011.",)
    jumps = require(ranges_chart(variables(values)))
    assert jumps.notes[0] == "Too far from the unit before: S-011."


def test_points_tell_value_uncertainty_and_record() -> None:
    point = require(run_chart(variables())).points[0]
    assert point.about == "S-001: 49.60 ± 0.10 V"
    assert point.key == "r0001"


def test_numbers_are_written_in_the_users_locale() -> None:
    QLocale.setDefault(QLocale(QLocale.Language.German, QLocale.Country.Germany))
    chart = require(run_chart(variables()))
    assert chart.points[0].about == "S-001: 49,60 ± 0,10 V"
    assert any("Ppk 1," in line or "Ppk 2," in line for line in figure_lines(variables()))


def test_the_run_chart_names_stretches_and_drift() -> None:
    rising = tuple(10.0 + 0.1 * at for at in range(20))
    notes = " ".join(require(run_chart(variables(rising, None, None))).notes)
    assert "median: 2, in random order about 11.0" in notes
    assert "the values drift" in notes


def test_outliers_are_named() -> None:
    values = (*(10.0 + 0.01 * (at % 5) for at in range(30)), 20.0)
    chart = require(run_chart(variables(values, None, None)))
    assert chart.points[-1].stands_out
    assert "Outliers: S-031" in " ".join(chart.notes)


def test_the_histogram_counts_every_value_and_shows_limits() -> None:
    chart = require(histogram_chart(variables()))
    assert sum(bar.count for bar in chart.bars) == len(FLOW)
    assert [line.label for line in chart.upright] == ["lower limit 40", "upper limit 60"]
    far = require(histogram_chart(variables(FLOW, -1e4, 1e4)))
    assert far.upright == ()
    assert far.notes == ("Off the chart: lower limit −10000, upper limit 10000.",)


def test_few_values_say_so() -> None:
    few = variables((1.0, 2.0))
    assert individuals_chart(few) is None
    assert ranges_chart(few) is None
    assert too_few(few).startswith("2 values: too few")
    assert run_chart(variables(())) is None
    assert histogram_chart(variables(())) is None
    one = variables((1.0,))
    assert require(run_chart(one)).points[0].y == 1.0
    assert "Too few values" in " ".join(figure_lines(one))


def test_equal_values_can_be_drawn() -> None:
    same = variables((3.0,) * 12)
    for chart in (histogram_chart(same), run_chart(same), individuals_chart(same)):
        assert require(chart).y.low < require(chart).y.high
    assert "Ppk: none" in " ".join(figure_lines(same))


# The plan and the supplier ------------------------------------------------------------------------


def test_the_characteristic_starts_at_certainty_and_shows_both_risks() -> None:
    plan = plan_for(500, 1.5)
    chart = characteristic_chart(plan, risks(plan))
    dashes, line = chart.curves
    assert line.y[0] == pytest.approx(100.0)
    assert all(before >= after for before, after in zip(line.y, line.y[1:], strict=False))
    assert dashes.dashed
    producer, consumer = chart.points
    # 7 of 500 nonconforming, 50 drawn, at most 2 found: the hypergeometric sum by hand.
    expected = sum(comb(7, k) * comb(493, 50 - k) for k in range(3)) / comb(500, 50)
    assert producer.y == pytest.approx(100.0 * expected)
    assert consumer.y <= 10.0
    assert producer.label.startswith("producer's risk")


def trend(count: int) -> Trend:
    whole = series(FLOW)
    points = []
    for at in range(count):
        found = variables_of(series(tuple(one + at for one in FLOW), lot=f"L{at}"))
        first = datetime(2025, 7, 1 + at, tzinfo=UTC)
        points.append(LotPoint(f"L{at}", first, len(FLOW), found.spread, found.performance))
    means = [point.spread.mean for point in points if point.spread is not None]
    return Trend("Some Supplier", variables_of(whole), tuple(points), control_chart(means))


def test_lots_have_whiskers_and_those_off_the_others_are_named() -> None:
    chart = require(trend_chart(trend(9)))
    assert [point.key for point in chart.points] == [f"L{at}" for at in range(9)]
    assert all(point.half > 0.0 for point in chart.points)
    assert "Lots off the others: L0, L1" in " ".join(chart.notes)
    assert "take 8 lots" in " ".join(require(trend_chart(trend(3))).notes)
    empty = replace(trend(2), lots=())
    assert trend_chart(empty) is None


# Drawing ------------------------------------------------------------------------------------------


def colours(image: QImage) -> set[int]:
    return {
        image.pixel(x, y) for x in range(0, image.width(), 2) for y in range(0, image.height(), 2)
    }


def test_a_chart_is_drawn_and_its_cursor_tells_and_opens(qtbot: QtBot) -> None:
    face = ChartFace(Theme(Preferences()), "Unit after unit")
    qtbot.addWidget(face)
    face.resize(500, 300)
    face.show_chart(None, "There is nothing.")
    assert face.accessibleDescription() == "There is nothing."
    blank = face.grab().toImage()
    face.show_chart(run_chart(variables()))
    assert len(colours(face.grab().toImage())) > len(colours(blank))
    assert face.accessibleName() == "Unit after unit, V"
    QTest.keyClick(face, Qt.Key.Key_Right)
    assert face.told == "S-001: 49.60 ± 0.10 V"
    QTest.keyClick(face, Qt.Key.Key_End)
    assert face.accessibleDescription() == "S-010: 52.10 ± 0.10 V"
    with qtbot.waitSignal(face.opened) as opened:
        QTest.keyClick(face, Qt.Key.Key_Return)
    assert opened.args == ["r0010"]
    face.show_chart(histogram_chart(variables()))
    QTest.keyClick(face, Qt.Key.Key_Right)
    assert face.told.endswith(": 2")


def test_as_many_charts_are_shown_as_have_room(qtbot: QtBot) -> None:
    stack = ChartStack(Theme(Preferences()), ("one", "two", "three", "four"))
    qtbot.addWidget(stack)
    stack.resize(400, 600)
    stack.show()
    found = variables()
    stack.show_charts(
        [histogram_chart(found), run_chart(found), individuals_chart(found), ranges_chart(found)]
    )
    assert [face.isVisible() for face in stack.faces] == [True, True, False, False]
    stack.next()
    assert [face.isVisible() for face in stack.faces] == [False, False, True, True]
    assert "ISO 7870-2" in stack.about.text()
    stack.resize(400, 200)
    assert sum(face.isVisible() for face in stack.faces) == 1
    for _ in range(len(stack.faces)):
        stack.next()
    assert sum(face.isVisible() for face in stack.faces) == 1
