"""Single sampling plans by attributes: how many units are drawn, how many may fail.

Sources
-------
ISO 2859-1:1999, Tables 1 (code letters), 2-A (normal) and 2-B (tightened); the single plans are
those of ANSI/ASQ Z1.4 and MIL-STD-105E.  The tables lie in ``iso_2859_1.toml``.
"""

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from functools import cache
from importlib import resources
from types import MappingProxyType
from typing import Any, Final

from rungbench.lots.errors import LotRefused

DEFAULT_LEVEL: Final = "II"
SMALLEST_LOT: Final = 2
# No shipment of chargers; a number that long was mistyped.
LARGEST_LOT: Final = 10_000_000


class Severity(StrEnum):
    """Of an inspection.  Reduced plans differ between the standards and are not offered."""

    NORMAL = "normal"
    TIGHTENED = "tightened"


@dataclass(frozen=True, slots=True)
class SamplingPlan:
    """What is drawn from a lot and what decides it.

    Parameters
    ----------
    aql : acceptance quality limit, percent nonconforming.
    letter : code letter of the lot's size; arrows of the table are followed from there.
    table_size : sample size as the table gives it.
    accept : the lot is accepted with at most so many units nonconforming (Ac).
    standard : the edition and its tables.
    """

    lot_size: int
    aql: float
    level: str
    severity: Severity
    letter: str
    table_size: int
    accept: int
    standard: str

    @property
    def reject(self) -> int:
        """The lot is rejected with so many units nonconforming (Re)."""
        return self.accept + 1

    @property
    def every_unit(self) -> bool:
        """Whether the table asks for as many units as there are, or more."""
        return self.table_size >= self.lot_size

    @property
    def sample_size(self) -> int:
        """How many units are drawn (n): at most the lot."""
        return min(self.table_size, self.lot_size)


@dataclass(frozen=True, slots=True)
class _Tables:
    standard: str
    level: str
    aql: tuple[float, ...]
    letters: tuple[tuple[str, int], ...]
    beyond: str
    clauses: Mapping[str, str]
    plans: Mapping[tuple[Severity, str, float], tuple[int, int]]


def acceptance_quality_limits() -> tuple[float, ...]:
    """The AQLs that plans are known for, percent nonconforming."""
    return _tables().aql


def code_letter(lot_size: int) -> str:
    """Code letter of a lot, general inspection level II."""
    tables = _tables()
    fits = (letter for letter, largest in tables.letters if lot_size <= largest)
    return next(fits, tables.beyond)


def plan_for(
    lot_size: int,
    aql: float,
    level: str = DEFAULT_LEVEL,
    severity: Severity = Severity.NORMAL,
) -> SamplingPlan:
    """The plan for a lot of so many units.

    Raises
    ------
    LotRefused : a size, an AQL or a level that no plan is known for.
    """
    tables = _tables()
    if not SMALLEST_LOT <= lot_size <= LARGEST_LOT:
        raise LotRefused(
            f"A lot has {SMALLEST_LOT} to {LARGEST_LOT:,} units, not {lot_size}; state its size, "
            "and qualify a single charger without a lot."
        )
    if level != tables.level:
        raise LotRefused(
            f"The code letters of inspection level {level!r} are not known here, only those of "
            f"general level {tables.level}; take that one."
        )
    if aql not in tables.aql:
        known = ", ".join(f"{one:g}" for one in tables.aql)
        raise LotRefused(f"No plan is known for an AQL of {aql:g} %; take one of {known}.")
    letter = code_letter(lot_size)
    size, accept = tables.plans[severity, letter, aql]
    standard = f"{tables.standard}, Table 1 and {tables.clauses[severity]}"
    return SamplingPlan(lot_size, aql, level, severity, letter, size, accept, standard)


@cache
def _tables() -> _Tables:
    text = resources.files(__package__).joinpath("iso_2859_1.toml").read_text(encoding="utf-8")
    read: dict[str, Any] = tomllib.loads(text)
    limits = tuple(float(one) for one in read["aql"])
    plans = {
        (severity, letter, aql): (int(size), int(accept))
        for severity in Severity
        for letter in (*(letter for letter, _ in read["letters"]), read["beyond"])
        for aql, (size, accept) in zip(limits, read[severity.value][letter], strict=True)
    }
    return _Tables(
        standard=read["standard"],
        level=read["level"],
        aql=limits,
        letters=tuple((letter, int(largest)) for letter, largest in read["letters"]),
        beyond=read["beyond"],
        clauses={severity.value: read[severity.value]["clause"] for severity in Severity},
        plans=MappingProxyType(plans),
    )
