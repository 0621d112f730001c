"""Whether a run may join a lot, and as which unit."""

from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from rungbench.archive import schema
from rungbench.archive.record import utc_now
from rungbench.archive.rows import search_key
from rungbench.lots.counting import LotRun
from rungbench.lots.decision import LotDecision
from rungbench.lots.errors import LotRefused
from rungbench.lots.lot import Lot, LotEnd
from rungbench.lots.reading import end_of_lot, runs_of
from rungbench.lots.rows import Row
from rungbench.lots.serials import check_serial


@dataclass(frozen=True, slots=True)
class Joining:
    """A run's serial number and, if the unit was tested before, why it is again."""

    serial: str
    reason: str = ""


def admit(connection: sa.Connection, lot: Lot, serial: str, reason: str) -> int:
    """The unit that a run of this serial number is of.

    Raises
    ------
    LotRefused : the lot is closed; the unit is not of the sample; it was tested and no reason
        says why it is again, or it was not and one does.
    WrongUse : the serial number does not fit the pattern of the model sheet.
    """
    require_open(lot, end_of_lot(connection, lot.number))
    text = check_serial(serial, lot.sheet)
    unit = _known_unit(connection, lot, text)
    if unit is None:
        unit = _next_place(connection, lot, text)
    _require_reason(lot, text, runs_of(connection, lot.number).get(unit, []), reason)
    return unit


def require_first(connection: sa.Connection, lot: Lot, serial: str, before: int | None) -> None:
    """Refuse a run whose charger was tested for the same plan since the lot was made, outside it.

    Otherwise somebody could test a unit until it passes, and let only that run join.  `before` is
    the number of the run in question, ``None`` one that is to come.
    """
    runs, joined, origins = schema.runs, schema.lot_runs, schema.run_origins
    query = (
        sa.select(runs.c.run_id)
        .outerjoin_from(runs, joined, joined.c.run == runs.c.number)
        .where(
            runs.c.serial_key == search_key(serial),
            runs.c.maker_key == search_key(lot.sheet.maker or ""),
            runs.c.plan_hash == lot.basis.plan_hash,
            runs.c.profile_hash == lot.basis.profile_hash,
            runs.c.started >= lot.made,
            joined.c.run.is_(None),
            # Made from another record, not on the bench.
            ~sa.exists().where(origins.c.run == runs.c.number),
        )
        .order_by(runs.c.number)
        .limit(1)
    )
    if before is not None:
        query = query.where(runs.c.number < before)
    earlier = connection.scalar(query)
    if earlier is not None:
        raise LotRefused(
            f"Serial {serial!r} was tested by this plan outside lot {lot.name!r} first (record "
            f"{earlier}); let that run join before (`rungbench lot add`)."
        )


def join(connection: sa.Connection, lot: Lot, run: int, joining: Joining) -> None:
    """Enter a run into the lot, and the serial number of a unit that had none."""
    hold(connection, lot)
    unit = admit(connection, lot, joining.serial, joining.reason)
    require_first(connection, lot, joining.serial, run)
    if _known_unit(connection, lot, joining.serial) is None:
        row = serial_row(lot.number, unit, joining.serial.strip(), utc_now())
        connection.execute(schema.lot_serials.insert().values(**row))
    row = {
        "run": run,
        "lot": lot.number,
        "unit": unit,
        "reason": joining.reason.strip(),
        "joined": utc_now(),
    }
    connection.execute(schema.lot_runs.insert().values(**row))


def enter_serial(connection: sa.Connection, lot: Lot, unit: int, serial: str) -> None:
    """As `Lots.scan`."""
    hold(connection, lot)
    require_open(lot, end_of_lot(connection, lot.number))
    text = check_serial(serial, lot.sheet)
    known = connection.scalar(_serials(lot).where(schema.lot_serials.c.unit == unit))
    if known is not None:
        raise LotRefused(
            f"Unit {unit} of lot {lot.name!r} has the serial number {known!r} already."
        )
    other = _unit_of_serial(connection, lot, text)
    if other is not None:
        raise LotRefused(
            f"Serial {text!r} was scanned before: it is unit {other} of lot {lot.name!r}; scan "
            "the next one."
        )
    if not _drawn(connection, lot, unit):
        raise LotRefused(_not_drawn(lot, unit))
    row = serial_row(lot.number, unit, text, utc_now())
    connection.execute(schema.lot_serials.insert().values(**row))


