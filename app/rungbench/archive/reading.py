"""Queries: from open connection to records."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

import sqlalchemy as sa
from sqlalchemy import RowMapping

from pilotsignal.errors import PilotSignalError
from rungbench.archive import schema
from rungbench.archive.describing import Described
from rungbench.archive.errors import ArchiveError, NoSuchRecord
from rungbench.archive.packing import Packed
from rungbench.archive.record import (
    NOT_FINISHED,
    NOTHING,
    CheckResult,
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
    (record,) = load_records(connection, [run])
    return record


def load_records(connection: sa.Connection, runs: Sequence[int]) -> tuple[Record, ...]:
    """Runs by their numbers, in that order, with a few queries however many they are."""
    table, ends, named = schema.runs, schema.run_ends, schema.run_captures
    rows = _by(connection, sa.select(table).where(table.c.number.in_(runs)), "number")
    ended = _by(connection, sa.select(ends).where(ends.c.run.in_(runs)), "run")
    names = _by(connection, sa.select(named).where(named.c.run.in_(runs)), "run")
    missing = [run for run in runs if run not in rows]
    if missing:
        raise NoSuchRecord(f"There is no run of the number {missing[0]}; list the runs again.")
    wanted = [rows[run][0]["run_id"] for run in runs]
    parts = _Parts(
        _checks(connection, runs),
        _by(connection, _origins(runs), "run"),
        _expired(connection, runs),
        _followed_by(connection, wanted),
    )
    return tuple(_record(rows[run][0], ended.get(run, []), names[run], parts) for run in runs)


@dataclass(frozen=True, slots=True)
class _Parts:
    """What belongs to runs, by their numbers, or by their ids."""

    checks: Mapping[int, list[CheckResult]]
    origins: Mapping[int, list[RowMapping]]
    expired: Mapping[int, list[tuple[str, datetime]]]
    followed_by: Mapping[str, list[str]]


def _record(
    row: RowMapping, ends: list[RowMapping], named: list[RowMapping], parts: _Parts
) -> Record:
    run = row["number"]
    checks = tuple(parts.checks[run])
    end = ends[0] if ends else None
    origins = parts.origins[run]
    return Record(
        header=header_of(row, origin_of(origins[0]) if origins else None),
        checks=checks,
        verdict=run_verdict(checks, NOT_FINISHED) if end is None else RunVerdict(end["verdict"]),
        finished=None if end is None else end["finished"],
        interrupted=NOT_FINISHED if end is None else end["interrupted"],
        make_safe=NOTHING if end is None else end["make_safe"],
        # Sorted here: servers have orders of their own.
        capture_names=tuple(sorted((one["name"], one["capture"]) for one in named)),
        expired=tuple(sorted(parts.expired[run])),
        followed_by=tuple(parts.followed_by[row["run_id"]]),
    )


def _origins(runs: Sequence[int]) -> sa.Select[Any]:
    table = schema.run_origins
    return sa.select(table).where(table.c.run.in_(runs))


def _followed_by(connection: sa.Connection, run_ids: Sequence[str]) -> Mapping[str, list[str]]:
    origins, runs = schema.run_origins, schema.runs
    query = (
        sa.select(origins.c.record, runs.c.run_id)
        .join_from(origins, runs, origins.c.run == runs.c.number)
        .where(origins.c.record.in_(run_ids))
        .order_by(runs.c.number)
    )
    found: dict[str, list[str]] = defaultdict(list)
    for record, later in connection.execute(query):
        found[record].append(later)
    return found


def _expired(
    connection: sa.Connection, runs: Sequence[int]
) -> Mapping[int, list[tuple[str, datetime]]]:
    """Captures of runs whose content is gone, and since when."""
    links, captures, contents = schema.run_captures, schema.captures, schema.contents
    query = (
        sa.select(
            links.c.run,
            captures.c.sha256,
            sa.func.max(schema.expired.c.moment, type_=schema.UtcTime()),
        )
        .join_from(links, captures, links.c.capture == captures.c.sha256)
        .join(contents, captures.c.content == contents.c.sha256)
        .join(schema.expired, schema.expired.c.content == contents.c.sha256)
        .where(links.c.run.in_(runs), sa.func.length(contents.c.data) == 0)
        .group_by(links.c.run, captures.c.sha256)
    )
    found: dict[int, list[tuple[str, datetime]]] = defaultdict(list)
    for run, key, moment in connection.execute(query):
        found[run].append((key, moment))
    return found


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


def _checks(connection: sa.Connection, runs: Sequence[int]) -> Mapping[int, list[CheckResult]]:
    table, quantities, budgets = schema.checks, schema.quantities, schema.budgets
    numbers = _by(
        connection,
        sa.select(quantities, budgets.c.rows)
        .join_from(quantities, budgets)
        .where(quantities.c.run.in_(runs))
        .order_by(quantities.c.check, quantities.c.position),
        "check",
    )
    judged = _by(connection, _of_runs(schema.judgements, runs), "check")
    recorded = _by(connection, _of_runs(schema.check_captures, runs), "check")
    found: dict[int, list[CheckResult]] = defaultdict(list)
    query = sa.select(table).where(table.c.run.in_(runs)).order_by(table.c.number)
    for row in connection.execute(query).mappings():
        number = row["number"]
        rows = CheckRows(
            check=row,
            quantities=tuple(numbers[number]),
            judgements=tuple(judged[number]),
            captures=tuple(link["capture"] for link in recorded[number]),
        )
        try:
            found[row["run"]].append(check_of(rows))
        except (PilotSignalError, ValueError, KeyError, TypeError) as problem:
            raise ArchiveError(
                f"Check {row['check_id']!r} of run number {row['run']} is nothing that was ever "
                f"recorded ({problem}); `rungbench records verify` names what was changed."
            ) from problem
    return found


def _of_runs(table: sa.Table, runs: Sequence[int]) -> sa.Select[Any]:
    return (
        sa.select(table)
        .join_from(table, schema.checks, table.c.check == schema.checks.c.number)
        .where(schema.checks.c.run.in_(runs))
        .order_by(table.c.check, table.c.position)
    )


def _by(
    connection: sa.Connection, query: sa.Select[Any], column: str
) -> Mapping[int, list[RowMapping]]:
    """Rows by the value of a column."""
    grouped: dict[int, list[RowMapping]] = defaultdict(list)
    for row in connection.execute(query).mappings():
        grouped[row[column]].append(row)
    return grouped
