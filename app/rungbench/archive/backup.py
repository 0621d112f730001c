"""A whole archive into a file and back, by SQLite's own copy of a database in use.

https://www.sqlite.org/backup.html: what others write meanwhile is either in the copy or not.
"""

import sqlite3
from collections.abc import Iterator
from contextlib import closing, contextmanager
from pathlib import Path
from typing import Final

from rungbench.archive import sqlite_file
from rungbench.archive.errors import ArchiveError
from rungbench.archive.faults import SENTENCES
from rungbench.archive.store import Archive, open_archive
from rungbench.archive.verified import Verified
from rungbench.archive.verify import require_sound, verify
from rungbench.archive.witness import renew

_PAGES: Final = 4096


def back_up(archive: Archive, path: Path) -> Verified:
    """Copy an archive into a new file that only its owner may read; returns what verifying it said.

    Raises
    ------
    ArchiveError : the archive lies on a server; the file exists or cannot be written; the copy is
        not sound: it is left there, to be looked at.
    """
    _require_new(path)
    if not isinstance(archive.place, Path):
        raise ArchiveError(
            f"The archive {archive.place} lies on a server, whose own tools copy it whole "
            "(pg_dump); `rungbench records extract` writes records into a file."
        )
    source = archive.place
    sqlite_file.check_path(path)
    sqlite_file.create_file(path)
    try:
        _copy(source, path)
    except ArchiveError:
        path.unlink(missing_ok=True)
        raise
    with open_archive(path, archive.simulated, create=False) as copy:
        return verify(copy)


def put_back(path: Path, target: Path, simulated: bool | None, *, replace: bool) -> Path | None:
    """Make the archive at `target` what the copy at `path` is; returns where its old content went.

    Parameters
    ----------
    simulated : whether the archive is to be a demo archive; ``None``: as the copy is.
    replace : whether an archive that exists may be replaced; its content is copied first.

    Raises
    ------
    ArchiveError : the copy cannot be read, is not sound or of the other kind; there is an archive
        and it may not be replaced.
    """
    with open_archive(path, simulated, create=False) as copy:
        require_sound(verify(copy))
    if target.exists() and target.samefile(path):
        raise ArchiveError(f"{path} is the archive itself; name a copy of it.")
    old = None
    if target.exists():
        if not replace:
            raise ArchiveError(
                f"There is an archive at {target}; state --replace, which keeps it under another "
                "name."
            )
        old = _free_name(target)
        sqlite_file.create_file(old)
        _copy(target, old)
    sqlite_file.check_path(target)
    sqlite_file.create_file(target)
    _copy(path, target)
    with open_archive(target, simulated) as restored, restored.reading() as connection:
        renew(connection, target)
    return old


def _require_new(path: Path) -> None:
    if path.exists():
        raise ArchiveError(f"{path} exists already; name another file.")


def _free_name(target: Path) -> Path:
    names = (target.with_name(f"{target.stem}-before-{n}{target.suffix}") for n in range(1, 10_000))
    free = next((name for name in names if not name.exists()), None)
    if free is None:
        raise ArchiveError(f"There are too many copies beside {target}; move some away.")
    return free


def _copy(source: Path, target: Path) -> None:
    with _told(target), closing(sqlite3.connect(source)) as one, closing(_open(target)) as other:
        one.backup(other, pages=_PAGES)
        (said,) = other.execute("PRAGMA quick_check").fetchone()
    if said != "ok":
        raise ArchiveError(f"The copy {target} is damaged ({said}); check the disk.")


def _open(path: Path) -> sqlite3.Connection:
    connection = sqlite3.connect(path)
    connection.execute("PRAGMA synchronous=FULL")
    return connection


@contextmanager
def _told(target: Path) -> Iterator[None]:
    try:
        yield
    except sqlite3.Error as problem:
        code = getattr(problem, "sqlite_errorcode", 0) & 0xFF
        sentence = SENTENCES.get(code, "The copy to {place} failed; check the disk, try again.")
        raise ArchiveError(sentence.format(place=target)) from problem
