"""Values with units on the command line: ``10us``, ``20mV``, ``16A``, ``0.5%``.

Each function is the ``type`` of an option or argument.
"""

import math
from typing import Any, Final

import click

from pilotsignal.csv_units import Unit, parse_amount
from rungbench.errors import WrongUse
from rungbench.qualify.amounts import span_of

_SHARES: Final = {"%": 1e-2, "ppm": 1e-6, "": 1.0}


class NumberRange(click.FloatRange):
    """A number within bounds, and NaN is none: it would pass every comparison with a bound."""

    def convert(
        self, value: Any, param: click.Parameter | None, ctx: click.Context | None
    ) -> float:
        found = float(super().convert(value, param, ctx))
        if math.isnan(found):
            self.fail(f"{value!r} is no number", param, ctx)
        return found


def seconds(text: str) -> float:
    """Seconds of a text such as ``10us`` or ``1e-5``."""
    return _in_base_unit(text, "s", "a time such as 10us or 1e-5")


def volts(text: str) -> float:
    """Volts of a text such as ``20mV`` or ``-12``."""
    return _in_base_unit(text, "V", "a voltage such as 8.98 or 20mV")


def uncertain_volts(text: str) -> float:
    """Volts that are not negative."""
    found = volts(text)
    if found < 0.0:
        raise click.BadParameter(f"{text!r} is negative, which no uncertainty is")
    return found


def amperes(text: str) -> float:
    """Amperes of a text such as ``16`` or ``16A``."""
    return _in_base_unit(text, "A", "a current such as 16 or 16A")


def ampere_list(text: str) -> tuple[float, ...]:
    """Amperes of a text such as ``6,10,16``."""
    return tuple(amperes(part) for part in text.split(",") if part.strip())


def time_span(text: str) -> float:
    """Seconds of a text such as ``90``, ``90s``, ``30m`` or ``2h``."""
    try:
        return span_of(text)
    except WrongUse as problem:
        raise click.BadParameter(str(problem).removesuffix(".")) from problem


def share(text: str) -> float:
    """A share from 0 to below 1, such as ``0.005``, ``0.5%`` or ``50ppm``."""
    bare = text.strip()
    suffix = next(one for one in _SHARES if bare.endswith(one))
    try:
        found = float(bare.removesuffix(suffix)) * _SHARES[suffix]
    except ValueError:
        found = math.nan
    if not 0.0 <= found < 1.0:
        raise click.BadParameter(f"{text!r} is not a share such as 0.005, 0.5% or 50ppm")
    return found


def _in_base_unit(text: str, dimension: str, example: str) -> float:
    amount = parse_amount(text)
    number, unit = amount if amount is not None else (math.nan, None)
    if not math.isfinite(number) or (unit is not None and unit.dimension != dimension):
        raise click.BadParameter(f"{text!r} is not {example}")
    # Twelve digits: 10us is 1e-05, not 9.999999999999999e-06.
    return float(f"{number * (unit or Unit(dimension, 1.0)).factor:.12g}")
