"""The archive: runs, check by check, in one file.

Each call that writes is one transaction: after a kill in the middle of a check
all checks before it are there, once each.  Nothing is ever changed or removed.
"""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from types import TracebackType
from typing import Any, Self

import sqlalchemy as sa

from pilotsignal.capture import Capture, EdgeRecord
from rungbench.archive import database, schema
from rungbench.archive.describing import Described, describe, restore
from rungbench.archive.errors import ArchiveError
from rungbench.archive.reading import find_runs, load_capture, load_record, number_of
from rungbench.archive.record import (
    NOTHING,
    CheckResult,
    Record,
    RunHeader,
    RunVerdict,
    require_utc,
    run_verdict,
    utc_now,
)
from rungbench.archive.rows import check_row, header_row, measured_rows, plain
from rungbench.archive.search import RunSummary, Search

_SIMULATED = "simulated"


def open_archive(
    path_or_url: str | Path, simulated: bool | None = None, *, create: bool = True
) -> "Archive":
    """Open an archive, and make it where there is none.

    Parameters
    ----------
    path_or_url : file, or ``sqlite:///FILE``.
    simulated : whether it must be a demo archive (or must not be); ``None`` takes either and
        never makes one.
    create : whether to make the file if it is missing.

    Raises
    ------
    ArchiveError : it cannot be opened, is damaged, newer than this program, or of the other kind.
    """
    path = _path_of(path_or_url)
    if create and simulated is not None:
        database.create_file(path)
    if not path.is_file():
        raise ArchiveError(f"There is no archive at {path}; the first run makes one.")
    engine = database.connect(path)
    try:
        with database.explained(path):
            found = _prepare(engine, path, simulated)
        _same_kind(found, simulated, path)
    except BaseException:
        engine.dispose()
        raise
    return Archive(engine, path, found)


def _path_of(path_or_url: str | Path) -> Path:
    text = str(path_or_url)
    if not text.strip():
        raise ArchiveError("No archive is named; name a file.")
    if text.startswith("sqlite:///"):
        text = text.removeprefix("sqlite:///")
    elif "://" in text:
        scheme = text.split("://", 1)[0]
        raise ArchiveError(f"An archive at {scheme}:// is not supported; name a file.")
    path = Path(text).expanduser()
    if path.is_dir():
        raise ArchiveError(f"{path} is a folder; name the archive's file in it.")
    if path.exists() and not path.is_file():
        raise ArchiveError(f"{path} is a device and no file; name a file.")
    return path


def _prepare(engine: sa.Engine, path: Path, simulated: bool | None) -> bool:
    """Bring the schema up to date; returns whether it is a demo archive."""
    with engine.connect() as connection:
        version = database.revision(connection, path)
    if version == schema.HEAD:
        with engine.connect() as connection:
            return _info(connection)[_SIMULATED] == "yes"
    if version is None and simulated is None:
        raise ArchiveError(f"The archive {path} is empty; the first run fills it.")
    if version is not None:
        database.refuse_newer(version, path)
    with database.explained(path):
        database.keep_journal(engine)
    with engine.connect().execution_options(writes=True) as connection, connection.begin():
        # Again, now that nobody else can: two programs may have started at once.
        if database.revision(connection, path) != schema.HEAD:
            database.upgrade(connection)
        info = _info(connection)
        if _SIMULATED not in info:
            info[_SIMULATED] = "yes" if simulated else "no"
            made = {_SIMULATED: info[_SIMULATED], "made": utc_now().isoformat()}
            rows = [{"name": name, "value": value} for name, value in made.items()]
            connection.execute(schema.archive_info.insert(), rows)
    return info[_SIMULATED] == "yes"


def _info(connection: sa.Connection) -> dict[str, str]:
    table = schema.archive_info
    return dict(connection.execute(sa.select(table.c.name, table.c.value)).all())


def _same_kind(found: bool, wanted: bool | None, path: Path) -> None:
    if wanted is None or wanted is found:
        return
    if found:
        raise ArchiveError(
            f"{path} is a demo archive of simulated runs; name another for real ones."
        )
    raise ArchiveError(f"{path} is an archive of real runs; name another for simulated ones.")


