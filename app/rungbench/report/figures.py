"""Values, limits and moments as a report prints them."""

import math
from datetime import UTC, datetime

from pilotsignal.limit import Limit
from pilotsignal.quantity import Quantity

_UNITS = {"ohm": "Ω", "us": "µs"}


def unit_of(unit: str) -> str:
    """A unit as printed."""
    return _UNITS.get(unit, "" if unit == "1" else unit)


def figure(quantity: Quantity) -> str:
    """Value and expanded uncertainty (95 %), two digits of the latter; a count stands alone."""
    unit = unit_of(quantity.unit)
    expanded = quantity.expanded()
    if expanded <= 0.0:
        return f"{quantity.value:g} {unit}".rstrip()
    decimals = min(9, max(0, 1 - math.floor(math.log10(expanded))))
    return f"{quantity.value:.{decimals}f} ± {expanded:.{decimals}f} {unit}".rstrip()


def bounds(limit: Limit) -> str:
    """Both sides of a limit, or the one that there is."""
    low, high, unit = limit.low, limit.high, unit_of(limit.unit)
    if low is None and high is None:
        return "no limit"
    if low is None:
        return f"at most {high:.5g} {unit}"
    if high is None:
        return f"at least {low:.5g} {unit}"
    if low == high:
        return f"exactly {low:.5g} {unit}"
    return f"{low:.5g} to {high:.5g} {unit}"


def probability(value: float | None) -> str:
    """Probability of conformity; never rounded up to certainty."""
    if value is None:
        return ""
    if value >= 0.9995:
        return "conforms with p > 0.999"
    return f"conforms with p = {value:.3f}" if value >= 0.0005 else "conforms with p < 0.001"


def moment(at: datetime) -> str:
    """A moment in UTC, to the second."""
    return f"{at.astimezone(UTC):%Y-%m-%d %H:%M:%S} UTC"


def amperes(value: float | None) -> str:
    """A current, or that nobody stated it."""
    return "not stated" if value is None else f"{value:g} A"
