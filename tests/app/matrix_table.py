"""The form of the fault matrix: a trait, its own checks, and what else may follow from it.

A trait is set to 1.5, 1.1 and 0.7 times its tolerance: the distance from the nominal value to the
limit of the standard, or the limit itself where there is no nominal value; for a lower limit the
distance below it counts in parts of the limit (1.1 times is 0.9 of the limit).
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass

from matrix_run import IEC, TETHERED, Job, Outcome

from rungbench.archive.record import ChargerIdentity

FACTORS = (1.5, 1.1, 0.7)
REST = "the rest of the plan"
"""Stands for every check that is not reached because the run ends for safety."""


@dataclass(frozen=True, slots=True)
class Follow:
    """What else may come of a trait, and the physics behind it."""

    checks: tuple[str, ...]
    why: str


@dataclass(frozen=True, slots=True)
class Trait:
    """One row: a key of the simulated charger and its values by factor.

    `own` are the checks that must find it.  `also` are keys of a conforming charger on which it
    shows.  `doubtful` says that its uncertainty may take the decision away at 1.5 as well.
    """

    name: str
    key: str
    values: Mapping[float, str]
    own: tuple[str, ...]
    follows: tuple[Follow, ...] = ()
    also: str = ""
    charger: ChargerIdentity = TETHERED
    profile: str = IEC
    doubtful: bool = False

    def __post_init__(self) -> None:
        assert self.own, self.name
        assert len(self.follows) <= 3, self.name

    def job(self, factor: float) -> Job:
        """The run of one factor."""
        keys = "&".join(filter(None, (self.also, f"{self.key}={self.values[factor]}")))
        return Job(keys, self.charger, self.profile)


def by_factor(value: Callable[[float], float]) -> Mapping[float, str]:
    """Values of a trait in physical units, from what it is at a factor."""
    return {factor: f"{value(factor):.6f}" for factor in FACTORS}


def only(value: str) -> Mapping[float, str]:
    """A trait that is there or not: it counts as 1.5 times its tolerance."""
    return {FACTORS[0]: value}


def misses(trait: Trait, factor: float, seen: Outcome) -> list[str]:
    """Own checks that did not say what they must at this factor."""
    allowed = {
        1.5: {"fail", "undecided"} if trait.doubtful else {"fail"},
        1.1: {"fail", "undecided"},
        0.7: {"pass"},
    }[factor]
    return [
        f"{check}: {seen.checks.get(check, 'absent')}"
        for check in trait.own
        if seen.checks.get(check) not in allowed
    ]


def false_alarms(trait: Trait, factor: float, seen: Outcome) -> list[str]:
    """Other checks that said something although nothing in the table lets them."""
    may = {check for follow in trait.follows for check in follow.checks}
    ends = REST in may
    found = []
    for check, verdict in seen.checks.items():
        if check in trait.own or verdict in ("pass", "observed"):
            continue
        if factor > 1.0 and (check in may or (ends and verdict == "not run")):
            continue
        found.append(f"{check}: {verdict}")
    return found
