"""What every resistor of the ladder dissipates, in working order and in faults.

Direct current throughout: a pilot that stays on one rail is the worst that pulses can do.
"""

import itertools
from collections.abc import Iterator
from dataclasses import dataclass

import standin_design as design
from standin_design import Resistor


@dataclass(frozen=True, slots=True)
class Case:
    """What stands behind the ladder: rail in V, source resistance in ohm, drop of the diode."""

    name: str
    rail_v: float
    source_ohm: float
    drop_v: float


WORKING = Case("working", design.RAIL_MAX_V, design.SOURCE_MIN_OHM, design.DIODE_MIN_V)
BYPASSED = Case("diode bypassed, steady -12.6 V", design.RAIL_MAX_V, design.SOURCE_MIN_OHM, 0.0)
RAIL = Case("pilot on the +12.6 V rail, no source resistor", design.RAIL_MAX_V, 0.0, 0.55)
RAIL_BYPASSED = Case("pilot on a 12.6 V rail, diode bypassed", design.RAIL_MAX_V, 0.0, 0.0)
SUPPLY = Case("pilot on a 15 V supply, diode bypassed", design.FAULT_V, 0.0, 0.0)
CASES = (WORKING, BYPASSED, RAIL, RAIL_BYPASSED, SUPPLY)


@dataclass(frozen=True, slots=True)
class Loss:
    """Watts in one resistor (all of its parts together) by case, in the order of `CASES`."""

    resistor: Resistor
    setting: str
    watts: tuple[float, ...]

    @property
    def part_w(self) -> float:
        """Worst dissipation of one part."""
        return max(self.watts) * self.resistor.heaviest_share()

    @property
    def used(self) -> float:
        """Share of the part's rating in the worst case."""
        return self.part_w / self.resistor.rating_w


def rungs(which: str) -> Iterator[tuple[str, tuple[Resistor, ...]]]:
    """Rungs of one ladder set and the resistors that each puts in parallel."""
    permanent = design.LADDER["permanent"][which]
    yield f"B {which}", (permanent,)
    for rung in ("C", "D"):
        yield f"{rung} {which}", (permanent, design.LADDER[rung][which])


def power(resistor: Resistor, together: tuple[Resistor, ...], case: Case) -> float:
    """Watts in `resistor` while `together` are in parallel behind the diode."""
    load = 1.0 / sum(1.0 / other.ohm for other in together)
    over = (case.rail_v - case.drop_v) * load / (load + case.source_ohm)
    return over**2 / resistor.ohm


def ladder_losses() -> list[Loss]:
    """Every resistor in every setting that uses it, the short included."""
    losses = [
        Loss(resistor, setting, tuple(power(resistor, together, case) for case in CASES))
        for which in design.SETS
        for setting, together in rungs(which)
        for resistor in together
    ]
    short = tuple(
        (case.rail_v * design.SHORT.ohm / (design.SHORT.ohm + case.source_ohm)) ** 2
        / design.SHORT.ohm
        for case in CASES
    )
    return [*losses, Loss(design.SHORT, "short", short)]


def worst_losses() -> list[Loss]:
    """For each resistor the largest value of each case over all settings."""
    ordered = sorted(ladder_losses(), key=lambda loss: int(loss.resistor.name[1:]))
    groups = itertools.groupby(ordered, key=lambda loss: loss.resistor.name)
    result = []
    for _, group in groups:
        losses = list(group)
        watts = tuple(max(loss.watts[at] for loss in losses) for at in range(len(CASES)))
        result.append(Loss(losses[0].resistor, "", watts))
    return result


def code_losses() -> list[Loss]:
    """Cable coding: a charger that pulls up, and 12.6 V or 15 V straight on the contact."""
    result = []
    for code, resistor in design.CABLE.items():
        share = resistor.ohm / (resistor.ohm + design.CODE_PULL_UP_OHM)
        pulled = (design.CODE_RAIL_V * share) ** 2 / resistor.ohm
        direct = tuple(v**2 / resistor.ohm for v in (design.RAIL_MAX_V, design.FAULT_V))
        result.append(Loss(resistor, code, (pulled, *direct)))
    return result


def all_closed_a() -> float:
    """Current through diode and return if every contact of the ladder sticks on 15 V."""
    conductance = sum(1.0 / part.ohm for role in design.LADDER.values() for part in role.values())
    return design.FAULT_V * conductance
