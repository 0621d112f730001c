"""What to look for in an archive, and what a list of runs shows."""

from dataclasses import dataclass
from datetime import datetime

from rungbench.archive.record import RunVerdict


@dataclass(frozen=True, slots=True)
class Search:
    """Conditions that all hold; ``None`` does not restrict.

    `maker` is compared whole, `serial` from its beginning, both without regard to case.
    `before` is the `number` of the last run of the page before.
    """

    maker: str | None = None
    serial: str | None = None
    verdict: RunVerdict | None = None
    since: datetime | None = None
    before: int | None = None
    limit: int = 50


@dataclass(frozen=True, slots=True)
class RunSummary:
    """One line of a list; `number` counts the runs of one archive upwards.

    `finished` is ``None`` for a run without an end, whose verdict comes from the checks so far.
    """

    number: int
    run_id: str
    simulated: bool
    started: datetime
    finished: datetime | None
    maker: str
    model: str
    serial: str
    plan: str
    profile: str
    operator: str
    verdict: RunVerdict
    interrupted: str | None