def hold(connection: sa.Connection, lot: Lot) -> None:
    """Let nobody else write to the lot until the transaction ends.

    Writers of a file queue anyway; on a server two benches would else look at the same moment.
    """
    row = sa.select(schema.lots.c.number).where(schema.lots.c.number == lot.number)
    connection.execute(row.with_for_update())


def require_open(lot: Lot, end: LotEnd | None) -> None:
    """Refuse a lot that is closed."""
    if end is not None:
        how = "without a decision" if end.decision is LotDecision.OPEN else str(end.decision)
        raise LotRefused(
            f"Lot {lot.name!r} is closed ({how}); a new inspection is a lot of its own."
        )


def require_free(connection: sa.Connection, run: int, run_id: str) -> None:
    """Refuse a run that belongs to a lot."""
    joined, lots = schema.lot_runs, schema.lots
    query = (
        sa.select(lots.c.name)
        .join_from(joined, lots, joined.c.lot == lots.c.number)
        .where(joined.c.run == run)
    )
    name = connection.scalar(query)
    if name is not None:
        raise LotRefused(f"Record {run_id} is in lot {name!r} already; a run counts once.")


def serial_row(lot: int, unit: int, serial: str, stored: datetime) -> Row:
    """Row of `lot_serials`."""
    return {
        "lot": lot,
        "unit": unit,
        "serial": serial,
        "serial_key": search_key(serial),
        "stored": stored,
    }


def _known_unit(connection: sa.Connection, lot: Lot, serial: str) -> int | None:
    """The unit of the sample with this serial number, ``None`` if no unit has it yet."""
    unit = _unit_of_serial(connection, lot, serial)
    if unit is None:
        if lot.listed:
            raise LotRefused(
                f"Serial {serial!r} is not in the list of lot {lot.name!r}; scan it again, or "
                "put it back."
            )
        return None
    if not _drawn(connection, lot, unit):
        raise LotRefused(f"Serial {serial!r}: {_not_drawn(lot, unit)}")
    return unit


def _next_place(connection: sa.Connection, lot: Lot, serial: str) -> int:
    sample, serials = schema.lot_sample, schema.lot_serials
    same = (serials.c.lot == sample.c.lot) & (serials.c.unit == sample.c.unit)
    unit = connection.scalar(
        sa.select(sample.c.unit)
        .outerjoin_from(sample, serials, same)
        .where(sample.c.lot == lot.number, serials.c.unit.is_(None))
        .order_by(sample.c.unit)
        .limit(1)
    )
    if unit is None:
        raise LotRefused(
            f"Serial {serial!r} is none of lot {lot.name!r}, whose "
            f"{lot.plan.sample_size} units all have their serial numbers; scan it again."
        )
    return int(unit)


def _require_reason(lot: Lot, serial: str, runs: list[LotRun], reason: str) -> None:
    if runs and not reason.strip():
        last = runs[-1]
        raise LotRefused(
            f"Serial {serial!r} was tested before in lot {lot.name!r} (record {last.run_id}, "
            f"{last.verdict}); scan the next one, or state why it is tested again (--retest)."
        )
    if reason.strip() and not runs:
        raise LotRefused(
            f"Serial {serial!r} was not tested before in lot {lot.name!r}; leave --retest out."
        )


def _serials(lot: Lot) -> sa.Select[tuple[str]]:
    return sa.select(schema.lot_serials.c.serial).where(schema.lot_serials.c.lot == lot.number)


def _unit_of_serial(connection: sa.Connection, lot: Lot, serial: str) -> int | None:
    table = schema.lot_serials
    query = sa.select(table.c.unit).where(
        table.c.lot == lot.number, table.c.serial_key == search_key(serial)
    )
    unit = connection.scalar(query)
    return None if unit is None else int(unit)


def _drawn(connection: sa.Connection, lot: Lot, unit: int) -> bool:
    table = schema.lot_sample
    query = sa.select(table.c.unit).where(table.c.lot == lot.number, table.c.unit == unit)
    return connection.scalar(query) is not None


def _not_drawn(lot: Lot, unit: int) -> str:
    return (
        f"unit {unit} was not drawn from lot {lot.name!r}; only the units of the sample decide it "
        "(`rungbench lot next`)."
    )
