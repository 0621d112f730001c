"""Whether a run may join a lot, and as which unit."""

from dataclasses import dataclass
from datetime import datetime

import sqlalchemy as sa

from rungbench.archive import schema
from rungbench.archive.lot_events import is_own
from rungbench.archive.record import utc_now
from rungbench.archive.rows import search_key
from rungbench.lots.decision import LotDecision
from rungbench.lots.errors import LotRefused
from rungbench.lots.lot import Lot, LotEnd
from rungbench.lots.moving import moves_of, serials_by_place, units_now
from rungbench.lots.reading import end_of_lot, runs_of
from rungbench.lots.rows import Row
from rungbench.lots.serials import check_serial


@dataclass(frozen=True, slots=True)
class Correction:
    """The unit that a run is of, ``None``: of none, and why."""

    unit: int | None
    reason: str
    operator: str = ""


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
    before = [
        f"record {run.run_id}, {run.verdict}"
        for run in runs_of(connection, lot.number).get(unit, [])
    ]
    before += _taken_out(connection, lot, text)
    _require_reason(lot, text, before, reason)
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
    require_own(connection, lot)
    unit = admit(connection, lot, joining.serial, joining.reason)
    require_first(connection, lot, joining.serial, run)
    if _known_unit(connection, lot, joining.serial) is None:
        _enter(connection, lot, unit, joining.serial.strip())
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
    require_own(connection, lot)
    text = check_serial(serial, lot.sheet)
    known = _serial_of_unit(connection, lot, unit)
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
    _enter(connection, lot, unit, text)


def _enter(connection: sa.Connection, lot: Lot, unit: int, serial: str) -> None:
    """Enter a serial number; where an earlier row stands in the way, as a correction of it."""
    table, key = schema.lot_serials, search_key(serial)
    same = (table.c.unit == unit) | (table.c.serial_key == key)
    before = sa.select(table.c.unit).where(table.c.lot == lot.number, same).limit(1)
    if connection.execute(before).first() is None:
        row = serial_row(lot.number, unit, serial, utc_now())
        connection.execute(table.insert().values(**row))
        return
    row = {
        "lot": lot.number,
        "run": None,
        "before": None,
        "unit": unit,
        "serial": serial,
        "reason": "",
        "operator": "",
        "moved": utc_now(),
    }
    connection.execute(schema.lot_moves.insert().values(**row))


def hold(connection: sa.Connection, lot: Lot) -> None:
    """Let nobody else write to the lot until the transaction ends.

    Writers of a file queue anyway; on a server two benches would else look at the same moment.
    """
    row = sa.select(schema.lots.c.number).where(schema.lots.c.number == lot.number)
    connection.execute(row.with_for_update())


def require_own(connection: sa.Connection, lot: Lot) -> None:
    """Refuse a lot that was made in another archive: it goes on there, or in neither."""
    if not is_own(connection, lot.number):
        raise LotRefused(
            f"Lot {lot.name!r} came from another archive; its inspection goes on there."
        )


def move(connection: sa.Connection, lot: Lot, run: int, correction: Correction) -> None:
    """Enter that a run is of another unit, or of none.

    In a lot drawn by places the serial number goes along, and with it all runs of the unit.

    Raises
    ------
    LotRefused : no reason is given, the run is not of this lot, the unit was not drawn or has
        another serial number, the lot is closed.
    """
    hold(connection, lot)
    require_open(lot, end_of_lot(connection, lot.number))
    require_own(connection, lot)
    before, run_id = _unit_now(connection, lot, run)
    _require_move(connection, lot, correction, (before, run_id))
    serial = None if lot.listed else _serial_of_run(connection, run)
    if serial is not None:
        _require_place(connection, lot, correction.unit, serial)
    together = [run]
    if serial is not None and before is not None:
        together = [one.number for one in runs_of(connection, lot.number).get(before, [])]
    rows = [
        {
            "lot": lot.number,
            "run": one,
            "before": before,
            "unit": correction.unit,
            "serial": serial,
            "reason": correction.reason.strip(),
            "operator": correction.operator,
            "moved": utc_now(),
        }
        for one in together
    ]
    connection.execute(schema.lot_moves.insert(), rows)


