"""An archive in a file: made for its owner only, opened, kept in order.

Every transaction that is committed survives a kill and a loss of power (WAL,
``synchronous=FULL``).
"""

import os
import sqlite3
from pathlib import Path
from typing import Any, Final

import sqlalchemy as sa

from rungbench.archive.database import as_json
from rungbench.archive.errors import ArchiveError
from rungbench.archive.faults import SENTENCES
from rungbench.archive.share import share_type

_BUSY_S: Final = 20.0
_MAGIC: Final = b"SQLite format 3\x00"
_OWNER_ONLY: Final = 0o600
_OWNER_ONLY_FOLDER: Final = 0o700


def check_path(path: Path) -> Path:
    """`path`, if an archive may lie there.

    Raises
    ------
    ArchiveError : it is a folder, a device, or on a network share.
    """
    if path.is_dir():
        raise ArchiveError(f"{path} is a folder; name the archive's file in it.")
    if path.exists() and not path.is_file():
        raise ArchiveError(f"{path} is a device and no file; name a file.")
    share = share_type(path)
    if share:
        raise ArchiveError(
            f"{path} lies on a network share ({share}), where an archive can be damaged; name a "
            "file on a disk of this computer, or a database on a server."
        )
    return path


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


def engine_of(path: Path) -> sa.Engine:
    """Engine on an existing file; transactions begin as the option ``writes`` says.

    Raises
    ------
    ArchiveError : the file may not be read, or is of another kind.
    """
    writable = _may_write(path)
    # SQLite takes any file of a few bytes for an empty database, and would overwrite it.
    with path.open("rb") as file:
        if file.read(len(_MAGIC)) not in (b"", _MAGIC):
            raise ArchiveError(SENTENCES[sqlite3.SQLITE_NOTADB].format(place=path))
    address = _address(path, writable)

    def open_file() -> sqlite3.Connection:
        return sqlite3.connect(address, uri=True, timeout=_BUSY_S, check_same_thread=False)

    engine = sa.create_engine(
        "sqlite://", creator=open_file, poolclass=sa.QueuePool, json_serializer=as_json
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


def keep_journal(engine: sa.Engine) -> None:
    """Let readers and a writer work side by side: a lasting property of the file."""
    raw = engine.raw_connection()
    try:
        raw.cursor().execute("PRAGMA journal_mode=WAL")
    finally:
        raw.close()
