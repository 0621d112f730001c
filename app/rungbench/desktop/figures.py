"""Numbers on the screen: in the user's locale, with as many digits as the uncertainty allows."""

import math
import re
from typing import Final

from PySide6.QtCore import QLocale

from pilotsignal.figures import decimals
from pilotsignal.limit import Limit
from pilotsignal.quantity import Quantity

_UNITS: Final = {"ohm": "Ω", "us": "µs"}


# A number with a point: no part of a clause such as A.4.4, of a version, a word or an address.
_POINT: Final = re.compile(r"(?<![\w=/])(?<!(?<!\.)\.)(\d+)\.(\d+)(?!\d|\.\d)")
_UNIT_WORDS: Final = ((re.compile(r"(?<=\d) ohm\b"), " Ω"), (re.compile(r"(?<=\d) us\b"), " µs"))
_SPAN: Final = re.compile(r"(?<=\d)\.\.(?=[-−\d])")


def localised(text: str) -> str:
    """A sentence that was written with points and names of units, as people here read it."""
    for unit, sign in _UNIT_WORDS:
        text = unit.sub(sign, text)
    text = _POINT.sub(rf"\g<1>{QLocale().decimalPoint()}\g<2>", text)
    return _SPAN.sub(" … ", text)


def unit_text(unit: str) -> str:
    """A unit as it is written for people."""
    return _UNITS.get(unit, unit)


def number(value: float, places: int) -> str:
    """A number with so many decimals, by the user's locale, without grouping."""
    locale = QLocale()
    locale.setNumberOptions(QLocale.NumberOption.OmitGroupSeparator)
    # What rounds to nothing has no sign: adding zero takes it from a negative zero.
    text = locale.toString(round(value, places) + 0.0, "f", places)
    return text.replace("-", "−")


def short(value: float) -> str:
    """A number with up to five digits, by the user's locale, without needless zeros."""
    text = f"{value:.5g}"
    places = len(text.partition(".")[2]) if "e" not in text else 0
    return number(value, places)


def figure(quantity: Quantity) -> str:
    """Value and expanded uncertainty (95 %); a count stands alone."""
    return with_uncertainty(quantity.value, quantity.expanded(), quantity.unit)


def with_uncertainty(value: float, expanded: float, unit: str) -> str:
    """`figure` of plain numbers."""
    unit = unit_text(unit)
    if expanded <= 0.0:
        return f"{short(value)} {unit}".rstrip()
    places = decimals(expanded)
    return f"{number(value, places)} ± {number(expanded, places)} {unit}".rstrip()


def bounds(limit: Limit) -> str:
    """Both sides of a limit, or the one that there is."""
    unit = unit_text(limit.unit)
    if limit.low is None and limit.high is None:
        return ""
    if limit.low is None:
        return f"at most {short(limit.high or 0.0)} {unit}"
    if limit.high is None:
        return f"at least {short(limit.low)} {unit}"
    return f"{short(limit.low)} … {short(limit.high)} {unit}"


def margin(quantity: Quantity, limit: Limit) -> str:
    """Distance to the nearer bound, negative outside; empty where there is no bound."""
    sides = [
        side
        for side in (
            None if limit.low is None else quantity.value - limit.low,
            None if limit.high is None else limit.high - quantity.value,
        )
        if side is not None
    ]
    if not sides:
        return ""
    nearest = min(sides)
    sign = "+" if nearest >= 0.0 else ""
    return f"{sign}{number(nearest, decimals(quantity.expanded()))} {unit_text(limit.unit)}"


def seconds_left(left_s: float) -> str:
    """Whole seconds, rounded up, so that 0 means over."""
    return f"{math.ceil(left_s)} s"
