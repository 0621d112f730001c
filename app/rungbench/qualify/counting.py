"""Things that are counted: phases and edges, which are whole and have no uncertainty."""

import math
from collections.abc import Iterable
from dataclasses import replace

from pilotsignal.judge import Judgement
from pilotsignal.limit import Limit, Rule
from pilotsignal.quantity import Quantity


def counted(name: str, count: int, unit: str, method: str) -> Quantity:
    """A count as a quantity."""
    return Quantity(name, float(count), unit, 0.0, math.inf, method)


def exactly(count: int, unit: str, clause: str) -> Limit:
    """A limit that is declared of this charger rather than taken from a profile."""
    return Limit(float(count), float(count), unit, "declared", clause, Rule.SIMPLE, "H")


def told(judgement: Judgement, why: str) -> Judgement:
    """The judgement of a count with a sentence that fits a count."""
    return replace(judgement, why=why)


def phases_text(live: Iterable[int], where: str) -> str:
    """Which phases are live, for people."""
    names = ", ".join(f"L{phase}" for phase in sorted(live))
    return f"Mains was seen on {names} {where}." if names else f"No mains was seen {where}."
