"""Numbers in sentences: as many digits as the uncertainty allows, and never a minus zero."""

import math
from typing import Final

_MOST: Final = 9
_UNKNOWN: Final = 3


def decimals(expanded: float) -> int:
    """Decimals that show two digits of an expanded uncertainty (GUM, 7.2.6), at most 9.

    Three where there is none, or where it is not finite.
    """
    if not (math.isfinite(expanded) and expanded > 0.0):
        return _UNKNOWN
    return min(_MOST, max(0, 1 - math.floor(math.log10(expanded))))


def figure(value: float, expanded: float, unit: str) -> str:
    """Value and expanded uncertainty, two digits of the latter; a count stands alone.

    `value` and `expanded` are in `unit`; NaN prints as ``nan``, so that nobody overlooks it.
    """
    if expanded <= 0.0:
        return f"{value:g} {unit}".rstrip()
    places = decimals(expanded)
    return f"{value:z.{places}f} ± {expanded:.{places}f} {unit}".rstrip()


def bounds(low: float | None, high: float | None, unit: str) -> str:
    """Both sides of a limit, or the one that there is; empty without either."""
    if low is None and high is None:
        return ""
    if low is None:
        return f"at most {high:.5g} {unit}"
    if high is None:
        return f"at least {low:.5g} {unit}"
    if low == high:
        return f"exactly {low:.5g} {unit}"
    return f"{low:.5g}..{high:.5g} {unit}"
