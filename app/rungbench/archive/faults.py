"""What a database reports, as one sentence for the person at the bench."""

import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Final

from sqlalchemy.exc import DBAPIError, IntegrityError

from rungbench.archive.errors import ArchiveError
from rungbench.paths import Place
from rungbench.redact import without_password

# By SQLite's primary result code, https://www.sqlite.org/rescode.html
SENTENCES: Final = {
    sqlite3.SQLITE_FULL: "The disk that holds the archive {place} is full; what was not stored yet "
    "is not in it. Make room, then try again.",
    sqlite3.SQLITE_CORRUPT: "The archive {place} is damaged; move it aside together with its -wal "
    "file and put back a copy.",
    sqlite3.SQLITE_NOTADB: "{place} is no archive (not an SQLite file); name another file.",
    sqlite3.SQLITE_CANTOPEN: "The archive {place} cannot be opened; check that the folder exists "
    "and that you may write to it.",
    sqlite3.SQLITE_READONLY: "The archive {place} may not be written; get the right to its file "
    "and folder, or name another archive.",
    sqlite3.SQLITE_PERM: "The archive {place} may not be opened; get the right to its file and "
    "folder, or name another archive.",
    sqlite3.SQLITE_BUSY: "The archive {place} is locked by another program; close that and try "
    "again.",
    sqlite3.SQLITE_IOERR: "The disk that holds the archive {place} reports an error; check the "
    "disk and its room, then try again.",
}

_LOST: Final = (
    "The server of the archive {place} does not answer; check that it runs and can be reached."
)
_FORBIDDEN: Final = (
    "The server of the archive {place} refuses this user; check name, password and rights there."
)
# By the beginning of PostgreSQL's code, https://www.postgresql.org/docs/15/errcodes-appendix.html;
# the longest that fits counts.
_BY_STATE: Final = {
    "08": _LOST,
    "57P": _LOST,
    "28": _FORBIDDEN,
    "42501": _FORBIDDEN,
    "3D000": "There is no database by that name behind {place}; make it there, or name another.",
    "53100": "The disk of the server of the archive {place} is full; make room there.",
    "53300": "The server of the archive {place} has too many users now; try again later.",
    "25006": "The archive {place} may be read only; ask whoever keeps the server.",
}


@contextmanager
def explained(place: Place) -> Iterator[None]:
    """Turn what the database reports into one sentence about the archive at `place`."""
    try:
        yield
    except IntegrityError as problem:
        raise ArchiveError(
            f"The archive {place} already holds this, or lacks what it refers to "
            f"({_said(problem)}); nothing was changed. Start a new run."
        ) from problem
    except DBAPIError as problem:
        raise ArchiveError(_sentence(problem, place)) from problem


def _sentence(problem: DBAPIError, place: Place) -> str:
    known = _of_file(problem) if isinstance(place, Path) else _of_server(problem)
    if known:
        return known.format(place=place)
    return f"The archive {place} cannot be used ({_said(problem)}); name another."


def _of_file(problem: DBAPIError) -> str:
    code = getattr(problem.orig, "sqlite_errorcode", None)
    return SENTENCES.get(code & 0xFF, "") if isinstance(code, int) else ""


def _of_server(problem: DBAPIError) -> str:
    state = getattr(problem.orig, "sqlstate", None)
    if not isinstance(state, str):
        # No code: it did not come from the server, so there was none to give it.
        return _login(str(problem.orig)) if type(problem.orig).__name__ != "DataError" else ""
    fits = [start for start in _BY_STATE if state.startswith(start)]
    return _BY_STATE[max(fits, key=len)] if fits else ""


def _login(said: str) -> str:
    """Of a refused connection the library keeps the words only."""
    if "authentication failed" in said or "no password supplied" in said:
        return _FORBIDDEN
    if "database" in said and "does not exist" in said:
        return _BY_STATE["3D000"]
    return _LOST


def _said(problem: DBAPIError) -> str:
    """The first line of what the database says, which names rows and never the connection."""
    lines = str(problem.orig).splitlines() or [""]
    return without_password(lines[0])