def _unit_now(connection: sa.Connection, lot: Lot, run: int) -> tuple[int | None, str]:
    joined, runs = schema.lot_runs, schema.runs
    query = (
        sa.select(joined.c.unit, runs.c.run_id)
        .join_from(runs, joined, joined.c.run == runs.c.number)
        .where(joined.c.lot == lot.number, joined.c.run == run)
    )
    row = connection.execute(query).one_or_none()
    if row is None:
        raise LotRefused(f"That run is not of lot {lot.name!r}; `rungbench lot show` lists those.")
    now = units_now(moves_of(connection, lot.number))
    return now.get(run, row.unit), row.run_id


def _require_move(
    connection: sa.Connection, lot: Lot, correction: Correction, run: tuple[int | None, str]
) -> None:
    before, run_id = run
    if not correction.reason.strip():
        raise LotRefused("State why the run is of another unit (--reason); it stands in the lot.")
    if correction.unit == before:
        word = "out of the lot" if before is None else f"of unit {before}"
        raise LotRefused(f"Record {run_id} is {word} already.")
    if correction.unit is not None and not _drawn(connection, lot, correction.unit):
        raise LotRefused(_not_drawn(lot, correction.unit))


def _serial_of_run(connection: sa.Connection, run: int) -> str:
    query = sa.select(schema.runs.c.serial).where(schema.runs.c.number == run)
    return str(connection.scalar(query)).strip()


def _require_place(connection: sa.Connection, lot: Lot, unit: int | None, serial: str) -> None:
    """Refuse a unit that is known to be another charger."""
    known = serials_by_place(connection, lot.number).get(unit) if unit is not None else None
    if known is not None and search_key(known) != search_key(serial):
        raise LotRefused(
            f"Unit {unit} of lot {lot.name!r} has the serial number {known!r}; move that one "
            "first (`--out` takes it out of the lot for the time being)."
        )


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
    sample = schema.lot_sample
    drawn = sa.select(sample.c.unit).where(sample.c.lot == lot.number).order_by(sample.c.unit)
    known = serials_by_place(connection, lot.number)
    unit = next((unit for unit in connection.scalars(drawn) if unit not in known), None)
    if unit is None:
        raise LotRefused(
            f"Serial {serial!r} is none of lot {lot.name!r}, whose "
            f"{lot.plan.sample_size} units all have their serial numbers; scan it again."
        )
    return int(unit)


def _taken_out(connection: sa.Connection, lot: Lot, serial: str) -> list[str]:
    """Runs of this serial number that no longer count: else it could be tested until it passes."""
    out = [run for run, unit in units_now(moves_of(connection, lot.number)).items() if unit is None]
    runs = schema.runs
    query = (
        sa.select(runs.c.run_id)
        .where(runs.c.number.in_(out), runs.c.serial_key == search_key(serial))
        .order_by(runs.c.number)
    )
    return [f"record {run_id}, taken out of the lot" for run_id in connection.scalars(query)]


def _require_reason(lot: Lot, serial: str, before: list[str], reason: str) -> None:
    if before and not reason.strip():
        raise LotRefused(
            f"Serial {serial!r} was tested before in lot {lot.name!r} ({before[-1]}); scan the "
            "next one, or state why it is tested again (--retest)."
        )
    if reason.strip() and not before:
        raise LotRefused(
            f"Serial {serial!r} was not tested before in lot {lot.name!r}; leave --retest out."
        )


def _serial_of_unit(connection: sa.Connection, lot: Lot, unit: int) -> str | None:
    if not lot.listed:
        return serials_by_place(connection, lot.number).get(unit)
    table = schema.lot_serials
    query = sa.select(table.c.serial).where(table.c.lot == lot.number, table.c.unit == unit)
    serial = connection.scalar(query)
    return None if serial is None else str(serial)


def _unit_of_serial(connection: sa.Connection, lot: Lot, serial: str) -> int | None:
    table, key = schema.lot_serials, search_key(serial)
    if not lot.listed:
        known = serials_by_place(connection, lot.number)
        return next((unit for unit, one in known.items() if search_key(one) == key), None)
    query = sa.select(table.c.unit).where(table.c.lot == lot.number, table.c.serial_key == key)
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
