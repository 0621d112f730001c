"""The summary of a shift: how many were tested, what failed, who did it; no Qt."""

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Final

from pilotsignal.judge import Verdict
from rungbench.archive.record import RunVerdict
from rungbench.archive.rows import search_key
from rungbench.archive.search import RunSummary, Search
from rungbench.archive.store import Archive, open_archive
from rungbench.paths import Place
from rungbench.report.verdicts import counting

_PAGE: Final = 500
_MOST_LOOKED_AT: Final = 200


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
        failed = [one for one in runs if one.verdict is RunVerdict.FAIL][:_MOST_LOOKED_AT]
        faults = Counter(title for one in failed for title in _failed(opened, one))
    return summed(since, runs, faults.most_common())


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


def _since(archive: Archive, since: datetime) -> tuple[RunSummary, ...]:
    found: list[RunSummary] = []
    before: int | None = None
    while page := archive.find(Search(since=since, before=before, limit=_PAGE)):
        found += page
        before = page[-1].number
    return tuple(found)


def _failed(archive: Archive, summary: RunSummary) -> list[str]:
    checks = counting(archive.load(summary.run_id).checks)
    return [one.title for one in checks if one.verdict is Verdict.FAIL]


def _share(name: str, runs: tuple[RunSummary, ...]) -> Share:
    own = [one.verdict for one in runs if one.operator == name]
    passed, failed = own.count(RunVerdict.PASS), own.count(RunVerdict.FAIL)
    return Share(name, len(own), passed, failed, len(own) - passed - failed)
