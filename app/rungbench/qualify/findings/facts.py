"""What a record holds, asked for by check and by name of the quantity."""

import math
from collections.abc import Iterator
from dataclasses import dataclass

from pilotsignal.figures import figure
from pilotsignal.judge import Verdict
from pilotsignal.quantity import Quantity
from rungbench.archive.record import CheckResult, Record


@dataclass(frozen=True, slots=True)
class Facts:
    """The last result of each check of a run, with the charger that it is about."""

    record: Record
    results: dict[str, CheckResult]

    @classmethod
    def of(cls, record: Record) -> "Facts":
        """The facts of a record."""
        return cls(record, {result.check: result for result in record.checks})

    def failed(self, *checks: str) -> tuple[CheckResult, ...]:
        """Those of `checks` (a name, or its beginning and ``*``) that failed."""
        return tuple(one for one in self.named(*checks) if one.verdict is Verdict.FAIL)

    def passed(self, *checks: str) -> tuple[CheckResult, ...]:
        """Those of `checks` that passed."""
        return tuple(one for one in self.named(*checks) if one.verdict is Verdict.PASS)

    def named(self, *checks: str) -> Iterator[CheckResult]:
        """Results by name, or by the beginning of a name and ``*``."""
        for name, result in self.results.items():
            if any(
                name == one or (one[-1:] == "*" and name.startswith(one[:-1])) for one in checks
            ):
                yield result

    def quantity(self, check: str, name: str = "") -> Quantity | None:
        """A quantity of a check by its name, or its first one."""
        result = self.results.get(check)
        if result is None:
            return None
        return next((one for one in result.quantities if name in ("", one.name)), None)

    def all_named(self, beginning: str) -> tuple[Quantity, ...]:
        """All quantities whose name begins so, from whatever check, each name once."""
        found = {
            one.name: one
            for result in self.results.values()
            for one in result.quantities
            if one.name.startswith(beginning)
        }
        return tuple(found.values())


def apart(one: Quantity, other: Quantity) -> bool:
    """Whether two quantities differ by more than both their expanded uncertainties."""
    return abs(one.value - other.value) > math.hypot(one.expanded(), other.expanded())


def told(quantity: Quantity) -> str:
    """A value with its expanded uncertainty."""
    return figure(quantity.value, quantity.expanded(), quantity.unit)
