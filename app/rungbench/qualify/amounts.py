"""Currents and spans of time as people write them: ``6, 10, 16``, ``90s``, ``30m``, ``2h``."""

import math
import re
from typing import Final

from rungbench.errors import WrongUse

_SPANS: Final = {"s": 1.0, "m": 60.0, "h": 3600.0}
_UNIT: Final = "A"


def current_of(text: str, decimal_point: str = ".") -> float:
    """Ampere of a text such as ``16`` or ``16A``.

    Raises
    ------
    WrongUse : it is no current above 0.
    """
    bare = text.strip().removesuffix(_UNIT).strip()
    found = _number(bare, decimal_point)
    if not (math.isfinite(found) and found > 0.0):
        raise WrongUse(f"{text.strip()!r} is no current; write ampere, such as 16.")
    return found


def currents_of(text: str, decimal_point: str = ".") -> tuple[float, ...]:
    """Ampere of a list such as ``6, 10, 16``; where the comma is the decimal point, ``6; 10,5``.

    Raises
    ------
    WrongUse : an entry is no current above 0.
    """
    parts = re.split(r"[;\s]+" if decimal_point == "," else r"[;,\s]+", text.strip())
    return tuple(current_of(part, decimal_point) for part in parts if part)


def span_of(text: str, decimal_point: str = ".") -> float:
    """Seconds of a text such as ``90``, ``90s``, ``30m`` or ``2h``.

    Raises
    ------
    WrongUse : it is no time above 0.
    """
    bare = text.strip()
    suffix = next((one for one in _SPANS if bare.endswith(one)), "")
    found = _number(bare.removesuffix(suffix).strip(), decimal_point) * _SPANS.get(suffix, 1.0)
    if not (math.isfinite(found) and found > 0.0):
        raise WrongUse(f"{bare!r} is not a time such as 90s, 30m or 2h.")
    return found


def _number(text: str, decimal_point: str) -> float:
    try:
        return float(text.replace(decimal_point, "."))
    except ValueError:
        return math.nan
