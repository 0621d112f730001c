"""Quantities and budget rows: what they refuse, and that they survive storage."""

import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from pilotsignal.errors import QuantityError
from pilotsignal.quantity import BudgetRow, Quantity

finite = st.floats(allow_nan=False, allow_infinity=False, width=32)
positive = st.floats(min_value=0.0, max_value=1e6)
freedom = st.one_of(st.just(math.inf), st.floats(min_value=1.0, max_value=1e6))
rows = st.builds(
    BudgetRow,
    id=st.text(min_size=1, max_size=8),
    component=st.text(max_size=8),
    kind=st.sampled_from("AB"),
    distribution=st.sampled_from(["normal", "rectangular"]),
    u=positive,
    unit=st.just("V"),
    dof=freedom,
    sensitivity=finite,
)
quantities = st.builds(
    Quantity,
    name=st.just("high_plateau_v"),
    value=finite,
    unit=st.just("V"),
    u=positive,
    dof=freedom,
    method=st.text(max_size=8),
    rows=st.lists(rows, max_size=3).map(tuple),
)


def quantity(
    value: float = 9.0, u: float = 0.1, dof: float = math.inf, rows: tuple[BudgetRow, ...] = ()
) -> Quantity:
    return Quantity("high_plateau_v", value, "V", u, dof, "stated", rows)


def row(u: float = 0.1, dof: float = math.inf, sensitivity: float = 1.0) -> BudgetRow:
    return BudgetRow("gain@X", "gain", "B", "normal", u, "V", dof, sensitivity)


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf])
def test_a_value_that_is_no_number_is_refused(value: float) -> None:
    with pytest.raises(QuantityError, match="not a result"):
        quantity(value=value)


@pytest.mark.parametrize("u", [math.nan, math.inf, -0.1])
def test_an_uncertainty_that_is_no_number_is_refused(u: float) -> None:
    with pytest.raises(QuantityError, match="not usable"):
        quantity(u=u)
    with pytest.raises(QuantityError, match="not usable"):
        row(u=u)


@pytest.mark.parametrize("dof", [math.nan, 0.0, 0.5, -1.0])
def test_less_than_one_degree_of_freedom_is_refused(dof: float) -> None:
    with pytest.raises(QuantityError, match="degrees of freedom"):
        quantity(dof=dof)
    with pytest.raises(QuantityError, match="degrees of freedom"):
        row(dof=dof)


def test_a_sensitivity_that_is_no_number_is_refused() -> None:
    with pytest.raises(QuantityError, match="not usable"):
        row(sensitivity=math.nan)


# JCGM 100:2008, Table G.2, column for 95 %.
@pytest.mark.parametrize(
    ("dof", "k"), [(1, 12.71), (2, 4.30), (5, 2.57), (10, 2.23), (50, 2.01), (math.inf, 1.960)]
)
def test_the_expanded_uncertainty_uses_students_factor(dof: float, k: float) -> None:
    assert quantity(u=2.0, dof=dof).coverage_factor() == pytest.approx(k, abs=0.005)
    assert quantity(u=2.0, dof=dof).expanded() == pytest.approx(2.0 * k, abs=0.01)


def test_the_budget_lists_the_largest_contribution_first() -> None:
    small, large = row(u=0.1, sensitivity=1.0), row(u=0.05, sensitivity=-4.0)
    assert quantity(rows=(small, large)).budget() == (large, small)
    assert large.contribution == pytest.approx(0.2)


@given(quantities)
def test_a_quantity_comes_back_from_json(before: Quantity) -> None:
    text = json.dumps(before.as_dict(), allow_nan=False)
    assert Quantity.from_dict(json.loads(text)) == before
