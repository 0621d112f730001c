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
from rungbench.link.words import Rung, Setting
from rungbench.standin.calibration import BenchCalibration

_WORDS = {
    "permanent": "ladder resistor",
    "switched": "ladder resistor",
    "diode": "diode",
    "input": "input loading",
    "short": "short",
    "cable": "cable code",
    "ohmmeter": "reference meter",
}
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


def ladder_limit(profile: Profile, calibration: BenchCalibration, setting: Setting) -> Limit | None:
    """Window of the high plateau at this ladder, or ``None`` where its parts are not known."""
    load = _load(calibration, setting)
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
    level: Quantity, profile: Profile, calibration: BenchCalibration, setting: Setting
) -> Quantity:
    """The level with the doubt of the ladder's own parts added to its budget."""
    load = _load(calibration, setting)
    if load is None:
        return level
    rail = profile.limit("open_high").nominal or level.value
    source = profile.limit("source_resistance").nominal or load.ohm
    rows = [*level.rows, *_part_rows(load, rail, source)]
    return combine("high_plateau_ladder_v", "V", level.value, level.method, rows)


def _load(calibration: BenchCalibration, setting: Setting) -> _Load | None:
    """What the ladder set in use puts behind its diode; nothing is known without the diode."""
    rung, ladder = setting.rung, setting.ladder
    if not setting.diode_in or not setting.pe_closed:
        return None
    roles = ["permanent", *([_SWITCHED[rung]] if rung in _SWITCHED else [])]
    parts = [
        *(calibration.resistor(role, ladder) for role in roles),
        calibration.diode_on(rung, ladder),
    ]
    if any(part is None for part in parts):
        return None
    known = [part for part in parts if part is not None]
    return _Load(tuple(known[:-1]), known[-1])


def _part_rows(load: _Load, rail: float, source: float) -> list[BudgetRow]:
    """Rows of resistors and diode with their sensitivities at a nominal source."""
    drop = rail - load.diode.value
    by_ohm = drop * source / (load.ohm + source) ** 2
    rows = [
        row
        for part in load.resistors
        for row in part_rows(part, by_ohm * (load.ohm / part.value) ** 2)
    ]
    return [*rows, *part_rows(load.diode, source / (load.ohm + source))]


def part_rows(part: KnownPart, sensitivity: float) -> list[BudgetRow]:
    """The rows of a part; each with the same id wherever its input enters.

    An input that parts share, such as the ohmmeter, is counted in its own standard deviations.
    """
    if not part.inputs:
        component = _component(part.id)
        row = BudgetRow(part.id, component, "B", "normal", part.u, part.unit, math.inf, sensitivity)
        return [row]
    return [
        BudgetRow(key, _component(key), "B", "normal", 1.0, "1", math.inf, sensitivity * by)
        for key, by in part.inputs
    ]


def _component(key: str) -> str:
    name = key.partition("@")[0]
    words = next((text for start, text in _WORDS.items() if name.startswith(start)), "part")
    return f"{words}, {name}"
