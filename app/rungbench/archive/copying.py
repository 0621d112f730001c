"""A record from one archive to another, row by row: nothing is worked out anew."""

from typing import Any, Final

import sqlalchemy as sa

from rungbench.archive import schema
from rungbench.archive.describing import Described
from rungbench.archive.packing import Packed
from rungbench.archive.writing import keep_capture

_OF_RUN: Final = (schema.run_captures, schema.run_ends, schema.run_origins)
_OF_CHECK: Final = (
    schema.quantities,
    schema.budgets,
    schema.judgements,
    schema.check_captures,
)


def copy_run(source: sa.Connection, target: sa.Connection, run: int) -> int:
    """Copy a run with its checks and captures; returns its number there.  It must be new there."""
    (row,) = _rows(source, sa.select(schema.runs).where(schema.runs.c.number == run))
    new = _insert(target, schema.runs, row)
    _copy_captures(source, target, run)
    checks = sa.select(schema.checks).where(schema.checks.c.run == run)
    for check in _rows(source, checks.order_by(schema.checks.c.number)):
        old = check["number"]
        to = _insert(target, schema.checks, {**check, "run": new})
        for table in _OF_CHECK:
            rows = _rows(source, sa.select(table).where(table.c.check == old))
            changed = {"check": to, **({"run": new} if "run" in table.c else {})}
            _insert_all(target, table, [{**row, **changed} for row in rows])
    ended = schema.run_ends
    if source.execute(sa.select(ended.c.run).where(ended.c.run == run)).first() is None:
        target.execute(schema.open_runs.insert().values(run=new))
    for table in _OF_RUN:
        rows = _rows(source, sa.select(table).where(table.c.run == run))
        _insert_all(target, table, [{**row, "run": new} for row in rows])
    return new


def _copy_captures(source: sa.Connection, target: sa.Connection, run: int) -> None:
    links = schema.run_captures
    query = sa.select(links.c.capture).where(links.c.run == run).distinct()
    for key in source.scalars(query).all():
        keep_capture(target, described_as_stored(source, key))
        _copy_expiry(source, target, key)


def described_as_stored(source: sa.Connection, key: str) -> Described:
    """A capture as it is stored, its content expired or not."""
    captures, contents = schema.captures, schema.contents
    query = sa.select(captures, contents).join_from(captures, contents)
    _, kind, sha256, description, _, codec, dtype, length, data = tuple(
        source.execute(query.where(captures.c.sha256 == key)).one()
    )
    return Described(kind, Packed(sha256, codec, dtype, length, data), description)


def _copy_expiry(source: sa.Connection, target: sa.Connection, key: str) -> None:
    captures, expired = schema.captures, schema.expired
    content = sa.select(captures.c.content).where(captures.c.sha256 == key).scalar_subquery()
    query = sa.select(expired.c.content, expired.c.moment).where(expired.c.content == content)
    for row in _rows(source, query):
        known = sa.select(expired.c.number).where(
            expired.c.content == row["content"], expired.c.moment == row["moment"]
        )
        if target.execute(known.limit(1)).first() is None:
            _insert_all(target, expired, [row])


def _rows(connection: sa.Connection, query: sa.Select[Any]) -> list[dict[str, Any]]:
    return [dict(row) for row in connection.execute(query).mappings()]


def _insert(connection: sa.Connection, table: sa.Table, row: dict[str, Any]) -> int:
    values = {name: value for name, value in row.items() if name != "number"}
    result = connection.execute(table.insert().values(**values))
    (number,) = result.inserted_primary_key or (0,)
    return int(number)


def _insert_all(connection: sa.Connection, table: sa.Table, rows: list[dict[str, Any]]) -> None:
    if rows:
        connection.execute(table.insert(), rows)
