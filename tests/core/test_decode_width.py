"""Pulse width against the current set: the time base cancels."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pilotsignal.budget import combine, scaled, type_a, type_b
from pilotsignal.errors import QuantityError
from pilotsignal.quantity import Quantity
from pilotsignal.standard import load_profile, nominal_width_us, pulse_width_error_us

CLOCK = type_b("rate@T1", "time base", 5e-3, "1")


def width(value_us: float) -> Quantity:
    noise = type_a("edges", "edges", 0.05, "us", 50.0)
    return combine("pulse_width_zero_us", "us", value_us, "edges", [noise, scaled(CLOCK, value_us)])


def frequency(value_hz: float) -> Quantity:
    noise = type_a("fit", "period", 1e-4, "Hz", 50.0)
    return combine("frequency_hz", "Hz", value_hz, "edges", [noise, scaled(CLOCK, -value_hz)])


# IEC 61851-1:2017, Table A.7: 6 A is 10 %, 30 A 50 %, 80 A 96 % of the period.
@pytest.mark.parametrize(
    ("current", "period", "nominal"),
    [(6.0, 1000.0, 100.0), (30.0, 1000.0, 500.0), (80.0, 1000.0, 960.0), (30.0, 1010.0, 505.0)],
)
def test_nominal_widths(current: float, period: float, nominal: float) -> None:
    assert nominal_width_us(current, period) == pytest.approx(nominal)


@pytest.mark.parametrize("period", [0.0, -1.0, math.nan, math.inf])
def test_a_period_that_cannot_be_is_refused(period: float) -> None:
    with pytest.raises(QuantityError, match="period"):
        nominal_width_us(16.0, period)


@pytest.mark.parametrize("current", [5.0, 81.0])
def test_a_current_without_a_duty_is_refused(current: float) -> None:
    with pytest.raises(QuantityError, match="state the current"):
        nominal_width_us(current, 1000.0)
    with pytest.raises(QuantityError, match="state the current"):
        pulse_width_error_us(width(100.0), frequency(1000.0), current)


def test_the_error_is_width_less_nominal() -> None:
    error = pulse_width_error_us(width(512.0), frequency(1000.0), 30.0)
    assert error.value == pytest.approx(12.0)
    assert error.unit == "us"


def test_a_shared_time_base_cancels() -> None:
    # The clock is uncertain by 0.5 %, which alone would be 2.5 us of 500 us.
    assert width(500.0).u > 2.0
    error = pulse_width_error_us(width(500.0), frequency(1000.0), 30.0)
    assert error.u == pytest.approx(0.05, rel=0.01)


@given(st.floats(980.0, 1020.0), st.floats(6.0, 51.0))
def test_a_right_charger_at_any_frequency_has_no_error(hertz: float, current: float) -> None:
    # Independent of the profile: duty = I / 0.6 (IEC 61851-1:2017, Table A.7).
    exact = width(current / 0.6 / 100.0 * 1e6 / hertz)
    error = pulse_width_error_us(exact, frequency(hertz), current)
    assert error.value == pytest.approx(0.0, abs=1e-6)


def test_other_units_are_refused() -> None:
    with pytest.raises(QuantityError, match="are needed"):
        pulse_width_error_us(frequency(1000.0), frequency(1000.0), 16.0)


def test_the_profile_says_which_width_is_judged() -> None:
    # IEC 61851-1:2017, Tables A.2 and A.7: at 0 V; SAE J1772 OCT2017: at the 50 % points.
    assert load_profile("iec-61851-1-2017").pulse_width_level == "zero"
    assert load_profile("sae-j1772-2017").pulse_width_level == "mid"
