"""Uncertainty budgets against the worked examples of the GUM (JCGM 100:2008, annex H)."""

import math

import GTC
import pytest
from hypothesis import given
from hypothesis import strategies as st

from pilotsignal.budget import (
    combine,
    coverage_factor,
    derive,
    half_width,
    scaled,
    type_a,
    type_b,
)
from pilotsignal.errors import QuantityError
from pilotsignal.quantity import BudgetRow, Quantity

uncertainty = st.floats(min_value=1e-6, max_value=1e3)


def of(value: float, *rows: BudgetRow, name: str = "x") -> Quantity:
    return combine(name, "V", value, "stated", rows)


def test_end_gauge_of_gum_h1() -> None:
    # JCGM 100:2008, H.1, Table H.1: u in nm, degrees of freedom, sensitivities at
    # l_s = 50 mm, mean deviation -0.1 degC, alpha_s = 11.5e-6 / degC.
    rows = (
        type_a("ls", "standard", 25.0, "nm", 18.0),
        type_a("d", "difference", 9.7, "nm", 25.6),
        scaled(type_a("da", "difference in expansion", 0.58e-6, "1/degC", 50.0), 50e6 * 0.1),
        scaled(type_a("dt", "difference in temperature", 0.029, "degC", 2.0), -50e6 * 11.5e-6),
    )
    gauge = combine("length_nm", "nm", 50_000_838.0, "comparison", rows)
    assert gauge.u == pytest.approx(32.0, abs=0.5)  # H.1.4
    assert gauge.dof == pytest.approx(16.7, abs=0.2)  # H.1.6
    assert coverage_factor(16.0, 0.99) == pytest.approx(2.92, abs=0.005)  # H.1.6
    assert gauge.u * coverage_factor(16.0, 0.99) == pytest.approx(93.0, abs=1.0)  # H.1.6
    assert gauge.budget()[1].contribution == pytest.approx(16.6, abs=0.1)  # Table H.1


def test_impedance_of_gum_h2_with_correlated_inputs() -> None:
    # JCGM 100:2008, H.2, Tables H.2 to H.4: V and I correlate by -0.36; Z = V / I is
    # 254.260 ohm with u = 0.236 ohm.  Without the correlation u would be 0.203 ohm.
    correlation, u_v, u_i = -0.36, 0.0032, 0.0095e-3
    own = math.sqrt(1.0 - correlation**2)
    shared, rest = type_b("e1", "shared", 1.0, "1"), type_b("e2", "rest", 1.0, "1")
    volts = combine("v", "V", 4.9990, "mean", [scaled(shared, u_v)])
    current = combine(
        "i",
        "A",
        19.6610e-3,
        "mean",
        [scaled(shared, correlation * u_i), scaled(rest, own * u_i)],
    )
    impedance = derive("z_ohm", "ohm", "ratio", lambda v, i: v / i, [volts, current])
    assert impedance.value == pytest.approx(254.260, abs=0.001)
    assert impedance.u == pytest.approx(0.236, abs=0.001)


def test_a_half_width_is_rectangular() -> None:
    # JCGM 100:2008, 4.3.7: half width a, standard uncertainty a / sqrt(3).
    assert half_width("r", "resolution", 3.0, "V").u == pytest.approx(3.0 / math.sqrt(3.0))
    assert half_width("r", "resolution", 3.0, "V").distribution == "rectangular"


# JCGM 100:2008, Table G.2, columns for 95 % and 99 %.
@pytest.mark.parametrize(
    ("dof", "confidence", "k"),
    [(3, 0.95, 3.18), (20, 0.95, 2.09), (8, 0.99, 3.36), (math.inf, 0.99, 2.576)],
)
def test_coverage_factors(dof: float, confidence: float, k: float) -> None:
    assert coverage_factor(dof, confidence) == pytest.approx(k, abs=0.005)


def test_no_row_is_no_measurement() -> None:
    with pytest.raises(QuantityError, match="no uncertainty was stated"):
        of(1.0)


def test_one_input_with_two_uncertainties_is_refused() -> None:
    with pytest.raises(QuantityError, match="two uncertainties"):
        of(1.0, type_b("gain", "gain", 0.1, "V"), type_b("gain", "gain", 0.2, "V"))


@given(uncertainty, uncertainty)
def test_separate_inputs_add_in_squares(first: float, second: float) -> None:
    total = of(0.0, type_b("a", "a", first, "V"), type_b("b", "b", second, "V"))
    assert total.u == pytest.approx(math.hypot(first, second))


@given(uncertainty, st.floats(-5, 5), st.floats(-5, 5))
def test_one_input_twice_adds_with_its_sign(u: float, first: float, second: float) -> None:
    row = type_b("gain", "gain", u, "V")
    total = of(0.0, scaled(row, first), scaled(row, second))
    assert total.u == pytest.approx(abs(first + second) * u, abs=1e-12 * u)


@given(uncertainty, uncertainty)
def test_a_shared_input_cancels_in_a_difference(shared: float, own: float) -> None:
    gain = type_b("gain", "gain", shared, "V")
    first, second = of(3.0, gain), of(1.0, gain, type_b("noise", "noise", own, "V"))
    difference = derive("d", "V", "difference", lambda a, b: a - b, [first, second])
    assert difference.value == pytest.approx(2.0)
    assert difference.u == pytest.approx(own, abs=1e-9 * shared)


def test_derive_agrees_with_uncertain_numbers_used_directly() -> None:
    # Independent route: GTC itself on the same inputs, without rows and ids.
    gain, noise = type_a("gain", "gain", 0.02, "V", 7.0), type_a("noise", "noise", 0.05, "V", 4.0)
    x, y = of(2.0, gain, noise), of(5.0, scaled(gain, -3.0))
    result = derive("r", "V", "made up", lambda a, b: a * a / b, [x, y])
    gtc_gain, gtc_noise = GTC.ureal(0.0, 0.02, 7.0), GTC.ureal(0.0, 0.05, 4.0)
    number = (2.0 + gtc_gain + gtc_noise) ** 2 / (5.0 - 3.0 * gtc_gain)
    assert result.value == pytest.approx(GTC.value(number))
    assert result.u == pytest.approx(GTC.uncertainty(number))
    assert result.dof == pytest.approx(GTC.dof(number))


def test_rows_without_uncertainty_stay_in_the_budget() -> None:
    exact = of(1.0, type_b("bias", "bias", 0.0, "V"))
    assert exact.u == 0.0
    assert [row.id for row in exact.rows] == ["bias"]


@pytest.mark.parametrize(
    ("function", "value"),
    [
        (lambda x: 1.0 / x, 0.0),
        (lambda x: x**0.5, -1.0),
        (lambda x: x * 1e308 * 10.0, 2.0),
        (GTC.exp, 1e4),
    ],
)
def test_a_result_that_is_no_real_number_is_refused(function: object, value: float) -> None:
    assert callable(function)
    with pytest.raises(QuantityError, match="cannot be computed"):
        derive("r", "V", "made up", function, [of(value, type_b("a", "a", 0.1, "V"))])
