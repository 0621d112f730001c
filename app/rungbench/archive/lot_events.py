"""What happened to a lot, each as plain values with a hash: the entries of the chain of lots.

All lots of an archive share one chain, so that none of them can vanish without the later ones
noticing.  An entry names its lot by an id that is the beginning of the hash of how it was made: its
sample, seed and plan are then in every later entry too.
"""

import hashlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Final

import sqlalchemy as sa

from rungbench.archive import schema
from rungbench.archive.chain import Kind, canonical
from rungbench.archive.links import Chain, append, chains_of, head_of, own_chain

LOTS: Final = "lots of this archive"
"""What stands for the bench in the chain of lots; no board's id is that long."""

_PREFIX: Final = "lot-"
_DIGITS: Final = 24
_DERIVED: Final = frozenset({"number", "name_key", "supplier_key", "resubmits"})


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happened to the lot `lot` (its id)."""

    lot: str
    kind: Kind
    sha256: str


def lot_id(connection: sa.Connection, lot: int) -> str:
    """The id by which the chain knows a lot, from all that was said when it was made."""
    return f"{_PREFIX}{_made(connection, lot)[:_DIGITS]}"


def events_of(connection: sa.Connection, lot: int) -> Iterator[Event]:
    """All that happened to a lot as its tables say today, in an order of kinds."""
    made = _made(connection, lot)
    name = f"{_PREFIX}{made[:_DIGITS]}"
    yield Event(name, Kind.LOT_MADE, made)
    for kind, plain in _later(connection, lot):
        yield Event(name, kind, _sha256({"lot": name, **plain}))


def enter_new(connection: sa.Connection, lot: int) -> None:
    """Enter what the chain does not hold yet of a lot that was just written to."""
    events = list(events_of(connection, lot))
    entries = schema.entries
    query = sa.select(entries.c.sha256).where(entries.c.record == events[0].lot)
    chain = own_chain(connection, LOTS)
    known = set(connection.scalars(query))
    for event in events:
        if event.sha256 not in known:
            append(connection, chain, event.kind, (event.lot, event.sha256))


def adopt_lots(connection: sa.Connection) -> None:
    """Enter all that happened to lots before the archive had a chain of them."""
    lots = connection.scalars(sa.select(schema.lots.c.number).order_by(schema.lots.c.number)).all()
    for lot in lots:
        enter_new(connection, lot)


def heads_now(connection: sa.Connection) -> dict[str, str]:
    """The hash of the last entry of each chain that benches of this archive write."""
    mine = [one for one in chains_of(connection) if one.own and one.bench != LOTS]
    heads = {one.chain: head_of(connection, one) for one in mine}
    return {chain: head[1] for chain, head in heads.items() if head is not None}


def is_own(connection: sa.Connection, lot: int) -> bool:
    """Whether a lot was made here, and did not come from another archive."""
    entries, chains = schema.entries, schema.chains
    query = (
        sa.select(chains.c.own)
        .join_from(entries, chains, entries.c.chain == chains.c.number)
        .where(entries.c.record == lot_id(connection, lot), entries.c.kind == Kind.LOT_MADE.value)
        .limit(1)
    )
    return bool(connection.scalar(query))


def is_lots(chain: Chain) -> bool:
    """Whether a chain is one of lots."""
    return chain.bench == LOTS


def _made(connection: sa.Connection, lot: int) -> str:
    table, sample = schema.lots, schema.lot_sample
    row = connection.execute(sa.select(table).where(table.c.number == lot)).mappings().one()
    units = connection.scalars(
        sa.select(sample.c.unit).where(sample.c.lot == lot).order_by(sample.c.unit)
    ).all()
    old = row["resubmits"]
    plain = {name: value for name, value in row.items() if name not in _DERIVED}
    before = None if old is None else lot_id(connection, old)
    return _sha256({"event": "made", **plain, "resubmits": before, "sample": list(units)})


def _later(connection: sa.Connection, lot: int) -> Iterator[tuple[Kind, dict[str, Any]]]:
    serials, joined, moves, ends = (
        schema.lot_serials,
        schema.lot_runs,
        schema.lot_moves,
        schema.lot_ends,
    )
    listed = connection.scalar(
        sa.select(schema.lots.c.list_sha256).where(schema.lots.c.number == lot)
    )
    if listed is None:
        # Those of a list are in its hash, which was there when the lot was made.
        for row in _rows(connection, serials, ("unit", "serial", "stored"), lot):
            yield Kind.LOT_SERIAL, {"event": "serial", **row}
    of_runs: tuple[tuple[sa.Table, Kind, str, tuple[str, ...]], ...] = (
        (joined, Kind.LOT_RUN, "run", ("unit", "reason", "joined")),
        (moves, Kind.LOT_MOVED, "moved", _MOVED),
    )
    for table, kind, word, names in of_runs:
        for row in _of_runs(connection, table, names, lot):
            yield kind, {"event": word, **row}
    for row in _rows(connection, ends, ("decision", "reason", "operator", "closed", "tally"), lot):
        heads = connection.scalar(sa.select(ends.c.heads).where(ends.c.lot == lot))
        yield Kind.LOT_CLOSED, {"event": "closed", **row, **({"heads": heads} if heads else {})}


_MOVED: Final = ("before", "unit", "serial", "reason", "operator", "moved")


def _rows(
    connection: sa.Connection, table: sa.Table, names: tuple[str, ...], lot: int
) -> list[dict[str, Any]]:
    query = sa.select(*(table.c[name] for name in names)).where(table.c.lot == lot)
    order = table.c.unit if "unit" in names else table.c.lot
    return [dict(row) for row in connection.execute(query.order_by(order)).mappings()]


def _of_runs(
    connection: sa.Connection, table: sa.Table, names: tuple[str, ...], lot: int
) -> list[dict[str, Any]]:
    runs = schema.runs
    order = table.c.number if "number" in table.c else table.c.run
    query = (
        sa.select(runs.c.run_id.label("run"), *(table.c[name] for name in names))
        .outerjoin_from(table, runs, table.c.run == runs.c.number)
        .where(table.c.lot == lot)
        .order_by(order)
    )
    return [dict(row) for row in connection.execute(query).mappings()]


def _sha256(plain: dict[str, Any]) -> str:
    return hashlib.sha256(canonical(plain)).hexdigest()
