"""Lots from one archive to another, together with the records of their runs."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Any, Final

import sqlalchemy as sa

from rungbench.archive import schema
from rungbench.archive.errors import ArchiveError
from rungbench.archive.lot_events import events_of, is_own, lot_id

_OF_LOT: Final = (schema.lot_sample, schema.lot_serials, schema.lot_ends)
_OF_RUNS: Final = (schema.lot_runs, schema.lot_moves)


@dataclass(frozen=True, slots=True)
class LotsChosen:
    """Lots that are handed on: their numbers, the oldest first, and the ids of their runs."""

    numbers: tuple[int, ...]
    run_ids: frozenset[str]


def every_lot(connection: sa.Connection) -> LotsChosen:
    """All lots of an archive."""
    table = schema.lots
    return _with_runs(connection, connection.scalars(sa.select(table.c.number)).all())


def chosen_lots(connection: sa.Connection, names: Iterable[str]) -> LotsChosen:
    """Lots by name, upper or lower case as stored, with those that they present again."""
    table = schema.lots
    numbers: list[int] = []
    for name in names:
        at = connection.scalar(sa.select(table.c.number).where(table.c.name == name))
        if at is None:
            raise ArchiveError(f"There is no lot {name!r}; `rungbench lot list` shows the names.")
        while at is not None:
            numbers.append(int(at))
            at = connection.scalar(sa.select(table.c.resubmits).where(table.c.number == at))
    return _with_runs(connection, numbers)


def _with_runs(connection: sa.Connection, numbers: Iterable[int]) -> LotsChosen:
    lots = tuple(sorted(set(numbers)))
    joined, runs = schema.lot_runs, schema.runs
    query = (
        sa.select(runs.c.run_id)
        .join_from(joined, runs, joined.c.run == runs.c.number)
        .where(joined.c.lot.in_(lots))
    )
    return LotsChosen(lots, frozenset(connection.scalars(query)))


def copy_lots(here: sa.Connection, there: sa.Connection, lots: LotsChosen) -> tuple[str, ...]:
    """Copy lots, or what happened to them since they were copied; returns their ids.

    Their runs must be there already.

    Raises
    ------
    ArchiveError : a lot there has the same name and is another one, or went on otherwise.
    """
    return tuple(_copy(here, there, number) for number in lots.numbers)


def _copy(here: sa.Connection, there: sa.Connection, number: int) -> str:
    table = schema.lots
    row = dict(here.execute(sa.select(table).where(table.c.number == number)).mappings().one())
    name, identity = row["name"], lot_id(here, number)
    old = there.scalar(sa.select(table.c.number).where(table.c.name_key == row["name_key"]))
    if old is None:
        old = _insert(here, there, row)
    elif lot_id(there, old) != identity:
        raise ArchiveError(
            f"There is another lot {name!r} in the other archive; a lot is known by its name, so "
            "this one is taken into an archive that has none."
        )
    if not _goes_on(here, there, (number, old)):
        return identity
    if is_own(there, old):
        raise ArchiveError(
            f"Lot {name!r} was made in the other archive and went on here; verify both "
            "(`rungbench records verify`)."
        )
    _add_rows(here, there, (number, old))
    return identity


def _goes_on(here: sa.Connection, there: sa.Connection, lots: tuple[int, int]) -> bool:
    """Whether more happened here than there; both ways is a fault."""
    mine = {event.sha256 for event in events_of(here, lots[0])}
    theirs = {event.sha256 for event in events_of(there, lots[1])}
    if mine - theirs and theirs - mine:
        raise ArchiveError(
            "A lot went on in both archives since it was copied; verify both (`rungbench records "
            "verify`), and take the newer one into an archive of its own."
        )
    return bool(mine - theirs) or _unlike(here, there, lots)


def _unlike(here: sa.Connection, there: sa.Connection, lots: tuple[int, int]) -> bool:
    """Whether serial numbers of a list are missing there, as they are of a lot that is new."""
    table = schema.lot_serials
    counts = [
        connection.scalar(sa.select(sa.func.count()).select_from(table).where(table.c.lot == lot))
        for connection, lot in ((here, lots[0]), (there, lots[1]))
    ]
    return counts[0] != counts[1]


def _insert(here: sa.Connection, there: sa.Connection, row: dict[str, Any]) -> int:
    values = {name: value for name, value in row.items() if name != "number"}
    if row["resubmits"] is not None:
        table = schema.lots
        name = here.scalar(sa.select(table.c.name_key).where(table.c.number == row["resubmits"]))
        values["resubmits"] = there.scalar(
            sa.select(table.c.number).where(table.c.name_key == name)
        )
    result = there.execute(schema.lots.insert().values(**values))
    (number,) = result.inserted_primary_key or (0,)
    sample = _rows(here, schema.lot_sample, row["number"])
    there.execute(schema.lot_sample.insert(), [{**one, "lot": number} for one in sample])
    return int(number)


def _add_rows(here: sa.Connection, there: sa.Connection, lots: tuple[int, int]) -> None:
    """Rows that are not there yet, each once."""
    numbers = _numbers(here, there, lots[0])
    for table in (*_OF_LOT, *_OF_RUNS):
        keys = [column.name for column in table.c if column.name not in ("number", "lot")]
        known = {_key(row, keys) for row in _rows(there, table, lots[1])}
        new = []
        for row in _rows(here, table, lots[0]):
            moved = {**row, "lot": lots[1]}
            if "run" in row and row["run"] is not None:
                moved["run"] = numbers[row["run"]]
            if _key(moved, keys) not in known:
                new.append({name: value for name, value in moved.items() if name != "number"})
        if new:
            there.execute(table.insert(), new)


def _key(row: dict[str, Any], keys: Sequence[str]) -> str:
    return repr([row[name] for name in keys])


def _rows(connection: sa.Connection, table: sa.Table, lot: int) -> list[dict[str, Any]]:
    query = sa.select(table).where(table.c.lot == lot).order_by(*table.primary_key.columns)
    return [dict(row) for row in connection.execute(query).mappings()]


def _numbers(here: sa.Connection, there: sa.Connection, lot: int) -> dict[int, int]:
    """Numbers of the lot's runs here and there."""
    joined, runs = schema.lot_runs, schema.runs
    query = (
        sa.select(runs.c.number, runs.c.run_id)
        .join_from(joined, runs, joined.c.run == runs.c.number)
        .where(joined.c.lot == lot)
    )
    ids = {str(run_id): int(number) for number, run_id in here.execute(query)}
    found = there.execute(
        sa.select(runs.c.run_id, runs.c.number).where(runs.c.run_id.in_(list(ids)))
    )
    return {ids[str(run_id)]: int(number) for run_id, number in found}
