"""One SQLite file: opened, created, brought up to date, its errors explained.

Every transaction that is committed survives a kill and a loss of power (WAL,
``synchronous=FULL``).  Alembic is imported only for a file that is not up to
date: it costs a third of a second.
"""

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa
from sqlalchemy.exc import DBAPIError, IntegrityError

from rungbench.archive.errors import ArchiveError
from rungbench.archive.schema import HEAD, archive_info, version_table

_BUSY_S: Final = 20.0
_MAGIC: Final = b"SQLite format 3\x00"
_OWNER_ONLY: Final = 0o600
_OWNER_ONLY_FOLDER: Final = 0o700

# By SQLite's primary result code, https://www.sqlite.org/rescode.html
_SENTENCES: Final = {
    sqlite3.SQLITE_FULL: "The disk that holds the archive {path} is full; what was not stored yet "
    "is not in it. Make room, then try again.",
    sqlite3.SQLITE_CORRUPT: "The archive {path} is damaged; move it aside together with its -wal "
    "file and put back a copy.",
    sqlite3.SQLITE_NOTADB: "{path} is no archive (not an SQLite file); name another file.",
    sqlite3.SQLITE_CANTOPEN: "The archive {path} cannot be opened; check that the folder exists "
    "and that you may write to it.",
    sqlite3.SQLITE_READONLY: "The archive {path} may not be written; get the right to its file "
    "and folder, or name another archive.",
    sqlite3.SQLITE_PERM: "The archive {path} may not be opened; get the right to its file and "
    "folder, or name another archive.",
    sqlite3.SQLITE_BUSY: "The archive {path} is locked by another program; close that and try "
    "again.",
    sqlite3.SQLITE_IOERR: "The disk that holds the archive {path} reports an error; check the "
    "disk and its room, then try again.",
}


@contextmanager
def explained(path: Path) -> Iterator[None]:
    """Turn what the database reports into one sentence about the archive at `path`."""
    try:
        yield
    except IntegrityError as problem:
        raise ArchiveError(
            f"The archive {path} already holds this, or lacks what it refers to "
            f"({problem.orig}); nothing was changed. Start a new run."
        ) from problem
    except DBAPIError as problem:
        raise ArchiveError(_sentence(problem, path)) from problem


def _sentence(problem: DBAPIError, path: Path) -> str:
    code = getattr(problem.orig, "sqlite_errorcode", None)
    known = _SENTENCES.get(code & 0xFF) if isinstance(code, int) else None
    if known is not None:
        return known.format(path=path)
    return f"The archive {path} cannot be used ({problem.orig}); name another file."


def create_file(path: Path) -> None:
    """Make an empty file, and its folder, that only their owner may read; leave one that exists.

    Raises
    ------
    ArchiveError : the folder cannot be made or written.
    """
    try:
        path.parent.mkdir(mode=_OWNER_ONLY_FOLDER, parents=True, exist_ok=True)
        os.close(os.open(path, os.O_CREAT | os.O_EXCL | os.O_WRONLY, _OWNER_ONLY))
    except FileExistsError:
        return
    except OSError as problem:
        raise ArchiveError(
            f"The archive {path} cannot be made ({problem.strerror}); name a file in a folder "
            "that you may write to."
        ) from problem


def connect(path: Path) -> sa.Engine:
    """Engine on an existing file; transactions begin as the option ``writes`` says.

    Raises
    ------
    ArchiveError : the file may not be read, or is of another kind.
    """
    writable = _may_write(path)
    # SQLite takes any file of a few bytes for an empty database, and would overwrite it.
    with path.open("rb") as file:
        if file.read(len(_MAGIC)) not in (b"", _MAGIC):
            raise ArchiveError(_SENTENCES[sqlite3.SQLITE_NOTADB].format(path=path))
    address = _address(path, writable)

    def open_file() -> sqlite3.Connection:
        return sqlite3.connect(address, uri=True, timeout=_BUSY_S, check_same_thread=False)

    engine = sa.create_engine(
        "sqlite://", creator=open_file, poolclass=sa.QueuePool, json_serializer=_json
    )

    @sa.event.listens_for(engine, "connect")
    def prepare(connection: Any, _record: Any) -> None:
        # The driver's own idea of when a transaction begins does not fit; see `begin`.
        connection.isolation_level = None
        connection.execute("PRAGMA foreign_keys=ON")
        if writable:
            connection.execute("PRAGMA synchronous=FULL")
            connection.execute("PRAGMA fullfsync=ON")

    @sa.event.listens_for(engine, "begin")
    def begin(connection: sa.Connection) -> None:
        writes = connection.get_execution_options().get("writes", False)
        # A writer takes its place at once: a reader that turns writer may be refused half-way.
        connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")

    return engine


def _may_write(path: Path) -> bool:
    if not _allowed(path, os.R_OK):
        raise ArchiveError(
            f"The archive {path} may not be read; ask its owner for the right, or name another."
        )
    return _allowed(path, os.W_OK) and _allowed(path.parent, os.W_OK)


def _allowed(path: Path, mode: int) -> bool:
    return os.access(path, mode, effective_ids=os.access in os.supports_effective_ids)


def _address(path: Path, writable: bool) -> str:
    address = path.absolute().as_uri()
    if writable:
        return address
    # Without a journal beside it nobody is writing, and none could be made to read along.
    journal = path.with_name(path.name + "-wal")
    idle = not journal.exists() or journal.stat().st_size == 0
    return f"{address}?mode=ro" + ("&immutable=1" if idle else "")


def _json(value: Any) -> str:
    import json

    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":"))


def revision(connection: sa.Connection, path: Path) -> str | None:
    """Schema version of the file, or ``None`` if it is empty.

    Raises
    ------
    ArchiveError : the file belongs to another program.
    """
    names = sa.inspect(connection).get_table_names()
    if not names:
        return None
    if archive_info.name not in names or version_table.name not in names:
        raise ArchiveError(f"{path} is an SQLite file of another program; name another file.")
    found = connection.scalar(sa.select(version_table.c.version_num))
    return None if found is None else str(found)


def keep_journal(engine: sa.Engine) -> None:
    """Let readers and a writer work side by side: a lasting property of the file."""
    raw = engine.raw_connection()
    try:
        raw.cursor().execute("PRAGMA journal_mode=WAL")
    finally:
        raw.close()


def upgrade(connection: sa.Connection) -> None:
    """Bring the file to the newest schema, inside the caller's transaction."""
    from alembic import command
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(Path(__file__).parent / "migrations"))
    config.attributes["connection"] = connection
    command.upgrade(config, HEAD)


def refuse_newer(found: str, path: Path) -> None:
    """Revisions count upwards as text of equal length."""
    if found > HEAD:
        raise ArchiveError(
            f"The archive {path} was written by a newer Rungbench (schema {found}, this one knows "
            f"{HEAD}); update the program."
        )
