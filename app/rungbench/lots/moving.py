"""Runs that joined a lot as a unit that they are not of: a new entry says so, the old one stays."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from rungbench.archive import schema
from rungbench.archive.rows import search_key


@dataclass(frozen=True, slots=True)
class Move:
    """One correction: a run taken for unit `before` is of `unit`; ``None`` is out of the lot.

    `serial` is the serial number that goes along, in a lot that was drawn by places.  Without a run
    it is the serial number of a unit whose first one turned out to be another's.
    """

    run: int | None
    run_id: str | None
    before: int | None
    unit: int | None
    serial: str | None
    reason: str
    operator: str
    moved: datetime


def moves_of(connection: sa.Connection, lot: int) -> tuple[Move, ...]:
    """All corrections of a lot, the oldest first."""
    moves, runs = schema.lot_moves, schema.runs
    query = (
        sa.select(
            moves.c.run,
            runs.c.run_id,
            *(
                moves.c[name]
                for name in ("before", "unit", "serial", "reason", "operator", "moved")
            ),
        )
        .outerjoin_from(moves, runs, moves.c.run == runs.c.number)
        .where(moves.c.lot == lot)
        .order_by(moves.c.number)
    )
    return tuple(Move(*row) for row in connection.execute(query))


def units_now(moves: Iterable[Move]) -> dict[int, int | None]:
    """Unit of each run that was moved; ``None``: it is out of the lot."""
    return {move.run: move.unit for move in moves if move.run is not None}


def serials_now(serials: dict[int, str], moves: Iterable[Move]) -> dict[int, str]:
    """Serial numbers by unit, once those of the moves have gone along."""
    found = dict(serials)
    for move in moves:
        if move.serial is None:
            continue
        key = search_key(move.serial)
        found = {unit: one for unit, one in found.items() if search_key(one) != key}
        if move.unit is not None:
            found[move.unit] = move.serial
    return found


def serials_by_place(connection: sa.Connection, lot: int) -> dict[int, str]:
    """Serial numbers that are known of a lot drawn by places, by unit."""
    table = schema.lot_serials
    query = sa.select(table.c.unit, table.c.serial).where(table.c.lot == lot)
    stored = {int(unit): str(serial) for unit, serial in connection.execute(query)}
    return serials_now(stored, moves_of(connection, lot))
