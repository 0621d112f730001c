"""Values, limits and moments as a report prints them."""

from datetime import UTC, datetime

from pilotsignal.figures import bounds as sides
from pilotsignal.figures import figure as told
from pilotsignal.limit import Limit
from pilotsignal.quantity import Quantity

_UNITS = {"ohm": "Ω", "us": "µs"}


def unit_of(unit: str) -> str:
    """A unit as printed."""
    return _UNITS.get(unit, "" if unit == "1" else unit)


def figure(quantity: Quantity) -> str:
    """Value and expanded uncertainty (95 %), two digits of the latter; a count stands alone."""
    return told(quantity.value, quantity.expanded(), unit_of(quantity.unit))


def bounds(limit: Limit) -> str:
    """Both sides of a limit, or the one that there is."""
    return sides(limit.low, limit.high, unit_of(limit.unit)) or "no limit"


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
