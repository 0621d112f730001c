"""Captures that are no longer wanted: their bytes go, their hashes stay in the records."""

from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from rungbench.archive import schema
from rungbench.archive.record import utc_now
from rungbench.archive.store import Archive


@dataclass(frozen=True, slots=True)
class Expired:
    """How many captures lost their content, and how many bytes that was."""

    captures: int
    bytes: int


def expire(archive: Archive, before: datetime, *, rehearse: bool = False) -> Expired:
    """Take away the content of captures that only runs begun before a moment refer to.

    Parameters
    ----------
    rehearse : only tell what would go.

    Raises
    ------
    ArchiveError : the archive cannot be written.
    """
    with archive.reading() if rehearse else archive.writing() as connection:
        found = _candidates(connection, before)
        if not rehearse:
            moment = utc_now()
            for content, _, _ in found:
                row = {"content": content, "moment": moment}
                connection.execute(schema.expired.insert().values(**row))
                contents = schema.contents
                gone = contents.update().where(contents.c.sha256 == content).values(data=b"")
                connection.execute(gone)
    return Expired(sum(number for _, _, number in found), sum(size for _, size, _ in found))


def _candidates(connection: sa.Connection, before: datetime) -> list[tuple[str, int, int]]:
    """Contents, their bytes, and how many captures they are of."""
    links, captures, contents, runs = (
        schema.run_captures,
        schema.captures,
        schema.contents,
        schema.runs,
    )
    size = sa.func.length(contents.c.data)
    query = (
        sa.select(contents.c.sha256, size, sa.func.count(sa.distinct(captures.c.sha256)))
        .join_from(contents, captures, captures.c.content == contents.c.sha256)
        .join(links, links.c.capture == captures.c.sha256)
        .join(runs, links.c.run == runs.c.number)
        .where(size > 0)
        .group_by(contents.c.sha256)
        .having(sa.func.max(runs.c.started, type_=schema.UtcTime()) < before)
        .order_by(contents.c.sha256)
    )
    return [
        (content, int(bytes_), int(number)) for content, bytes_, number in connection.execute(query)
    ]
