"""Uncertainty budgets: rows in, a quantity out.

A linear budget is added up in closed form; functions of quantities are
differentiated by GTC, whose uncertain numbers live only inside this module.
Inputs are told apart by the `id` of their row, so that an input that two
quantities share (one gain in all plateaus) stays one input when a third is
derived from both.

References
----------
.. [1] JCGM 100:2008 (GUM), 5.1.2 and F.1.2.4 (combination, shared inputs), G.3 and G.4.1
   (coverage factor, effective degrees of freedom by Welch-Satterthwaite).
"""

import math
from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache
from typing import Any

from pilotsignal.calibration import TimeBase
from pilotsignal.errors import QuantityError
from pilotsignal.quantity import BudgetRow, Quantity, unstated

RECTANGULAR = 1.0 / math.sqrt(3.0)  # half width to standard uncertainty, GUM 4.3.7
_ROUNDING = 1e-12  # share of a sensitivity that rounding leaves where two cancel


@lru_cache(maxsize=4096)
def coverage_factor(dof: float, confidence: float = 0.95) -> float:
    """Student's factor for a two-sided interval, by GTC; `dof` at least 1, may be infinite."""
    # Late: GTC takes a third of a second to import, and a measurement alone needs none of it.
    from GTC import reporting

    return float(reporting.k_factor(dof, confidence * 100.0))


def type_a(row_id: str, component: str, u: float, unit: str, dof: float) -> BudgetRow:
    """Row of an input evaluated by statistics, with unit sensitivity."""
    return BudgetRow(row_id, component, "A", "normal", u, unit, max(1.0, dof), 1.0)


def type_b(
    row_id: str, component: str, u: float, unit: str, distribution: str = "normal"
) -> BudgetRow:
    """Row of an input known from elsewhere, with unit sensitivity and no limit to its freedom."""
    return BudgetRow(row_id, component, "B", distribution, u, unit, math.inf, 1.0)


def half_width(row_id: str, component: str, bound: float, unit: str) -> BudgetRow:
    """Row of an input known to lie within +/- `bound`: rectangular (GUM 4.3.7)."""
    return type_b(row_id, component, bound * RECTANGULAR, unit, "rectangular")


def scaled(row: BudgetRow, sensitivity: float) -> BudgetRow:
    """The same input with another sensitivity."""
    return BudgetRow(
        row.id,
        row.component,
        row.kind,
        row.distribution,
        row.u,
        row.unit,
        row.dof,
        sensitivity,
    )


def clock_rows(clock: TimeBase, sensitivity: float) -> list[BudgetRow]:
    """Row of the time base, relative; where nobody stated its uncertainty one that says so."""
    if clock.u_relative is None:
        return [unstated("timebase", clock.id, "time base", "1", sensitivity)]
    row_id = f"timebase@{clock.id}"
    return [
        BudgetRow(row_id, "time base", "B", "normal", clock.u_relative, "1", math.inf, sensitivity)
    ]


def combine(name: str, unit: str, value: float, method: str, rows: Iterable[BudgetRow]) -> Quantity:
    """Quantity of a linear budget.

    Rows with the same id are one input: their sensitivities are added before anything is squared.
    Then u is the root of the sum of squared contributions, and its effective degrees of freedom are
    u^4 over the sum of contribution^4 / dof (GUM 5.1.2, G.4.1).

    Parameters
    ----------
    name, unit, value, method : as in `Quantity`.
    rows : inputs with their sensitivities.

    Raises
    ------
    QuantityError : no row at all: a value without any uncertainty is not a measurement; an input
        that comes with two uncertainties; a value that is not a number.
    """
    if not math.isfinite(value):
        raise QuantityError(f"{name} cannot be computed: {value} is not a real number")
    inputs = merged(rows)
    if not inputs:
        raise QuantityError(f"{name}: no uncertainty was stated")
    u, dof = u_and_dof(inputs)
    return Quantity(name, value, unit, u, dof, method, inputs)


def merged(rows: Iterable[BudgetRow]) -> tuple[BudgetRow, ...]:
    """One row for each input, in order of first appearance, the sensitivities of equal ids added.

    An input whose uncertainty nobody stated goes where it cancels, as the clock does in a duty.

    Raises
    ------
    QuantityError : rows of one id that do not describe one input.
    """
    inputs: dict[str, BudgetRow] = {}
    cancelled: set[str] = set()
    for row in rows:
        first = inputs.get(row.id)
        if first is None:
            inputs[row.id] = row
        elif first.unit != row.unit or not math.isclose(first.u, row.u, rel_tol=1e-9):
            raise QuantityError(f"input {row.id} comes with two uncertainties")
        else:
            total = first.sensitivity + row.sensitivity
            inputs[row.id] = scaled(first, total)
            cancelled.discard(row.id)
            if not row.stated and abs(total) <= _ROUNDING * abs(row.sensitivity):
                cancelled.add(row.id)
    return tuple(row for row in inputs.values() if row.id not in cancelled)


def u_and_dof(inputs: Sequence[BudgetRow]) -> tuple[float, float]:
    """Combined standard uncertainty and effective degrees of freedom of independent inputs."""
    parts = [row.sensitivity * row.u for row in inputs]
    u = math.hypot(*parts)
    if u == 0.0:
        return 0.0, math.inf
    spent = 0.0
    for row, part in zip(inputs, parts, strict=True):
        if row.dof != math.inf:
            share = part / u
            spent += share**4 / row.dof
    return u, max(1.0, 1.0 / spent) if spent > 0.0 else math.inf


def derive(
    name: str,
    unit: str,
    method: str,
    function: Callable[..., Any],
    sources: Sequence[Quantity],
) -> Quantity:
    """Quantity computed from others, correlated where their rows share an id.

    Parameters
    ----------
    function : arithmetic on its arguments only (GTC propagates the derivatives); called with one
        uncertain number for each of `sources`.

    Raises
    ------
    QuantityError : the result is not a real number, as after a division by zero; a source whose
        budget does not add up to its uncertainty.
    """
    # Late, as in `coverage_factor`.
    import GTC

    for source in sources:
        _adds_up(source)
    numbers = [GTC.ureal(source.value, 1.0) for source in sources]
    try:
        result = function(*numbers)
        value = GTC.value(result)
        slopes = [_slope(result, number) for number in numbers]
    except (ZeroDivisionError, OverflowError, ValueError) as problem:
        raise QuantityError(f"{name} cannot be computed: {problem}") from problem
    if isinstance(value, complex) or not all(map(math.isfinite, (value, *slopes))):
        raise QuantityError(f"{name} cannot be computed: {value} is not a real number")
    rows = [
        scaled(row, row.sensitivity * slope)
        for source, slope in zip(sources, slopes, strict=True)
        for row in source.rows
    ]
    return combine(name, unit, float(value), method, rows)


def _adds_up(source: Quantity) -> None:
    """Refuse a source that would lose part of its uncertainty on the way."""
    known, _ = u_and_dof(merged(source.rows))
    if not math.isclose(known, source.u, rel_tol=1e-6):
        raise QuantityError(
            f"The budget of {source.name} gives an uncertainty of {known:g} {source.unit}, and"
            f" {source.u:g} {source.unit} is stated; nothing can be computed from it."
        )


def _slope(result: Any, number: Any) -> Any:
    """Derivative of `result` by one of the arguments; 0 where it depends on none."""
    from GTC import reporting

    if isinstance(result, int | float):
        return 0.0
    return reporting.sensitivity(result, number)
