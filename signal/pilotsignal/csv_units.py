"""Units and numbers with units, as they are written in files and on command lines."""

import re
from dataclasses import dataclass
from typing import Final

_PREFIXES: Final = {
    "": 1.0,
    "p": 1e-12,
    "n": 1e-9,
    "nano": 1e-9,
    "u": 1e-6,
    "µ": 1e-6,  # MICRO SIGN
    "\N{GREEK SMALL LETTER MU}": 1e-6,
    "micro": 1e-6,
    "m": 1e-3,
    "milli": 1e-3,
    "k": 1e3,
    "kilo": 1e3,
    "M": 1e6,
    "mega": 1e6,
    "G": 1e9,
}
_BASES: Final = {
    "s": "s",
    "sec": "s",
    "secs": "s",
    "second": "s",
    "seconds": "s",
    "v": "V",
    "volt": "V",
    "volts": "V",
    "a": "A",
    "amp": "A",
    "ampere": "A",
    "hz": "Hz",
    "s/s": "Hz",
    "sa/s": "Hz",
    "sps": "Hz",
    "samples/s": "Hz",
    "sample": "index",
    "samples": "index",
    "sequence": "index",
    "index": "index",
    "point": "index",
    "points": "index",
}
_NUMBER = r"[-+]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][-+]?\d+)?"
_NUMBER_WITH_UNIT = re.compile(rf"({_NUMBER})\s*([^\d\s].*)?")


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit: `dimension` (s, V, A, Hz, index) and `factor` to its base."""

    dimension: str
    factor: float


def parse_unit(text: str) -> Unit | None:
    """Unit that `text` names, in brackets or not, or ``None``.

    Prefixes tell m and M apart; the rest may be written in capitals.
    """
    bare = text.strip().strip("()[]").strip()
    for length in range(len(bare) + 1):
        prefix, base = bare[:length], bare[length:].lower()
        factor = _PREFIXES.get(prefix) or _PREFIXES.get(prefix.lower() if length > 1 else prefix)
        dimension = _BASES.get(base)
        if factor is not None and dimension is not None and _plausible(dimension, factor):
            return Unit(dimension, factor)
    return None


def _plausible(dimension: str, factor: float) -> bool:
    """Whether anybody means it: MS is no megasecond but a shouted millisecond, so not a guess."""
    if dimension == "index":
        return factor == 1.0
    return factor <= 1e3 or dimension == "Hz"


def parse_amount(text: str) -> tuple[float, Unit | None] | None:
    """Number and unit of a text such as ``4us``, ``100 kS/s`` or ``1.6e-06``.

    Returns
    -------
    The number (not yet scaled) and its unit (``None`` if there is none), or ``None`` where the
    text is no number or the unit is not known.
    """
    found = _NUMBER_WITH_UNIT.fullmatch(text.strip())
    if found is None:
        return None
    number, suffix = float(found[1].replace(",", ".")), found[2]
    if not suffix:
        return number, None
    unit = parse_unit(suffix)
    return None if unit is None else (number, unit)


def split_unit(name: str) -> tuple[str, Unit | None]:
    """Name and unit of a text such as ``Channel 1 (V)`` or ``Time [ms]``."""
    found = re.fullmatch(r"(.*?)\s*[(\[]([^()\[\]]*)[)\]]", name.strip())
    if found is None:
        return name.strip(), None
    unit = parse_unit(found[2])
    return (name.strip(), None) if unit is None else (found[1].strip(), unit)
