"""The archive: runs, check by check, in one file or on a server.

Each call that writes is one transaction: after a kill in the middle of a check
all checks before it are there, once each.  Nothing is ever changed or removed.
"""

import logging
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import sqlalchemy as sa

from pilotsignal.capture import Capture, EdgeRecord
from rungbench.archive import links, schema, witness
from rungbench.archive.chain import Kind
from rungbench.archive.describing import Described, describe, restore
from rungbench.archive.errors import ArchiveError
from rungbench.archive.faults import explained
from rungbench.archive.kept import is_kept
from rungbench.archive.listing import find_runs
from rungbench.archive.opening import open_engine, require_same_kind
from rungbench.archive.reading import load_capture, load_record, load_records, number_of
from rungbench.archive.record import (
    NOTHING,
    CheckResult,
    Record,
    RunHeader,
    RunVerdict,
    require_utc,
    run_verdict,
)
from rungbench.archive.search import RunSummary, Search
from rungbench.archive.writing import (
    End,
    insert_check,
    insert_end,
    insert_run,
    keep_capture,
    name_capture,
)
from rungbench.errors import RungbenchError
from rungbench.paths import Place
from rungbench.settings import place_of

_log = logging.getLogger(__name__)

# Writes what goes in together with a run, given its number.
Beside = Callable[[sa.Connection, int], None]


@dataclass(frozen=True, slots=True)
class Entered:
    """A record, and its hash as it stands in its bench's chain; empty for one without an end."""

    record: Record
    sha256: str


def open_archive(
    path_or_url: str | Place, simulated: bool | None = None, *, create: bool = True
) -> "Archive":
    """Open an archive, and make it where there is none.

    Parameters
    ----------
    path_or_url : file, ``sqlite:///FILE``, or ``postgresql+psycopg://USER@SERVER/DATABASE``.
    simulated : whether it must be a demo archive (or must not be); ``None`` takes either and
        never makes one.
    create : whether to make the file if it is missing.

    Raises
    ------
    ArchiveError : it cannot be opened, lies on a network share, is damaged, newer than this
        program, or of the other kind.
    """
    place = _place(path_or_url)
    return Archive(*open_engine(place, simulated, create=create), place)


def _place(path_or_url: str | Place) -> Place:
    if isinstance(path_or_url, str):
        try:
            return place_of(path_or_url)
        except RungbenchError as problem:
            raise ArchiveError(str(problem)) from problem
    return path_or_url


