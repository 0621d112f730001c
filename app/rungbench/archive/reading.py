"""Queries: from open connection to records."""

from collections import defaultdict
from collections.abc import Mapping
from typing import Any

import sqlalchemy as sa
from sqlalchemy import RowMapping

from rungbench.archive import schema
from rungbench.archive.describing import Described
from rungbench.archive.errors import NoSuchRecord
from rungbench.archive.packing import Packed
from rungbench.archive.record import (
    NOT_FINISHED,
    NOTHING,
    CheckResult,
    Record,
    RunVerdict,
    run_verdict,
)
from rungbench.archive.rows import CheckRows, check_of, header_of, search_key
from rungbench.archive.search import RunSummary, Search

_LAST_CHARACTER = chr(0x10FFFF)


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
        .where(column >= wanted, column < wanted + _LAST_CHARACTER)
        .order_by(column)
        .limit(2)
    )
    rows = connection.execute(query).all() if wanted else []
    if len(rows) == 1 or (rows and rows[0].run_id == wanted):
        return int(rows[0].number)
    if rows:
        raise NoSuchRecord(f"More than one record begins with {run_id!r}; give more of the id.")
    raise NoSuchRecord(f"No record begins with {run_id!r}; `rungbench records list` shows the ids.")


def find_runs(connection: sa.Connection, search: Search) -> tuple[RunSummary, ...]:
    """Runs that fit, the newest first.

    The verdict of a run without an end stands in no column, so that pages are read until enough
    are found.
    """
    found: list[RunSummary] = []
    before = search.before
    while len(found) < search.limit:
        page = connection.execute(_query(search, before)).mappings().all()
        summaries = (_summary(connection, row) for row in page)
        found += [one for one in summaries if search.verdict in (None, one.verdict)]
        if len(page) < search.limit:
            break
        before = page[-1]["number"]
    return tuple(found[: search.limit])


def _query(search: Search, before: int | None) -> sa.Select[Any]:
    runs, ends = schema.runs, schema.run_ends
    query = sa.select(runs, ends).outerjoin_from(runs, ends).order_by(runs.c.number.desc())
    if before is not None:
        query = query.where(runs.c.number < before)
    if search.maker is not None:
        query = query.where(runs.c.maker_key == search_key(search.maker))
    if search.serial is not None:
        start = search_key(search.serial)
        column = runs.c.serial_key
        query = query.where(column >= start, column < start + _LAST_CHARACTER)
    if search.since is not None:
        query = query.where(runs.c.started >= search.since)
    if search.verdict is not None:
        query = query.where((ends.c.verdict == search.verdict.value) | ends.c.verdict.is_(None))
    return query.limit(search.limit)


def _summary(connection: sa.Connection, row: RowMapping) -> RunSummary:
    names = ("maker", "model", "serial", "plan", "profile", "operator")
    ended = row["verdict"] is not None
    return RunSummary(
        number=row["number"],
        run_id=row["run_id"],
        simulated=row["simulated"],
        started=row["started"],
        finished=row["finished"],
        verdict=RunVerdict(row["verdict"]) if ended else _so_far(connection, row["number"]),
        interrupted=row["interrupted"] if ended else NOT_FINISHED,
        **{name: row[name] for name in names},
    )


def _so_far(connection: sa.Connection, run: int) -> RunVerdict:
    return run_verdict(_checks(connection, run), NOT_FINISHED)


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
        sa.select(schema.run_captures.c.name, schema.run_captures.c.capture)
        .where(schema.run_captures.c.run == run)
        .order_by(schema.run_captures.c.name)
    ).all()
    return Record(
        header=header_of(row),
        checks=checks,
        verdict=run_verdict(checks, NOT_FINISHED) if end is None else RunVerdict(end["verdict"]),
        finished=None if end is None else end["finished"],
        interrupted=NOT_FINISHED if end is None else end["interrupted"],
        make_safe=NOTHING if end is None else end["make_safe"],
        capture_names=tuple((name, key) for name, key in named),
    )


def load_capture(connection: sa.Connection, key: str) -> Described:
    """A capture by its key, the hash of its content, or the beginning of its key.

    Raises
    ------
    NoSuchRecord : none goes by it, or more than one.
    """
    table, content = schema.captures, schema.contents
    wanted = key.strip().lower()
    begins = (table.c.sha256 >= wanted) & (table.c.sha256 < wanted + _LAST_CHARACTER)
    query = sa.select(table.c.sha256).where(begins | (table.c.content == wanted)).limit(2)
    keys = connection.scalars(query).all() if wanted else []
    if len(keys) != 1:
        word = "More than one capture begins" if keys else "No capture begins"
        raise NoSuchRecord(f"{word} with {key!r}; take the key from the record.")
    row = connection.execute(
        sa.select(table, content).join_from(table, content).where(table.c.sha256 == keys[0])
    ).one()
    _, kind, sha256, description, _, codec, dtype, length, data = tuple(row)
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
