"""Uncertainty budgets: rows in, a quantity out, by GTC.

GTC's uncertain numbers live only inside this module.  Inputs are told apart by
the `id` of their row, so that an input that two quantities share (one gain in
all plateaus) stays one input when a third is derived from both.

References
----------
.. [1] JCGM 100:2008 (GUM), 5.1 (combination), G.3 and G.4 (coverage factor, effective degrees of
   freedom by Welch-Satterthwaite).
"""

import math
from collections.abc import Callable, Iterable, Sequence
from typing import Any

import GTC
from GTC import reporting

from pilotsignal.calibration import TimeBase
from pilotsignal.errors import QuantityError
from pilotsignal.quantity import BudgetRow, Quantity

RECTANGULAR = 1.0 / math.sqrt(3.0)  # half width to standard uncertainty, GUM 4.3.7


def coverage_factor(dof: float, confidence: float = 0.95) -> float:
    """Student's factor for a two-sided interval; `dof` at least 1, may be infinite."""
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
    """Row of the time base, relative; none where nobody stated its uncertainty."""
    if clock.u_relative is None:
        return []
    row = type_b(f"timebase@{clock.id}", "time base", clock.u_relative, "1")
    return [scaled(row, sensitivity)]


def combine(name: str, unit: str, value: float, method: str, rows: Iterable[BudgetRow]) -> Quantity:
    """Quantity of a linear budget.

    Parameters
    ----------
    name, unit, value, method : as in `Quantity`.
    rows : inputs with their sensitivities; rows with the same id are one input.

    Raises
    ------
    QuantityError : no row at all: a value without any uncertainty is not a measurement.
    """
    inputs = _Inputs()
    rows = tuple(rows)
    if not rows:
        raise QuantityError(f"{name}: no uncertainty was stated")
    return _quantity(name, unit, method, value + inputs.linear(rows), inputs)


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
    QuantityError : the result is not a real number, as after a division by zero.
    """
    inputs = _Inputs()
    numbers = [source.value + inputs.linear(source.rows) for source in sources]
    try:
        result = function(*numbers)
    except (ZeroDivisionError, OverflowError, ValueError) as problem:
        raise QuantityError(f"{name} cannot be computed: {problem}") from problem
    return _quantity(name, unit, method, result, inputs)


class _Inputs:
    """Uncertain numbers by row id."""

    def __init__(self) -> None:
        self._numbers: dict[str, Any] = {}
        self._rows: dict[str, BudgetRow] = {}

    def linear(self, rows: Iterable[BudgetRow]) -> Any:
        """Sum of sensitivity times input, with estimate zero."""
        total: Any = 0.0
        for row in rows:
            if row.u == 0.0:
                self._rows.setdefault(row.id, row)
                continue
            if row.id not in self._numbers:
                self._numbers[row.id] = GTC.ureal(0.0, row.u, row.dof, label=row.id)
                self._rows[row.id] = row
            elif not math.isclose(self._rows[row.id].u, row.u, rel_tol=1e-9):
                raise QuantityError(f"input {row.id} comes with two uncertainties")
            total = total + row.sensitivity * self._numbers[row.id]
        return total

    def rows_of(self, result: Any) -> tuple[BudgetRow, ...]:
        """Rows of `result`, their sensitivities read back from GTC."""
        return tuple(scaled(row, self._sensitivity(result, key)) for key, row in self._rows.items())

    def _sensitivity(self, result: Any, key: str) -> float:
        number = self._numbers.get(key)
        if number is None:
            return self._rows[key].sensitivity
        return float(reporting.sensitivity(result, number))


def _quantity(name: str, unit: str, method: str, result: Any, inputs: _Inputs) -> Quantity:
    value = GTC.value(result)
    if isinstance(value, complex) or not math.isfinite(value):
        raise QuantityError(f"{name} cannot be computed: {value} is not a real number")
    u = float(GTC.uncertainty(result))
    dof = float(GTC.dof(result)) if u > 0 else math.inf
    rows = inputs.rows_of(result if u > 0 else GTC.constant(value))
    # GTC has no degrees of freedom (NaN) where inputs do not allow any statement: the least then.
    return Quantity(name, float(value), unit, u, dof if dof >= 1 else 1.0, method, rows)
