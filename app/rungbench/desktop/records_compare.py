"""Records side by side: each quantity of each, and differences with their uncertainty; no Qt."""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from pilotsignal.budget import derive
from pilotsignal.errors import QuantityError
from pilotsignal.quantity import Quantity
from rungbench.archive.record import CheckResult, Record
from rungbench.report.verdicts import counting

_INDEPENDENT: Final = "difference of values taken as independent"
_CORRELATED: Final = "difference, with what both budgets share"


@dataclass(frozen=True, slots=True)
class Row:
    """One quantity in all records; `differences` are those to the first one, in their order.

    What a record does not hold is ``None``.
    """

    check: str
    title: str
    name: str
    values: tuple[Quantity | None, ...]
    differences: tuple[Quantity | None, ...]
    verdicts: tuple[str, ...]

    @property
    def differs(self) -> bool:
        """Whether any difference is larger than its expanded uncertainty (95 %)."""
        return any(one is not None and abs(one.value) > one.expanded() for one in self.differences)


def compare(records: Sequence[Record]) -> tuple[Row, ...]:
    """All quantities that any of the records holds, in the order of the first that holds them."""
    results = [{one.check: one for one in counting(record.checks)} for record in records]
    checks = dict.fromkeys(check for held in results for check in held)
    return tuple(
        row for check in checks for row in _rows(check, [held.get(check) for held in results])
    )


def _rows(check: str, results: list[CheckResult | None]) -> Iterator[Row]:
    held = [{} if one is None else _quantities(one) for one in results]
    title = next(one.title for one in results if one is not None)
    verdicts = tuple("" if one is None else one.verdict.value for one in results)
    names = list(dict.fromkeys(name for quantities in held for name in quantities))
    if not names:
        yield Row(check, title, "", (None,) * len(held), (None,) * (len(held) - 1), verdicts)
    for name in names:
        values = tuple(quantities.get(name) for quantities in held)
        differences = tuple(difference(values[0], other) for other in values[1:])
        yield Row(check, title, name, values, differences, verdicts)


def _quantities(result: CheckResult) -> dict[str, Quantity]:
    judged = [one.quantity for one in result.judgements if one.quantity is not None]
    return {one.name: one for one in (*judged, *result.quantities)}


def difference(first: Quantity | None, other: Quantity | None) -> Quantity | None:
    """`other` minus `first`; inputs that both budgets name are one and cancel as far as they do."""
    if first is None or other is None or first.unit != other.unit:
        return None
    name = f"{first.name} difference"
    try:
        return derive(name, first.unit, _CORRELATED, lambda a, b: b - a, (first, other))
    except QuantityError:
        u = math.hypot(first.u, other.u)
        dof = min(first.dof, other.dof)
        return Quantity(name, other.value - first.value, first.unit, u, dof, _INDEPENDENT)
