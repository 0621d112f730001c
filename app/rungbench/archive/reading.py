"""Queries: from open connection to records."""

from collections import defaultdict
from collections.abc import Mapping
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy import RowMapping

from rungbench.archive import schema
from rungbench.archive.describing import Described
from rungbench.archive.errors import ArchiveError, NoSuchRecord
from rungbench.archive.packing import Packed
from rungbench.archive.record import (
    NOT_FINISHED,
    NOTHING,
    CheckResult,
    Origin,
    Record,
    RunVerdict,
    run_verdict,
)
from rungbench.archive.rows import CheckRows, check_of, header_of, origin_of

_LAST_CHARACTER = chr(0x10FFFF)


def begins(
    connection: sa.Connection, column: sa.ColumnElement[str], text: str
) -> sa.ColumnElement[bool]:
    """Whether a text begins so, by the codes of its characters: an index can answer that."""
    if connection.dialect.name == "postgresql":
        column = column.collate("C")
    return (column >= text) & (column < text + _LAST_CHARACTER)


def number_of(connection: sa.Connection, run_id: str) -> int:
    """Number of the run whose id is `run_id` or begins with it.

    Raises
    ------
    NoSuchRecord : none does, or more than one.
    """
    wanted = run_id.strip().lower()
    column = schema.runs.c.run_id
    query = (
        sa.select(schema.runs.c.number, column)
        .where(begins(connection, column, wanted))
        .order_by(column)
        .limit(2)
    )
    rows = connection.execute(query).all() if wanted else []
    if len(rows) == 1 or (rows and rows[0].run_id == wanted):
        return int(rows[0].number)
    if rows:
        raise NoSuchRecord(f"More than one record begins with {run_id!r}; give more of the id.")
    raise NoSuchRecord(f"No record begins with {run_id!r}; `rungbench records list` shows the ids.")


def load_record(connection: sa.Connection, run: int) -> Record:
    """A run with everything but the content of its captures."""
    row = (
        connection.execute(sa.select(schema.runs).where(schema.runs.c.number == run))
        .mappings()
        .one()
    )
    end = (
        connection.execute(sa.select(schema.run_ends).where(schema.run_ends.c.run == run))
        .mappings()
        .one_or_none()
    )
    checks = _checks(connection, run)
    named = connection.execute(
        sa.select(schema.run_captures.c.name, schema.run_captures.c.capture).where(
            schema.run_captures.c.run == run
        )
    ).all()
    return Record(
        header=header_of(row, _origin(connection, run)),
        checks=checks,
        verdict=run_verdict(checks, NOT_FINISHED) if end is None else RunVerdict(end["verdict"]),
        finished=None if end is None else end["finished"],
        interrupted=NOT_FINISHED if end is None else end["interrupted"],
        make_safe=NOTHING if end is None else end["make_safe"],
        # Sorted here: servers have orders of their own.
        capture_names=tuple(sorted((name, key) for name, key in named)),
        expired=_expired(connection, run),
        followed_by=_followed_by(connection, row["run_id"]),
    )


def _origin(connection: sa.Connection, run: int) -> Origin | None:
    table = schema.run_origins
    query = sa.select(table).where(table.c.run == run)
    row = connection.execute(query).mappings().one_or_none()
    return None if row is None else origin_of(row)


def _followed_by(connection: sa.Connection, run_id: str) -> tuple[str, ...]:
    origins, runs = schema.run_origins, schema.runs
    query = (
        sa.select(runs.c.run_id)
        .join_from(origins, runs, origins.c.run == runs.c.number)
        .where(origins.c.record == run_id)
        .order_by(runs.c.number)
    )
    return tuple(connection.scalars(query))


def _expired(connection: sa.Connection, run: int) -> tuple[tuple[str, datetime], ...]:
    """Captures of a run whose content is gone, and since when."""
    links, captures, contents = schema.run_captures, schema.captures, schema.contents
    query = (
        sa.select(captures.c.sha256, sa.func.max(schema.expired.c.moment, type_=schema.UtcTime()))
        .join_from(links, captures, links.c.capture == captures.c.sha256)
        .join(contents, captures.c.content == contents.c.sha256)
        .join(schema.expired, schema.expired.c.content == contents.c.sha256)
        .where(links.c.run == run, sa.func.length(contents.c.data) == 0)
        .group_by(captures.c.sha256)
    )
    return tuple(sorted((key, moment) for key, moment in connection.execute(query)))


def load_capture(connection: sa.Connection, key: str) -> Described:
    """A capture by its key, the hash of its content, or the beginning of its key.

    Raises
    ------
    NoSuchRecord : none goes by it, or more than one.
    ArchiveError : its content has expired.
    """
    table, content = schema.captures, schema.contents
    wanted = key.strip().lower()
    fits = begins(connection, table.c.sha256, wanted) | (table.c.content == wanted)
    query = sa.select(table.c.sha256).where(fits).limit(2)
    keys = connection.scalars(query).all() if wanted else []
    if len(keys) != 1:
        word = "More than one capture begins" if keys else "No capture begins"
        raise NoSuchRecord(f"{word} with {key!r}; take the key from the record.")
    row = connection.execute(
        sa.select(table, content).join_from(table, content).where(table.c.sha256 == keys[0])
    ).one()
    _, kind, sha256, description, _, codec, dtype, length, data = tuple(row)
    if not data:
        raise ArchiveError(
            f"The content of capture {keys[0]} was removed from the archive; its hash stays in "
            "the record. Use a copy of the archive from before."
        )
    return Described(kind, Packed(sha256, codec, dtype, length, data), description)


def _checks(connection: sa.Connection, run: int) -> tuple[CheckResult, ...]:
    quantities, budgets = schema.quantities, schema.budgets
    rows = (
        connection.execute(
            sa.select(schema.checks)
            .where(schema.checks.c.run == run)
            .order_by(schema.checks.c.number)
        )
        .mappings()
        .all()
    )
    numbers = _by_check(
        connection,
        sa.select(quantities, budgets.c.rows)
        .join_from(quantities, budgets)
        .where(quantities.c.run == run)
        .order_by(quantities.c.check, quantities.c.position),
    )
    judged = _by_check(connection, _of_run(schema.judgements, run))
    recorded = _by_check(connection, _of_run(schema.check_captures, run))
    return tuple(
        check_of(
            CheckRows(
                check=row,
                quantities=tuple(numbers[row["number"]]),
                judgements=tuple(judged[row["number"]]),
                captures=tuple(link["capture"] for link in recorded[row["number"]]),
            )
        )
        for row in rows
    )


def _of_run(table: sa.Table, run: int) -> sa.Select[Any]:
    return (
        sa.select(table)
        .join_from(table, schema.checks, table.c.check == schema.checks.c.number)
        .where(schema.checks.c.run == run)
        .order_by(table.c.check, table.c.position)
    )


def _by_check(connection: sa.Connection, query: sa.Select[Any]) -> Mapping[int, list[RowMapping]]:
    grouped: dict[int, list[RowMapping]] = defaultdict(list)
    for row in connection.execute(query).mappings():
        grouped[row["check"]].append(row)
    return grouped
