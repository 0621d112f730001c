"""Lots against what they follow from: the tables, the seed, the list, the verdicts of the units.

The chain shows that nothing was changed since it was entered; this shows that what was entered is
what the rules give.
"""

from collections.abc import Iterator
from typing import Final

import sqlalchemy as sa

from rungbench.archive import schema
from rungbench.archive.store import Archive
from rungbench.archive.verified import Break
from rungbench.lots.decision import LotDecision, Tally, decide
from rungbench.lots.drawing import draw
from rungbench.lots.errors import LotRefused
from rungbench.lots.lot import Lot, LotEnd, LotState
from rungbench.lots.reading import lots_of, state_of
from rungbench.lots.sampling import plan_for
from rungbench.lots.serials import list_hash

_SURE: Final = ("passed", "failed", "undecided")


def audit(archive: Archive) -> tuple[Break, ...]:
    """What of the lots does not follow from what it should.

    Raises
    ------
    ArchiveError : the archive cannot be read.
    """
    with archive.reading() as connection:
        lots = lots_of(connection, None, simulated=archive.simulated)
        return tuple(
            Break("", None, "", f"Lot {lot.name!r}: {why}.")
            for lot in lots
            for why in _faults(connection, lot)
        )


def _faults(connection: sa.Connection, lot: Lot) -> Iterator[str]:
    plan = lot.plan
    try:
        same = plan_for(plan.lot_size, plan.aql, plan.level, plan.severity) == plan
    except LotRefused:
        same = False
    if not same:
        yield "its sampling plan is not that of the standard's tables"
        return
    state = state_of(connection, lot)
    if tuple(unit.number for unit in state.units) != draw(
        lot.seed, plan.lot_size, plan.sample_size
    ):
        yield "its sample is not the one that its seed draws"
    if lot.listed and list_hash(_list(connection, lot)) != lot.list_sha256:
        yield "its list of serial numbers is not the one that was drawn from"
    yield from _of_units(connection, state)
    if state.end is not None:
        yield from _of_end(connection, state, state.end)


def _list(connection: sa.Connection, lot: Lot) -> list[str]:
    table = schema.lot_serials
    query = sa.select(table.c.serial).where(table.c.lot == lot.number).order_by(table.c.unit)
    return list(connection.scalars(query))


def _of_units(connection: sa.Connection, state: LotState) -> Iterator[str]:
    """Runs of each unit bear its serial number, unless a correction says why not."""
    moved = {move.run_id for move in state.moves}
    numbers = [run.number for unit in state.units for run in unit.runs]
    runs = schema.runs
    query = sa.select(runs.c.run_id, runs.c.serial_key).where(runs.c.number.in_(numbers))
    keys = dict(connection.execute(query).all())
    for unit in state.units:
        for run in unit.runs:
            if run.run_id not in moved and keys[run.run_id] != unit.serial.strip().casefold():
                yield f"record {run.run_id} is not of the serial number of unit {unit.number}"


def _of_end(connection: sa.Connection, state: LotState, end: LotEnd) -> Iterator[str]:
    """A decision that its own counts give, and counts that the runs still bear out."""
    tally, now = end.tally, state.standing.tally
    try:
        given = decide(state.lot.plan, tally).decision
    except ValueError:
        yield "its counts at the end are not those of its sample"
        return
    if given is not end.decision and end.decision is not LotDecision.OPEN:
        yield f"it was closed as {end.decision}, and its counts give {given}"
    # A run that was under way when the lot was closed may have ended since.
    if any(getattr(tally, name) > getattr(now, name) for name in _SURE):
        yield f"its counts at the end ({_told(tally)}) are not what its runs come to ({_told(now)})"
    heads = connection.scalar(
        sa.select(schema.lot_ends.c.heads).where(schema.lot_ends.c.lot == state.lot.number)
    )
    for chain, head in (heads or {}).items():
        if _cut_off(connection, chain, head):
            yield f"a chain had the head {head} when it was closed, and that is gone: it is cut off"


def _cut_off(connection: sa.Connection, chain: str, head: str) -> bool:
    """Whether a chain is here and an entry that it had is not."""
    chains, entries = schema.chains, schema.entries
    number = connection.scalar(sa.select(chains.c.number).where(chains.c.chain == chain))
    first = connection.scalar(
        sa.select(sa.func.min(entries.c.position)).where(entries.c.chain == number)
    )
    # Of a chain that was handed on from a later entry nothing can be said.
    if number is None or first != 1:
        return False
    query = sa.select(entries.c.position).where(entries.c.chain == number, entries.c.hash == head)
    return connection.execute(query).first() is None


def _told(tally: Tally) -> str:
    return f"{tally.passed} passed, {tally.failed} failed, {tally.undecided} undecided"
