"""Which run of a unit counts.

The first complete run does.  Another run needs a reason; it takes the place of the first only
where that one said nothing about the charger: it ended in a bench fault, or was broken off
before anything failed.  Whatever counts, all runs stay listed.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from rungbench.archive.record import RunVerdict
from rungbench.lots.decision import Outcome, Tally

_OUTCOMES: Final = {
    RunVerdict.PASS: Outcome.PASS,
    RunVerdict.FAIL: Outcome.FAIL,
    RunVerdict.UNDECIDED: Outcome.UNDECIDED,
}


@dataclass(frozen=True, slots=True)
class LotRun:
    """A run that joined a lot; `reason` says why the unit was tested again."""

    number: int
    run_id: str
    unit: int
    started: datetime
    verdict: RunVerdict
    interrupted: str | None
    operator: str
    reason: str

    @property
    def complete(self) -> bool:
        """Whether it says anything about the charger."""
        return self.verdict in _OUTCOMES


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit of the sample with its runs, the oldest first; `serial` is empty until it is known."""

    number: int
    serial: str
    runs: tuple[LotRun, ...] = ()

    @property
    def counts(self) -> LotRun | None:
        """The run that counts, if one does yet."""
        return first_complete(self.runs)

    @property
    def outcome(self) -> Outcome:
        """What is known of the unit."""
        run = self.counts
        return Outcome.UNTESTED if run is None else _OUTCOMES[run.verdict]


def first_complete(runs: Sequence[LotRun]) -> LotRun | None:
    """The first run, in the order of joining, that says anything about the charger."""
    return next((run for run in runs if run.complete), None)


def tally_of(units: Iterable[Unit]) -> Tally:
    """Units by what is known of them."""
    outcomes = [unit.outcome for unit in units]
    return Tally(
        passed=outcomes.count(Outcome.PASS),
        failed=outcomes.count(Outcome.FAIL),
        undecided=outcomes.count(Outcome.UNDECIDED),
        untested=outcomes.count(Outcome.UNTESTED),
    )
