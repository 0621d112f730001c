"""The diode's curve: through its points, and in balance with a resistor."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pilotsignal.circuit import FAST_SILICON
from pilotsignal.diode import Diode, Point
from pilotsignal.errors import CircuitError


@given(
    drop=st.floats(0.2, 1.2),
    emission=st.floats(0.02, 0.045),
    ratio=st.floats(1.2, 10.0),
    milliampere=st.floats(0.5, 10.0),
)
def test_it_passes_through_both_points(
    drop: float, emission: float, ratio: float, milliampere: float
) -> None:
    first = Point(milliampere * 1e-3, drop)
    second = Point(ratio * milliampere * 1e-3, drop + emission * math.log(ratio))
    diode = Diode.through(second, first)
    assert diode.drop(first.current_a) == pytest.approx(first.drop_v, abs=1e-6)
    assert diode.drop(second.current_a) == pytest.approx(second.drop_v, abs=1e-6)


def test_series_resistance_is_taken_off_first() -> None:
    points = [Point(current, FAST_SILICON.drop(current)) for current in (0.003, 0.009)]
    again = Diode.through(points[0], points[1], FAST_SILICON.series_ohm)
    assert again.emission_v == pytest.approx(FAST_SILICON.emission_v, rel=1e-9)
    assert again.saturation_a == pytest.approx(FAST_SILICON.saturation_a, rel=1e-6)


def test_one_point_and_an_emission_voltage() -> None:
    diode = Diode.at(Point(0.005, 0.7), 0.04, 0.5)
    assert diode.drop(0.005) == pytest.approx(0.7)
    # A decade more is emission x ln 10, and 45 mA in 0.5 ohm.
    assert diode.drop(0.05) - 0.7 == pytest.approx(0.04 * math.log(10.0) + 0.0225, rel=1e-6)


@given(volts=st.floats(-5.0, 14.0), ohm=st.sampled_from([0.0, 1.0, 80.0, 1000.0, 1e6]))
def test_current_balances_with_any_resistor(volts: float, ohm: float) -> None:
    current = FAST_SILICON.current(volts, ohm)
    if current > 1e-15:
        assert FAST_SILICON.drop(current) + current * ohm == pytest.approx(volts, abs=1e-6)
    else:
        assert -FAST_SILICON.saturation_a <= current * (1.0 - 1e-9)
        assert volts < 0.01


def test_slope_is_the_derivative_of_the_drop() -> None:
    rise = (FAST_SILICON.drop(5.001e-3) - FAST_SILICON.drop(4.999e-3)) / 2e-6
    assert FAST_SILICON.slope_ohm(5e-3) == pytest.approx(rise, rel=1e-5)


@pytest.mark.parametrize(
    ("first", "second", "series_ohm", "said"),
    [
        (Point(0.003, 0.7), Point(0.003, 0.71), 0.0, "two points at different"),
        (Point(0.0, 0.7), Point(0.003, 0.71), 0.0, "two points at different"),
        (Point(0.003, 0.7), Point(0.006, 0.69), 0.0, "are no diode"),
        (Point(0.003, 0.7), Point(0.006, 0.72), 10.0, "are no diode with 10 ohm"),
        (Point(0.003, 0.7), Point(0.006, 0.9), 0.0, "are no diode"),
        (Point(0.003, math.nan), Point(0.006, 0.72), 0.0, "are no diode"),
    ],
)
def test_points_that_make_no_diode(
    first: Point, second: Point, series_ohm: float, said: str
) -> None:
    with pytest.raises(CircuitError, match=said):
        Diode.through(first, second, series_ohm)


@pytest.mark.parametrize(("drop_v", "emission_v"), [(0.0, 0.03), (0.7, -0.03), (-0.7, 0.03)])
def test_a_point_that_makes_no_diode(drop_v: float, emission_v: float) -> None:
    with pytest.raises(CircuitError, match="is no diode"):
        Diode.at(Point(0.005, drop_v), emission_v)
