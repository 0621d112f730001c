"""Insertions: from open connection to rows."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa

from rungbench.archive import schema
from rungbench.archive.describing import Described
from rungbench.archive.record import CheckResult, RunHeader, RunVerdict
from rungbench.archive.rows import check_row, header_row, measured_rows, origin_row, plain


@dataclass(frozen=True, slots=True)
class End:
    """How a run came to its end."""

    verdict: RunVerdict
    finished: datetime
    interrupted: str | None
    make_safe: Mapping[str, Any]


def insert_run(connection: sa.Connection, header: RunHeader) -> int:
    """Insert what is known before the first check; returns the run's number."""
    result = connection.execute(schema.runs.insert().values(**header_row(header)))
    (number,) = result.inserted_primary_key or (0,)
    connection.execute(schema.open_runs.insert().values(run=number))
    if header.origin is not None:
        row = origin_row(number, header.origin)
        connection.execute(schema.run_origins.insert().values(**row))
    return int(number)


def insert_check(connection: sa.Connection, run: int, result: CheckResult) -> None:
    """Insert a check with all that belongs to it; its captures must be there."""
    inserted = connection.execute(schema.checks.insert().values(**check_row(run, result)))
    (check,) = inserted.inserted_primary_key or (0,)
    rows = measured_rows(run, check, result)
    _insert(connection, schema.quantities, rows.quantities)
    _insert(connection, schema.budgets, rows.budgets)
    _insert(connection, schema.judgements, rows.judgements)
    links = [
        {"check": check, "position": at, "capture": key} for at, key in enumerate(result.captures)
    ]
    _insert(connection, schema.check_captures, links)


def insert_end(connection: sa.Connection, run: int, end: End) -> None:
    """Insert the end of a run."""
    row = {
        "run": run,
        "verdict": end.verdict.value,
        "finished": end.finished,
        "interrupted": end.interrupted,
        "make_safe": plain(end.make_safe),
    }
    connection.execute(schema.run_ends.insert().values(**row))
    connection.execute(schema.open_runs.delete().where(schema.open_runs.c.run == run))


def keep_capture(connection: sa.Connection, described: Described) -> None:
    """Insert a capture, unless an equal one is there; content that had expired is put back."""
    packed, contents, captures = described.packed, schema.contents, schema.captures
    length = sa.select(sa.func.length(contents.c.data)).where(contents.c.sha256 == packed.sha256)
    known = connection.scalar(length)
    names = ("sha256", "codec", "dtype", "length", "data")
    if known is None:
        _add(connection, contents, {name: getattr(packed, name) for name in names})
    elif known == 0:
        back = contents.update().where(contents.c.sha256 == packed.sha256)
        connection.execute(back.values(data=packed.data))
    row = {
        "sha256": described.key,
        "kind": described.kind,
        "content": packed.sha256,
        "description": dict(described.description),
    }
    _add(connection, captures, row)


def name_capture(connection: sa.Connection, run: int, name: str, key: str) -> None:
    """Give a capture its name in a run."""
    row = {"run": run, "name": name, "capture": key}
    connection.execute(schema.run_captures.insert().values(**row))


def _add(connection: sa.Connection, table: sa.Table, row: dict[str, Any]) -> None:
    """Insert a row of a key of its own, unless it is there; another bench may do so just now."""
    insert: Any
    if connection.dialect.name == "postgresql":
        from sqlalchemy.dialects.postgresql import insert
    else:
        from sqlalchemy.dialects.sqlite import insert
    connection.execute(insert(table).values(**row).on_conflict_do_nothing())


def _insert(connection: sa.Connection, table: sa.Table, rows: Any) -> None:
    if rows:
        connection.execute(table.insert(), list(rows))
