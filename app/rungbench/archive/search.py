"""What to look for in an archive, and what a list of runs shows."""

from dataclasses import dataclass
from datetime import datetime

from rungbench.archive.record import RunVerdict


@dataclass(frozen=True, slots=True)
class Search:
    """Conditions that all hold; ``None`` does not restrict.

    `maker` is compared whole, `serial` from its beginning, both without regard to case.
    `since` and `until` are moments at which runs started, the second outside.  `before` is the
    `number` of the last run of the page before, `after` that of the first run of the page behind.
    `oldest` asks for the oldest runs that fit instead of the newest: alone for the last page, with
    `after` for the page before.  Pages are sorted from new to old either way.
    """

    maker: str | None = None
    serial: str | None = None
    verdict: RunVerdict | None = None
    since: datetime | None = None
    until: datetime | None = None
    before: int | None = None
    after: int | None = None
    oldest: bool = False
    limit: int = 50


@dataclass(frozen=True, slots=True)
class RunSummary:
    """One line of a list; `number` counts the runs of one archive upwards.

    `finished` is ``None`` for a run without an end, whose verdict comes from the checks so far.
    `follows` is the record that this one was made from, and `how` in a word.
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
    follows: str | None = None
    how: str | None = None
