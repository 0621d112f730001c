"""What a conforming charger may show at a ladder whose parts are known.

The published windows allow for any vehicle; a ladder with known resistors and a
known diode leaves only the charger's own tolerances.
"""

import math
from dataclasses import dataclass

from pilotsignal.budget import combine
from pilotsignal.calibration import KnownPart
from pilotsignal.limit import Limit, Rule
from pilotsignal.quantity import BudgetRow, Quantity
from pilotsignal.standard import Profile
from rungbench.link.words import Rung
from rungbench.standin.calibration import BenchCalibration

_SWITCHED = {Rung.C: "switched_c", Rung.D: "switched_d"}


@dataclass(frozen=True, slots=True)
class _Load:
    """Ladder and diode as the charger sees them; resistors are in parallel."""

    resistors: tuple[KnownPart, ...]
    diode: KnownPart

    @property
    def ohm(self) -> float:
        return 1.0 / sum(1.0 / part.value for part in self.resistors)

    def level(self, rail_v: float, source_ohm: float) -> float:
        """High plateau of a source at this load."""
        share = self.ohm / (self.ohm + source_ohm)
        return (rail_v - self.diode.value) * share + self.diode.value


def ladder_limit(profile: Profile, calibration: BenchCalibration, rung: Rung) -> Limit | None:
    """Window of the high plateau at this ladder, or ``None`` where its parts are not known."""
    load = _load(calibration, rung)
    rail, source = profile.limit("open_high"), profile.limit("source_resistance")
    if load is None or None in (rail.low, rail.high, source.low, source.high):
        return None
    return Limit(
        low=load.level(rail.low or math.nan, source.high or math.nan),
        high=load.level(rail.high or math.nan, source.low or math.nan),
        unit="V",
        profile=profile.label,
        clause=f"{rail.clause}, computed for this ladder",
        rule=Rule.GUARDED,
        confidence=rail.confidence,
    )


def referred_to_ladder(
    level: Quantity, profile: Profile, calibration: BenchCalibration, rung: Rung
) -> Quantity:
    """The level with the doubt of the ladder's own parts added to its budget."""
    load = _load(calibration, rung)
    if load is None:
        return level
    rail = profile.limit("open_high").nominal or level.value
    source = profile.limit("source_resistance").nominal or load.ohm
    rows = [*level.rows, *_part_rows(load, rail, source)]
    return combine("high_plateau_ladder_v", "V", level.value, level.method, rows)


def _load(calibration: BenchCalibration, rung: Rung) -> _Load | None:
    names = ["permanent", *([_SWITCHED[rung]] if rung in _SWITCHED else [])]
    parts = [*(calibration.parts.get(name) for name in names), calibration.diode_on(rung)]
    if any(part is None for part in parts):
        return None
    known = [part for part in parts if part is not None]
    return _Load(tuple(known[:-1]), known[-1])


def _part_rows(load: _Load, rail: float, source: float) -> list[BudgetRow]:
    """Rows of resistors and diode with their sensitivities at a nominal source."""
    drop = rail - load.diode.value
    by_ohm = drop * source / (load.ohm + source) ** 2
    rows = [part_row(part, by_ohm * (load.ohm / part.value) ** 2) for part in load.resistors]
    return [*rows, part_row(load.diode, source / (load.ohm + source))]


def part_row(part: KnownPart, sensitivity: float) -> BudgetRow:
    """The row of a part; the same id wherever the part enters."""
    return BudgetRow(part.id, part.id, "B", "normal", part.u, part.unit, math.inf, sensitivity)
