"""Pages of the list of records: first, next, back, last, each by one keyset query; no Qt."""

import time
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any, Final

from rungbench.archive.errors import NoSuchRecord
from rungbench.archive.record import RunVerdict
from rungbench.archive.search import RunSummary, Search
from rungbench.archive.store import Archive
from rungbench.desktop.paging import ROWS, Page, Turn, shown_of, turned
from rungbench.errors import WrongUse

_SHORTEST_ID: Final = 3


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is looked for; empty texts restrict nothing.

    `text` is the beginning of a serial number, or of a record's id if no serial number fits.
    `since`, `until` are days as people write them, the second inside, in UTC.
    """

    text: str = ""
    maker: str = ""
    verdict: RunVerdict | None = None
    since: str = ""
    until: str = ""

    def search(self) -> Search:
        """The conditions of a page.

        Raises
        ------
        WrongUse : a day that is none.
        """
        until = _day(self.until, "until")
        return Search(
            maker=self.maker.strip() or None,
            serial=self.text.strip() or None,
            verdict=self.verdict,
            since=_day(self.since, "since"),
            until=None if until is None else until + timedelta(days=1),
            limit=ROWS + 1,
        )


def page(
    archive: Archive, wanted: Wanted, turn: Turn, now: Page[RunSummary] | None = None
) -> Page[RunSummary]:
    """The page that lies in that direction from `now`.

    Raises
    ------
    ArchiveError : the archive cannot be read.
    WrongUse : a day that is none.
    """
    began = time.perf_counter()
    search = wanted.search()

    def find(**place: Any) -> tuple[RunSummary, ...]:
        return archive.find(replace(search, **place))

    found = turned(find, lambda run: run.number, turn, now)
    if not found.rows and turn is Turn.FIRST:
        found = replace(found, rows=_by_id(archive, wanted))
    total = archive.count()
    return replace(found, total=total, took_s=time.perf_counter() - began)


def _by_id(archive: Archive, wanted: Wanted) -> tuple[RunSummary, ...]:
    """The run whose id begins with the text, where nothing else restricts."""
    text = wanted.text.strip().lower()
    if len(text) < _SHORTEST_ID or wanted != Wanted(text=wanted.text):
        return ()
    try:
        record = archive.load(text)
    except NoSuchRecord:
        return ()
    header = record.header
    begin = header.started.replace(microsecond=0)
    near = archive.find(Search(serial=header.charger.serial, since=begin, oldest=True, limit=ROWS))
    return tuple(one for one in near if one.run_id == record.run_id)


def _day(text: str, name: str) -> datetime | None:
    if not text.strip():
        return None
    try:
        day = datetime.fromisoformat(text.strip())
    except ValueError:
        raise WrongUse(f"{name} {text!r} is no day; write it as 2025-07-31.") from None
    return day.replace(tzinfo=UTC) if day.tzinfo is None else day


def page_text(found: Page[RunSummary], wanted: Wanted) -> str:
    """What is shown of how many."""
    if not found.rows:
        return (
            "No record fits." if found.total else "There are no records yet; run a charger first."
        )
    return shown_of(found, restricted=wanted != Wanted())
