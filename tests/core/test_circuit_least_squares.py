"""Least squares on quantities: covariance from shared rows, budgets traced back to them."""

import math

import numpy as np
import pytest

from pilotsignal.budget import combine, derive, scaled, type_a, type_b
from pilotsignal.errors import CircuitError, QuantityError
from pilotsignal.least_squares import Floats, Model, Solution, covariance_of, solve
from pilotsignal.quantity import Quantity

COMMON = type_b("common", "shared", 0.3, "V")


def level(name: str, value: float, u: float = 0.1, lever: float = 1.0) -> Quantity:
    rows = [type_b(f"own@{name}", "own", u, "V"), scaled(COMMON, lever)]
    return combine(name, "V", value, "test", rows)


def straight(design: Floats) -> Model:
    return lambda p: design @ p


def fitted(design: Floats, seen: list[Quantity]) -> Solution:
    size = design.shape[1]
    return solve(seen, straight(design), np.zeros(size), np.full(size, 0.01))


def test_covariance_is_that_of_shared_inputs() -> None:
    pair = [level("a", 1.0, lever=1.0), level("b", 2.0, lever=-2.0)]
    expected = [[0.01 + 0.09, -0.18], [-0.18, 0.01 + 0.36]]
    np.testing.assert_allclose(covariance_of(pair), expected, rtol=1e-12)


def test_a_weighted_mean_by_hand() -> None:
    """1.0 +/- 0.1 and 2.0 +/- 0.2, independent: weights 4 and 1, 1.2 +/- 0.08944, chi-square 20.

    chi-square: (1 - 1.2)^2 / 0.01 + (2 - 1.2)^2 / 0.04 = 4 + 16.
    """
    seen = [
        combine(name, "V", value, "test", [type_b(name, name, u, "V")])
        for name, value, u in (("a", 1.0, 0.1), ("b", 2.0, 0.2))
    ]
    found = fitted(np.ones((2, 1)), seen)
    assert found.values == pytest.approx([1.2])
    assert found.chi_square == pytest.approx(20.0)
    assert found.freedom == 1
    # Chi-square of 20 at one degree of freedom: 2 (1 - Phi(sqrt(20))).
    assert found.probability == pytest.approx(math.erfc(math.sqrt(20.0) / math.sqrt(2.0)), rel=1e-9)
    assert found.pulls == pytest.approx([-math.sqrt(20.0), math.sqrt(20.0)])
    mean = found.quantity(0, "mean", "V", "fit")
    assert mean.u == pytest.approx(0.1 * 0.2 / math.hypot(0.1, 0.2))
    assert {row.id: row.sensitivity for row in mean.rows} == pytest.approx({"a": 0.8, "b": 0.2})


def test_a_straight_line_against_the_textbook() -> None:
    """Ten equal observations on a line: u(slope) = s / sqrt(sum (x - mean)^2), JCGM 100 H.3.3."""
    place = np.arange(10.0)
    seen = [
        combine(f"y{n}", "V", 1.0 + 0.5 * x, "test", [type_b(f"y{n}", "noise", 0.2, "V")])
        for n, x in enumerate(place)
    ]
    found = fitted(np.column_stack((np.ones(10), place)), seen)
    assert found.values == pytest.approx([1.0, 0.5])
    assert found.quantity(1, "slope", "V", "fit").u == pytest.approx(0.2 / math.sqrt(82.5))
    assert found.probability == pytest.approx(1.0)


def test_budget_gives_the_covariance_that_the_fit_has() -> None:
    seen = [level("a", 1.0), level("b", 2.1), level("c", 2.9, lever=0.5)]
    design = np.array([[1.0, 0.0], [1.0, 1.0], [1.0, 2.0]])
    found = fitted(design, seen)
    results = [found.quantity(index, f"p{index}", "V", "fit") for index in range(2)]
    np.testing.assert_allclose(covariance_of(results), found.covariance, rtol=1e-9, atol=1e-15)


def test_results_stay_correlated_with_what_shares_their_inputs() -> None:
    seen = [level("a", 1.0), level("b", 1.2)]
    mean = fitted(np.ones((2, 1)), seen).quantity(0, "mean", "V", "fit")
    third = level("c", 1.1)
    apart = derive("difference", "V", "test", lambda a, b: a - b, (mean, third))
    # The shared 0.3 V drops out: 0.1 / sqrt(2) and 0.1 are left.
    assert apart.u == pytest.approx(math.hypot(0.1 / math.sqrt(2.0), 0.1), rel=1e-6)
    again = [Quantity.from_dict(one.as_dict()) for one in (mean, third)]
    read = derive("difference", "V", "test", lambda a, b: a - b, again)
    assert read.u == pytest.approx(apart.u, rel=1e-12)


def test_an_exactly_determined_fit_proves_nothing() -> None:
    found = fitted(np.eye(2), [level("a", 1.0), level("b", 2.0)])
    assert found.freedom == 0
    assert found.probability is None
    assert found.pulls == pytest.approx([0.0, 0.0])


def test_degrees_of_freedom_are_kept() -> None:
    few = combine("a", "V", 1.0, "test", [type_a("a", "few readings", 0.1, "V", 4.0)])
    mean = fitted(np.ones((1, 1)), [few]).quantity(0, "mean", "V", "fit")
    assert mean.dof == pytest.approx(4.0)


def test_what_cannot_be_fitted_is_refused() -> None:
    seen = [level("a", 1.0), level("b", 2.0)]
    with pytest.raises(CircuitError, match="do not determine 3 unknowns"):
        fitted(np.ones((2, 3)), seen)
    with pytest.raises(CircuitError, match="leave an unknown of the circuit open"):
        fitted(np.ones((2, 2)), seen)
    bare = Quantity("c", 1.0, "V", 0.1, math.inf, "test")
    with pytest.raises(QuantityError, match="c has no budget"):
        fitted(np.ones((2, 1)), [seen[0], bare])
    twin = combine("d", "V", 1.0, "test", [COMMON])
    with pytest.raises(QuantityError, match="rest on the very same inputs"):
        fitted(np.ones((2, 1)), [twin, twin])
    with pytest.raises(QuantityError, match="two uncertainties"):
        covariance_of([seen[0], combine("e", "V", 1.0, "t", [type_b("common", "x", 0.4, "V")])])
    exact = combine("f", "V", 1.0, "t", [type_b("f", "x", 0.0, "V")])
    with pytest.raises(QuantityError, match="without any uncertainty"):
        fitted(np.ones((2, 1)), [seen[0], exact])