class Archive:
    """An open archive; `open_archive` makes one.  May be used from several threads."""

    def __init__(self, engine: sa.Engine, simulated: bool, place: Place) -> None:
        self._engine = engine
        self._numbers: dict[str, int] = {}
        self.place = place
        self.simulated = simulated

    @property
    def path(self) -> Path:
        """The file.

        Raises
        ------
        ArchiveError : the archive lies on a server.
        """
        if isinstance(self.place, Path):
            return self.place
        raise ArchiveError(f"The archive {self.place} is no file; name one.")

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        problem: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def close(self) -> None:
        """Let go of the file or the server."""
        self._engine.dispose()

    def begin(self, header: RunHeader, beside: Beside | None = None) -> None:
        """Enter a run that is about to start, and in the same transaction what belongs `beside` it.

        Raises
        ------
        ArchiveError : a simulated run in an archive of real ones or the other way round; the id is
            taken; the file cannot be written.
        """
        require_same_kind(self.simulated, header.simulated, self.place)
        with self.writing() as connection:
            number = insert_run(connection, header)
            if beside is not None:
                beside(connection, number)
            links.enter_begin(connection, number)
        self._numbers[header.run_id] = number

    def add_capture(self, run_id: str, recorded: Capture | EdgeRecord, name: str) -> str:
        """Store what was recorded under a `name` of its own in the run; returns its key.

        Equal content is stored once, whatever run or check it belongs to.
        """
        described = describe(recorded)
        self.add_described(run_id, described, name)
        return described.key

    def add_described(self, run_id: str, described: Described, name: str) -> None:
        """As `add_capture`, of one that was taken apart already."""
        with self.writing() as connection:
            run = self._number(connection, run_id)
            keep_capture(connection, described)
            name_capture(connection, run, name, described.key)

    def keep(self, connection: sa.Connection, described: Described) -> None:
        """Keep a capture that no run names yet, in a transaction of `writing`."""
        keep_capture(connection, described)

    def add_check(self, run_id: str, result: CheckResult) -> None:
        """Store a finished check, whole or not at all; once this returns it survives a kill.

        Raises
        ------
        ArchiveError : this attempt is stored already, a capture of it is not stored, or the file
            cannot be written: nothing of the check is stored then.
        """
        with self.writing() as connection:
            run = self._number(connection, run_id)
            insert_check(connection, run, result)
            links.enter_more(connection, run, run_id)

    def finish(
        self,
        run_id: str,
        verdict: RunVerdict,
        finished: datetime,
        interrupted: str | None = None,
        make_safe: Mapping[str, Any] = NOTHING,
    ) -> None:
        """Enter the end of a run.

        Raises
        ------
        ValueError : a pass that the stored checks do not give, or a time without zone.
        ArchiveError : the run has an end already, or the file cannot be written.
        """
        require_utc("finished", finished)
        end = End(verdict, finished, interrupted, make_safe)
        with self.writing() as connection:
            run = self._number(connection, run_id)
            if verdict is RunVerdict.PASS:
                stored = run_verdict(load_record(connection, run).checks, interrupted)
                if stored is not RunVerdict.PASS:
                    raise ValueError(f"run {run_id} cannot pass: its checks say {stored}")
            insert_end(connection, run, end)
            links.enter_record(connection, run, Kind.ENDED)
        self._note()

    def add_derived(self, record: Record) -> None:
        """Enter a record that was made from another one: all of it, in one transaction.

        Raises
        ------
        ValueError : it does not say from which, or has no end.
        ArchiveError : its id is taken, a capture of it is not here, or the archive cannot be
            written.
        """
        if record.header.origin is None or record.finished is None:
            raise ValueError(f"record {record.run_id} is not derived from a finished one")
        require_same_kind(self.simulated, record.header.simulated, self.place)
        end = End(record.verdict, record.finished, record.interrupted, record.make_safe)
        with self.writing() as connection:
            run = insert_run(connection, record.header)
            for name, key in record.capture_names:
                name_capture(connection, run, name, key)
            for result in record.checks:
                insert_check(connection, run, result)
            insert_end(connection, run, end)
            links.enter_record(connection, run, Kind.DERIVED)
        self._note()

    def _note(self) -> None:
        """Note what was written last, apart from the archive; a failure to changes nothing."""
        if isinstance(self.place, Path) and is_kept(self.place):
            return
        try:
            with self.reading() as connection:
                witness.note(connection, self.place)
        except ArchiveError as problem:
            _log.warning("the heads of chains were not noted: %s", problem)

    def shrink(self) -> None:
        """Give room that is no longer used back to the disk; a server does so by itself.

        Raises
        ------
        ArchiveError : there is not enough room to work in, or somebody else is at the file.
        """
        if isinstance(self.place, Path):
            with explained(self.place), self._engine.connect() as connection:
                raw = connection.connection.cursor()
                raw.execute("VACUUM")
                raw.execute("PRAGMA wal_checkpoint(TRUNCATE)")

    def find(self, search: Search) -> tuple[RunSummary, ...]:
        """Runs that fit, the newest first, at most `search.limit` of them."""
        with self.reading() as connection:
            return find_runs(connection, search)

    def every(self, search: Search, batch: int = 100) -> Iterator[Entered]:
        """All runs that fit, the oldest first, with all that `load` gives.

        Never more than a batch of them is in memory.  What begins meanwhile comes last or not at
        all.  `search` says what fits; where its page begins and ends does not count.
        """
        after: int | None = search.after
        while True:
            page = replace(search, oldest=True, after=after, before=None, limit=batch)
            with self.reading() as connection:
                numbers = [one.number for one in reversed(find_runs(connection, page))]
                records = load_records(connection, numbers) if numbers else ()
                hashes = links.entered_hashes(connection, [one.run_id for one in records])
            for record in records:
                yield Entered(record, hashes.get(record.run_id, ""))
            if len(numbers) < batch:
                return
            after = numbers[-1]

    def count(self) -> int:
        """How many runs there are."""
        with self.reading() as connection:
            return connection.scalar(sa.select(sa.func.count()).select_from(schema.runs)) or 0

    def load(self, run_id: str) -> Record:
        """One run by its id or the beginning of it.

        Raises
        ------
        NoSuchRecord : none goes by it, or more than one.
        """
        with self.reading() as connection:
            return load_record(connection, number_of(connection, run_id))

    def load_capture(self, key: str) -> Capture | EdgeRecord:
        """A capture by its key, the hash of its samples, or the beginning of either.

        Raises
        ------
        NoSuchRecord : none goes by it, or more than one.
        ArchiveError : its content is damaged.
        """
        with self.reading() as connection:
            described = load_capture(connection, key)
        try:
            return restore(described)
        except ValueError as problem:
            raise ArchiveError(
                f"Capture {described.key} in {self.place} is damaged ({problem}); use a copy of "
                "the archive."
            ) from problem

    def _number(self, connection: sa.Connection, run_id: str) -> int:
        if run_id not in self._numbers:
            self._numbers[run_id] = number_of(connection, run_id)
        return self._numbers[run_id]

    @contextmanager
    def writing(self) -> Iterator[sa.Connection]:
        """One transaction that writes: all of it or nothing.

        Raises
        ------
        ArchiveError : the file cannot be written, or the rows contradict what is in it.
        """
        with (
            explained(self.place),
            self._engine.connect().execution_options(writes=True) as connection,
            connection.begin(),
        ):
            yield connection

    @contextmanager
    def reading(self) -> Iterator[sa.Connection]:
        """One look at the file as it is now."""
        with explained(self.place), self._engine.connect() as connection:
            yield connection
