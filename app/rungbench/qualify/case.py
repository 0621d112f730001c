"""What a check gets to judge by, and what it finds."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from types import MappingProxyType
from typing import Final

from pilotsignal.grounds import Need, need_of
from pilotsignal.judge import Grounds, Judgement, Limit, Verdict, judge, withheld
from pilotsignal.quantity import Quantity
from pilotsignal.standard import Profile
from rungbench.archive.record import ChargerIdentity
from rungbench.link.messages import Identity
from rungbench.link.words import Setting
from rungbench.qualify.evidence import Evidence
from rungbench.standin.calibration import BenchCalibration

_ORDER: Final = (
    Verdict.FAIL,
    Verdict.BENCH_FAULT,
    Verdict.UNDECIDED,
    Verdict.NOT_RUN,
    Verdict.PASS,
    Verdict.OBSERVED,
)
_NOTHING: Final[Mapping[str, str]] = MappingProxyType({})
_NO_LEVELS: Final[Mapping[Setting, Evidence]] = MappingProxyType({})


@dataclass(frozen=True, slots=True, eq=False)
class Bench:
    """What stays the same through a run."""

    charger: ChargerIdentity
    profile: Profile
    calibration: BenchCalibration
    identity: Identity
    on: date

    @property
    def grounds(self) -> Grounds:
        """What voltages and frequencies of this bench stand on."""
        known = self.calibration
        return Grounds(known.volts, known.time_base, self.on, self.identity.simulated)

    def doubt(self, unit: str) -> str:
        """Why this bench may not judge what is in `unit` now, or nothing."""
        return self.calibration.doubts.get("volts", "") if need_of(unit) is Need.VOLTS else ""


@dataclass(frozen=True, slots=True, eq=False)
class Case:
    """A check's evidence; `against` is that of the earlier step it compares with.

    `levels` are the last observations so far of each setting that the run has presented.
    """

    bench: Bench
    evidence: Evidence
    against: Evidence | None = None
    levels: Mapping[Setting, Evidence] = field(default_factory=lambda: _NO_LEVELS)

    @property
    def profile(self) -> Profile:
        return self.bench.profile

    def judge(self, quantity: Quantity | None, limit: Limit, missing: str = "") -> Judgement:
        """Judge a quantity on this bench; without one the check was not run."""
        doubt = self.bench.doubt(limit.unit)
        if doubt and quantity is not None:
            return Judgement(Verdict.UNDECIDED, f"uncalibrated: {doubt}", quantity, limit)
        return judge(quantity, limit, missing_why=missing, grounds=self.bench.grounds)

    def missing(self, name: str) -> tuple[Verdict, str]:
        """Why the evidence carries no quantity `name`."""
        if not self.evidence.pulsing:
            return (
                Verdict.NOT_RUN,
                f"The charger offered no PWM on {self.evidence.where}; "
                "authorise it if it waits for that, and run again.",
            )
        notices = self.evidence.measurement.notices if self.evidence.measurement else ()
        said = " ".join(notice.text for notice in notices)
        return Verdict.UNDECIDED, said or f"The record does not carry {name}."

    def judge_measured(self, name: str, limit: Limit) -> Judgement:
        """Judge a quantity of the evidence's measurement by its name."""
        measurement = self.evidence.measurement
        quantity = measurement.quantities()[name] if measurement else None
        if quantity is None:
            return withheld(limit, *self.missing(name))
        return self.judge(quantity, limit)


@dataclass(frozen=True, slots=True)
class Finding:
    """What a check found.

    `certain` says that a fail was seen and does not rest on anything that may have got lost on
    the link.
    """

    judgements: tuple[Judgement, ...] = ()
    quantities: tuple[Quantity, ...] = ()
    observations: Mapping[str, str] = field(default_factory=lambda: _NOTHING)
    verdict: Verdict = Verdict.NOT_RUN
    why: str = ""
    certain: bool = False

    @property
    def measured(self) -> tuple[Quantity, ...]:
        """All quantities, those that were judged first, each once."""
        judged = [one.quantity for one in self.judgements if one.quantity is not None]
        return tuple({one.name: one for one in (*judged, *self.quantities)}.values())

    @property
    def near_limit(self) -> bool:
        """Whether a longer look may decide: a value too close to its limit."""
        return self.verdict is Verdict.UNDECIDED and any(
            judgement.verdict is Verdict.UNDECIDED and judgement.conformance_probability is not None
            for judgement in self.judgements
        )


def found(
    *judgements: Judgement,
    quantities: tuple[Quantity, ...] = (),
    observations: Mapping[str, str] = _NOTHING,
    certain: bool = False,
) -> Finding:
    """Finding whose verdict is the worst of its judgements."""
    worst = min(judgements, key=lambda judgement: _ORDER.index(judgement.verdict))
    return Finding(judgements, quantities, observations, worst.verdict, worst.why, certain)


def without(verdict: Verdict, why: str) -> Finding:
    """Finding of a check that had nothing to judge."""
    return Finding(verdict=verdict, why=why)


def observed(why: str, *quantities: Quantity, **observations: str) -> Finding:
    """Finding that never decides: there is no clause to judge by."""
    return Finding(
        quantities=quantities,
        observations=MappingProxyType(observations),
        verdict=Verdict.OBSERVED,
        why=why,
    )
