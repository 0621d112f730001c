"""The summary of a shift: how many were tested, what failed, who did it; no Qt."""

from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Final

import sqlalchemy as sa

from pilotsignal.judge import Verdict
from rungbench.archive import schema
from rungbench.archive.record import RunVerdict
from rungbench.archive.rows import search_key
from rungbench.archive.search import RunSummary, Search
from rungbench.archive.store import Archive, open_archive
from rungbench.errors import WrongUse
from rungbench.paths import Place

_PAGE: Final = 500
_LONGEST_S: Final = 16 * 3600.0


@dataclass(frozen=True, slots=True)
class Share:
    """How many runs one operator did, and how they came out."""

    name: str
    runs: int
    passed: int
    failed: int
    other: int


@dataclass(frozen=True, slots=True)
class Shift:
    """A shift since `since`.

    `chargers` counts serial numbers, `faults` failed checks by title, the most frequent first;
    `newest` are its runs, the newest first.
    """

    since: datetime
    runs: int = 0
    chargers: int = 0
    by_verdict: tuple[tuple[RunVerdict, int], ...] = ()
    faults: tuple[tuple[str, int], ...] = ()
    operators: tuple[Share, ...] = ()
    newest: tuple[RunSummary, ...] = ()

    def count(self, verdict: RunVerdict) -> int:
        """How many runs came to a verdict."""
        return dict(self.by_verdict).get(verdict, 0)


def shift_of(archive: Place, simulated: bool, since: datetime) -> Shift:
    """The shift so far, from the archive; it survives a restart of the program.

    Raises
    ------
    ArchiveError : the archive cannot be read.
    """
    if not archive.exists():
        return Shift(since)
    with open_archive(archive, simulated, create=False) as opened:
        runs = _since(opened, since)
        failed = [one.number for one in runs if one.verdict is RunVerdict.FAIL]
        faults = Counter(_failed(opened, failed))
    return summed(since, runs, sorted(faults.items(), key=lambda one: (-one[1], one[0])))


def summed(
    since: datetime, runs: tuple[RunSummary, ...], faults: Iterable[tuple[str, int]] = ()
) -> Shift:
    """The summary of these runs."""
    verdicts = Counter(one.verdict for one in runs)
    names = sorted({one.operator for one in runs}, key=search_key)
    return Shift(
        since=since,
        runs=len(runs),
        chargers=len({search_key(one.serial) for one in runs}),
        by_verdict=tuple((verdict, verdicts[verdict]) for verdict in RunVerdict),
        faults=tuple(faults),
        operators=tuple(_share(name, runs) for name in names),
        newest=runs,
    )


def still_going(began: str, now: datetime) -> datetime:
    """When the shift began: one that nobody ended goes on after a restart on the same day."""
    try:
        since = datetime.fromisoformat(began)
    except ValueError:
        return now
    fresh = since.tzinfo is not None and 0.0 <= (now - since).total_seconds() < _LONGEST_S
    return since if fresh else now


def moment_of(text: str, now: datetime) -> datetime:
    """When a shift began, as people write it, in UTC: ``06:00`` or ``2025-07-31 06:00``.

    A time alone is the last one that has passed.

    Raises
    ------
    WrongUse : it is neither, or lies ahead.
    """
    written = text.strip()
    day = now.astimezone(UTC).date().isoformat()
    alone = len(written) <= len("06:00")
    try:
        moment = datetime.fromisoformat(f"{day} {written.zfill(5)}" if alone else written)
    except ValueError:
        raise WrongUse(
            f"{text!r} is no time; write it as 06:00 or 2025-07-31 06:00 (UTC)."
        ) from None
    moment = moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment.astimezone(UTC)
    if alone and moment > now:
        moment -= timedelta(days=1)
    if moment > now:
        raise WrongUse(f"{text!r} lies ahead; a shift began before now.")
    return moment


def _since(archive: Archive, since: datetime) -> tuple[RunSummary, ...]:
    found: list[RunSummary] = []
    before: int | None = None
    while page := archive.find(Search(since=since, before=before, limit=_PAGE)):
        found += page
        before = page[-1].number
    return tuple(found)


def _failed(archive: Archive, runs: list[int]) -> Iterator[str]:
    """Titles of the checks that these runs failed, each once a run, whatever its attempts."""
    checks = schema.checks.c
    for first in range(0, len(runs), _PAGE):
        some = runs[first : first + _PAGE]
        query = (
            sa.select(checks.run, checks.check_id, checks.title)
            .where(checks.run.in_(some), checks.verdict == Verdict.FAIL.value)
            .distinct()
        )
        with archive.reading() as connection:
            yield from [title for _run, _check, title in connection.execute(query)]


def _share(name: str, runs: tuple[RunSummary, ...]) -> Share:
    own = [one.verdict for one in runs if one.operator == name]
    passed, failed = own.count(RunVerdict.PASS), own.count(RunVerdict.FAIL)
    return Share(name, len(own), passed, failed, len(own) - passed - failed)