class Archive:
    """An open archive; `open_archive` makes one.  May be used from several threads."""

    def __init__(self, engine: sa.Engine, path: Path, simulated: bool) -> None:
        self._engine = engine
        self._numbers: dict[str, int] = {}
        self.path = path
        self.simulated = simulated

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
        """Let go of the file."""
        self._engine.dispose()

    def begin(self, header: RunHeader) -> None:
        """Enter a run that is about to start.

        Raises
        ------
        ArchiveError : a simulated run in an archive of real ones or the other way round; the id is
            taken; the file cannot be written.
        """
        _same_kind(self.simulated, header.simulated, self.path)
        with self._writing() as connection:
            result = connection.execute(schema.runs.insert().values(**header_row(header)))
            (self._numbers[header.run_id],) = result.inserted_primary_key or (0,)

    def add_capture(self, run_id: str, recorded: Capture | EdgeRecord, name: str) -> str:
        """Store what was recorded under a `name` of its own in the run; returns its key.

        Equal content is stored once, whatever run or check it belongs to.
        """
        described = describe(recorded)
        with self._writing() as connection:
            run = self._number(connection, run_id)
            _keep(connection, described)
            link = {"run": run, "name": name, "capture": described.key}
            connection.execute(schema.run_captures.insert().values(**link))
        return described.key

    def add_check(self, run_id: str, result: CheckResult) -> None:
        """Store a finished check, whole or not at all; once this returns it survives a kill.

        Raises
        ------
        ArchiveError : this attempt is stored already, a capture of it is not stored, or the file
            cannot be written: nothing of the check is stored then.
        """
        with self._writing() as connection:
            run = self._number(connection, run_id)
            inserted = connection.execute(schema.checks.insert().values(**check_row(run, result)))
            (check,) = inserted.inserted_primary_key or (0,)
            rows = measured_rows(run, check, result)
            _insert(connection, schema.quantities, rows.quantities)
            _insert(connection, schema.budgets, rows.budgets)
            _insert(connection, schema.judgements, rows.judgements)
            links = [
                {"check": check, "position": at, "capture": key}
                for at, key in enumerate(result.captures)
            ]
            _insert(connection, schema.check_captures, links)

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
        if verdict is RunVerdict.PASS:
            stored = run_verdict(self.load(run_id).checks, interrupted)
            if stored is not RunVerdict.PASS:
                raise ValueError(f"run {run_id} cannot pass: its checks say {stored}")
        with self._writing() as connection:
            end = {
                "run": self._number(connection, run_id),
                "verdict": verdict.value,
                "finished": finished,
                "interrupted": interrupted,
                "make_safe": plain(make_safe),
            }
            connection.execute(schema.run_ends.insert().values(**end))

    def find(self, search: Search) -> tuple[RunSummary, ...]:
        """Runs that fit, the newest first, at most `search.limit` of them."""
        with self._reading() as connection:
            return find_runs(connection, search)

    def count(self) -> int:
        """How many runs there are."""
        with self._reading() as connection:
            return connection.scalar(sa.select(sa.func.count()).select_from(schema.runs)) or 0

    def load(self, run_id: str) -> Record:
        """One run by its id or the beginning of it.

        Raises
        ------
        NoSuchRecord : none goes by it, or more than one.
        """
        with self._reading() as connection:
            return load_record(connection, number_of(connection, run_id))

    def load_capture(self, key: str) -> Capture | EdgeRecord:
        """A capture by its key, the hash of its samples, or the beginning of either.

        Raises
        ------
        NoSuchRecord : none goes by it, or more than one.
        ArchiveError : its content is damaged.
        """
        with self._reading() as connection:
            described = load_capture(connection, key)
        try:
            return restore(described)
        except ValueError as problem:
            raise ArchiveError(
                f"Capture {described.key} in {self.path} is damaged ({problem}); use a copy of "
                "the archive."
            ) from problem

    def _number(self, connection: sa.Connection, run_id: str) -> int:
        if run_id not in self._numbers:
            self._numbers[run_id] = number_of(connection, run_id)
        return self._numbers[run_id]

    @contextmanager
    def _writing(self) -> Iterator[sa.Connection]:
        with (
            database.explained(self.path),
            self._engine.connect().execution_options(writes=True) as connection,
            connection.begin(),
        ):
            yield connection

    @contextmanager
    def _reading(self) -> Iterator[sa.Connection]:
        with database.explained(self.path), self._engine.connect() as connection:
            yield connection


def _insert(connection: sa.Connection, table: sa.Table, rows: Any) -> None:
    if rows:
        connection.execute(table.insert(), list(rows))


def _keep(connection: sa.Connection, described: Described) -> None:
    packed, contents, captures = described.packed, schema.contents, schema.captures
    known = connection.scalar(
        sa.select(contents.c.sha256).where(contents.c.sha256 == packed.sha256)
    )
    if known is None:
        names = ("sha256", "codec", "dtype", "length", "data")
        connection.execute(
            contents.insert().values({name: getattr(packed, name) for name in names})
        )
    known = connection.scalar(
        sa.select(captures.c.sha256).where(captures.c.sha256 == described.key)
    )
    if known is None:
        row = {
            "sha256": described.key,
            "kind": described.kind,
            "content": packed.sha256,
            "description": dict(described.description),
        }
        connection.execute(captures.insert().values(**row))
