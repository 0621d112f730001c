"""What a data sheet says of a meter, as it is typed: ``0.05 % + 3 digits``, ``1 ppm``, ``2 mV``."""

import math
import re
from dataclasses import dataclass
from typing import Any, Final, Self

from pilotsignal.calibration_fit import Accuracy
from pilotsignal.csv_units import parse_amount
from rungbench.errors import WrongUse

_DIGITS: Final = re.compile(r"([0-9.eE+-]+)\s*digits?$")
_SHARES: Final = {"%": 1e-2, "ppm": 1e-6}
_PREFIXES: Final = {"": 1.0, "m": 1e-3, "u": 1e-6, "µ": 1e-6, "n": 1e-9, "k": 1e3, "M": 1e6}

STATED: Final = {"limit": math.sqrt(3.0), "k=2": 2.0, "standard": 1.0}
"""How an accuracy may be stated, and what divides it to a standard one (GUM 4.3.3, 4.3.7)."""


@dataclass(frozen=True, slots=True)
class Instrument:
    """A reference: who it is and what it is worth, as typed.

    `digit` is the value of its last digit in `unit`, 0 where it does not matter; `stated_as` is a
    key of `STATED`.
    """

    name: str
    serial: str
    accuracy: str
    digit: float
    stated_as: str
    unit: str

    @property
    def standard(self) -> Accuracy:
        """Its standard uncertainties; `WrongUse` where the text makes no sense."""
        relative, fixed = parse_accuracy(self.accuracy, self.unit, self.digit)
        divisor = STATED[self.stated_as]
        return Accuracy(relative / divisor, fixed / divisor, self.digit)

    def checked(self) -> Self:
        """Itself; `WrongUse` where its accuracy makes no sense."""
        parse_accuracy(self.accuracy, self.unit, self.digit)
        return self

    def text(self) -> str:
        """One line for people."""
        who = f"{self.name}, {self.serial}" if self.serial else self.name
        return f"{who}, {self.accuracy} ({self.stated_as})"

    def as_dict(self) -> dict[str, Any]:
        """Plain values."""
        return {
            "name": self.name,
            "serial": self.serial,
            "accuracy": self.accuracy,
            "digit": self.digit,
            "stated_as": self.stated_as,
            "unit": self.unit,
        }


def parse_accuracy(text: str, unit: str, digit: float) -> tuple[float, float]:
    """Relative and fixed part of a text such as ``0.05 % + 3 digits``, the latter in `unit`.

    Raises
    ------
    WrongUse : a part that is neither a share, digits nor an amount in `unit`; nothing at all.
    """
    relative = fixed = 0.0
    for part in re.split(r"\+(?![0-9]*$)", text):
        kind, value = _part(part.strip(), unit, digit, text)
        relative, fixed = (relative + value, fixed) if kind else (relative, fixed + value)
    if relative == 0.0 and fixed == 0.0:
        raise WrongUse(f"The accuracy {text!r} is nothing; no meter is without any uncertainty.")
    return relative, fixed


def _part(part: str, unit: str, digit: float, text: str) -> tuple[bool, float]:
    """Whether a part is relative, and its value."""
    for sign, factor in _SHARES.items():
        if part.endswith(sign):
            return True, _number(part.removesuffix(sign), unit, text) * factor
    digits = _DIGITS.match(part)
    if digits:
        if digit <= 0.0:
            raise WrongUse(
                f"The accuracy {text!r} counts digits; state what the last digit stands for."
            )
        return False, _number(digits[1], unit, text) * digit
    return False, _amount(part, unit, text)


def _amount(part: str, unit: str, text: str) -> float:
    """An amount in `unit`, with or without a prefix."""
    if part.endswith(unit):
        bare = part.removesuffix(unit).strip()
        for prefix, factor in _PREFIXES.items():
            if prefix and bare.endswith(prefix):
                return _number(bare.removesuffix(prefix), unit, text) * factor
        return _number(bare, unit, text)
    if parse_amount(part) is None:
        raise _unclear(unit, text)
    raise WrongUse(f"The accuracy {text!r} must be in {unit}, in % or in digits.")


def _number(part: str, unit: str, text: str) -> float:
    try:
        value = float(part)
    except ValueError:
        raise _unclear(unit, text) from None
    if not (math.isfinite(value) and value >= 0.0):
        raise _unclear(unit, text)
    return value


def _unclear(unit: str, text: str) -> WrongUse:
    return WrongUse(
        f"{text!r} is no accuracy; write it as on the data sheet, such as '0.05 % + 3 digits' or "
        f"'0.1 % + 0.002 {unit}'."
    )
