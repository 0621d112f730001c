"""Captures against their keys, which are hashes of what they hold."""

from collections.abc import Iterator

import sqlalchemy as sa

from rungbench.archive import schema
from rungbench.archive.describing import restore
from rungbench.archive.errors import ArchiveError
from rungbench.archive.reading import load_capture
from rungbench.archive.verified import Break, Room


def look_at_captures(connection: sa.Connection, breaks: list[Break]) -> tuple[int, int]:
    """Every capture that is still there against its key."""
    breaks += _lost(connection)
    captures, contents, expired = schema.captures, schema.contents, schema.expired
    size = sa.func.length(contents.c.data)
    told = sa.exists().where(expired.c.content == captures.c.content)
    query = sa.select(captures.c.sha256, size, told).outerjoin_from(captures, contents)
    good = gone = 0
    for key, length, stated in connection.execute(query.order_by(captures.c.sha256)).all():
        if length == 0 and stated:
            gone += 1
        elif why := _capture_fault(connection, key, length):
            breaks.append(Break("", None, "", f"Capture {key} is not what its key says: {why}."))
        else:
            good += 1
    return good, gone


def _lost(connection: sa.Connection) -> Iterator[Break]:
    """Captures that a run names and that are not there at all."""
    named, captures, runs = schema.run_captures, schema.captures, schema.runs
    query = (
        sa.select(named.c.capture, runs.c.run_id)
        .join_from(named, runs, named.c.run == runs.c.number)
        .outerjoin(captures, captures.c.sha256 == named.c.capture)
        .where(captures.c.sha256.is_(None))
        .order_by(runs.c.number)
    )
    for key, record in connection.execute(query):
        yield Break("", None, record, f"Capture {key} of record {record} is missing.")


def room_of(connection: sa.Connection) -> Room:
    contents = schema.contents
    size = sa.func.length(contents.c.data)
    query = sa.select(sa.func.sum(contents.c.length), sa.func.sum(size)).where(size > 0)
    values, bytes_ = connection.execute(query).one()
    return Room(int(values or 0), int(bytes_ or 0))


def _capture_fault(connection: sa.Connection, key: str, length: int | None) -> str:
    if length is None:
        return "its content is missing"
    if length == 0:
        return "its content is gone, and nobody let it expire"
    try:
        described = load_capture(connection, key)
        restore(described)
    except (ValueError, KeyError, TypeError, ArchiveError) as problem:
        return f"{problem}".rstrip(".")
    return "" if described.key == key else "its description was changed"
