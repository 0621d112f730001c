"""The decision about a lot, as soon as it is certain and not before."""

from dataclasses import dataclass
from enum import StrEnum

from rungbench.lots.sampling import SamplingPlan


class Outcome(StrEnum):
    """What is known of one unit of the sample."""

    PASS = "pass"
    FAIL = "fail"
    UNDECIDED = "undecided"
    UNTESTED = "untested"


class LotDecision(StrEnum):
    """What becomes of the lot."""

    ACCEPT = "accept"
    REJECT = "reject"
    OPEN = "open"


@dataclass(frozen=True, slots=True)
class Tally:
    """Units of the sample by what is known of them."""

    passed: int = 0
    failed: int = 0
    undecided: int = 0
    untested: int = 0

    @property
    def total(self) -> int:
        return self.passed + self.failed + self.undecided + self.untested

    @property
    def tested(self) -> int:
        """Units with a complete run, undecided ones among them."""
        return self.total - self.untested


@dataclass(frozen=True, slots=True)
class Standing:
    """Where a lot stands, and why in a sentence."""

    decision: LotDecision
    tally: Tally
    why: str


@dataclass(frozen=True, slots=True)
class Counted:
    """The sample with every unit that is open counted one way, and what it would come to."""

    nonconforming: int
    decision: LotDecision


def both_ways(plan: SamplingPlan, tally: Tally) -> tuple[Counted, Counted]:
    """Units that are undecided or untested counted as passed, and counted as failed."""
    still = tally.undecided + tally.untested
    return _counted(plan, tally.failed), _counted(plan, tally.failed + still)


def _counted(plan: SamplingPlan, nonconforming: int) -> Counted:
    accepted = nonconforming <= plan.accept
    return Counted(nonconforming, LotDecision.ACCEPT if accepted else LotDecision.REJECT)


def decide(plan: SamplingPlan, tally: Tally) -> Standing:
    """Count every unit that is open both ways; where that changes nothing, it is decided.

    Rejected as soon as `reject` units failed, since no other unit can undo that.  Accepted as
    soon as no more than `accept` units would have failed even if all that are undecided or
    untested did.  Anything else is open.

    Raises
    ------
    ValueError : the tally is not that of the plan's sample.
    """
    if tally.total != plan.sample_size or min(_counts(tally)) < 0:
        raise ValueError(f"a tally of {tally.total} is not that of {plan.sample_size} units")
    if tally.failed >= plan.reject:
        why = f"{_units(tally.failed)} failed; {plan.reject} or more reject the lot."
        return Standing(LotDecision.REJECT, tally, why)
    if tally.failed + tally.undecided + tally.untested <= plan.accept:
        return Standing(LotDecision.ACCEPT, tally, _why_accepted(plan, tally))
    return Standing(LotDecision.OPEN, tally, _why_open(plan, tally))


def _counts(tally: Tally) -> tuple[int, ...]:
    return tally.passed, tally.failed, tally.undecided, tally.untested


def _why_accepted(plan: SamplingPlan, tally: Tally) -> str:
    left = tally.undecided + tally.untested
    if left == 0:
        return f"{_units(tally.failed)} of {plan.sample_size} failed; up to {plan.accept} may."
    still = "1 is" if left == 1 else f"{left} are"
    return (
        f"{_units(tally.failed)} failed and {still} not decided; even with all of those failed "
        f"no more than {plan.accept} would."
    )


def _why_open(plan: SamplingPlan, tally: Tally) -> str:
    still = plan.accept - tally.failed
    if tally.untested == 0:
        return (
            f"All units are tested, but {tally.undecided} of them are undecided and {still} more "
            "may fail: passed they accept the lot, failed they reject it."
        )
    undecided = f" and {tally.undecided} undecided" if tally.undecided else ""
    return (
        f"{tally.untested} of {_units(plan.sample_size)} untested{undecided}, {tally.failed} "
        f"failed; up to {plan.accept} may."
    )


def _units(count: int) -> str:
    return f"{count} unit" if count == 1 else f"{count} units"
