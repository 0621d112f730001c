"""Queries about lots: from open connection to lots."""

from collections import defaultdict
from collections.abc import Iterable, Mapping

import sqlalchemy as sa
from sqlalchemy import RowMapping

from rungbench.archive import schema
from rungbench.archive.reading import load_record
from rungbench.archive.record import NOT_FINISHED, RunVerdict
from rungbench.archive.rows import search_key
from rungbench.lots.counting import LotRun, Unit, tally_of
from rungbench.lots.decision import decide
from rungbench.lots.errors import NoSuchLot
from rungbench.lots.lot import Lot, LotEnd, LotState
from rungbench.lots.moving import moves_of, serials_now, units_now
from rungbench.lots.rows import end_of, lot_of


def find_lot(connection: sa.Connection, name: str, *, simulated: bool) -> Lot:
    """The lot of that name, upper or lower case.

    Raises
    ------
    NoSuchLot : there is none.
    """
    wanted = schema.lots.c.name_key == search_key(name)
    found = _lots(connection, wanted, simulated)
    if not found:
        raise NoSuchLot(f"There is no lot {name!r}; `rungbench lot list` shows the names.")
    return found[0]


def lots_of(connection: sa.Connection, supplier: str | None, *, simulated: bool) -> list[Lot]:
    """Lots of one supplier or of all, the oldest first."""
    if supplier is None:
        return _lots(connection, sa.true(), simulated)
    return _lots(connection, schema.lots.c.supplier_key == search_key(supplier), simulated)


def _lots(
    connection: sa.Connection, condition: sa.ColumnElement[bool], simulated: bool
) -> list[Lot]:
    lots, old = schema.lots, schema.lots.alias()
    query = (
        sa.select(lots, old.c.name.label("old_name"))
        .outerjoin_from(lots, old, lots.c.resubmits == old.c.number)
        .where(condition)
        .order_by(lots.c.number)
    )
    rows = connection.execute(query).mappings()
    return [lot_of(row, row["old_name"], simulated=simulated) for row in rows]


def state_of(connection: sa.Connection, lot: Lot) -> LotState:
    """A lot as far as it has come."""
    return states_of(connection, [lot])[0]


def states_of(connection: sa.Connection, lots: Iterable[Lot]) -> list[LotState]:
    """Several lots as far as they have come."""
    return [_state(connection, lot) for lot in lots]


def _state(connection: sa.Connection, lot: Lot) -> LotState:
    units = units_of(connection, lot.number)
    standing = decide(lot.plan, tally_of(units))
    again = connection.scalars(
        sa.select(schema.lots.c.name).where(schema.lots.c.resubmits == lot.number)
    )
    return LotState(
        lot,
        units,
        standing,
        end_of_lot(connection, lot.number),
        tuple(again),
        moves_of(connection, lot.number),
    )


def end_of_lot(connection: sa.Connection, lot: int) -> LotEnd | None:
    """How the lot was closed, if it was."""
    query = sa.select(schema.lot_ends).where(schema.lot_ends.c.lot == lot)
    row = connection.execute(query).mappings().one_or_none()
    return None if row is None else end_of(row)


def units_of(connection: sa.Connection, lot: int) -> tuple[Unit, ...]:
    """Units of the sample with their runs."""
    sample, serials = schema.lot_sample, schema.lot_serials
    same = (serials.c.lot == sample.c.lot) & (serials.c.unit == sample.c.unit)
    query = (
        sa.select(sample.c.unit, serials.c.serial)
        .outerjoin_from(sample, serials, same)
        .where(sample.c.lot == lot)
        .order_by(sample.c.unit)
    )
    rows = connection.execute(query).all()
    known = {unit: serial for unit, serial in rows if serial is not None}
    named = serials_now(known, moves_of(connection, lot))
    runs = runs_of(connection, lot)
    return tuple(Unit(unit, named.get(unit, ""), tuple(runs.get(unit, ()))) for unit, _ in rows)


def runs_of(connection: sa.Connection, lot: int) -> Mapping[int, list[LotRun]]:
    """Runs of a lot by the unit that they are of, in the order in which they were begun."""
    joined, runs, ends = schema.lot_runs, schema.runs, schema.run_ends
    query = (
        sa.select(
            *(runs.c[name] for name in ("number", "run_id", "started", "operator")),
            *(joined.c[name] for name in ("unit", "reason")),
            *(ends.c[name] for name in ("verdict", "interrupted")),
        )
        .join_from(joined, runs, joined.c.run == runs.c.number)
        .outerjoin(ends, ends.c.run == runs.c.number)
        .where(joined.c.lot == lot)
        .order_by(joined.c.run)
    )
    moved = units_now(moves_of(connection, lot))
    found: dict[int, list[LotRun]] = defaultdict(list)
    for row in connection.execute(query).mappings():
        unit = moved.get(row["number"], row["unit"])
        if unit is not None:
            found[unit].append(_run(connection, row, unit))
    return found


def _run(connection: sa.Connection, row: RowMapping, unit: int) -> LotRun:
    ended = row["verdict"] is not None
    return LotRun(
        verdict=RunVerdict(row["verdict"])
        if ended
        else load_record(connection, row["number"]).verdict,
        interrupted=row["interrupted"] if ended else NOT_FINISHED,
        unit=unit,
        **{name: row[name] for name in ("number", "run_id", "started", "operator", "reason")},
    )
