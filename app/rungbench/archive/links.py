"""Entries of chains in the tables: put at the end, read from the beginning."""

import secrets
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Any, Final

import sqlalchemy as sa

from rungbench.archive import schema
from rungbench.archive.chain import Kind, Link, first_hash, header_hash, record_hash
from rungbench.archive.reading import load_record, number_of
from rungbench.archive.record import Record, utc_now
from rungbench.archive.server import take_turn

_ID_BYTES: Final = 16
# How far back a run without an end is looked for; runs of one board do not overlap.
_NEAR: Final = 32
_UNNAMED: Final = "unnamed"


@dataclass(frozen=True, slots=True)
class Chain:
    """A chain of an archive; `own` if its bench records here, else it came from elsewhere."""

    number: int
    chain: str
    bench: str
    own: bool


def bench_of(record: Record) -> str:
    """The bench whose chain a record belongs to: the id of its board."""
    return str(record.header.board.get("board_id") or _UNNAMED)


def enter_begin(connection: sa.Connection, run: int) -> None:
    """Enter a run that begins; one before it on the same bench that had no end is over."""
    record = load_record(connection, run)
    chain = own_chain(connection, bench_of(record))
    for name in _without_end(connection, chain):
        over = load_record(connection, number_of(connection, name))
        append(connection, chain, Kind.CUT, (name, record_hash(over)))
    append(connection, chain, Kind.BEGUN, (record.run_id, header_hash(record.header)))


def enter_record(connection: sa.Connection, run: int, kind: Kind) -> None:
    """Enter a record that is complete."""
    record = load_record(connection, run)
    chain = own_chain(connection, bench_of(record))
    append(connection, chain, kind, (record.run_id, record_hash(record)))


def enter_more(connection: sa.Connection, run: int, run_id: str) -> None:
    """After another check of a run that was taken for over: its record is no longer what it was."""
    entries = schema.entries
    cut = sa.select(entries.c.position).where(
        entries.c.record == run_id, entries.c.kind == Kind.CUT.value
    )
    if connection.execute(cut.limit(1)).first() is not None:
        enter_record(connection, run, Kind.CUT)


def adopt(connection: sa.Connection) -> None:
    """Enter all records that are in no chain yet, in the order in which they were begun."""
    runs, entries = schema.runs, schema.entries
    known = sa.exists().where(entries.c.record == runs.c.run_id)
    query = sa.select(runs.c.number).where(~known).order_by(runs.c.number)
    for run in connection.scalars(query).all():
        enter_record(connection, run, Kind.ADOPTED)


def chains_of(connection: sa.Connection) -> tuple[Chain, ...]:
    """All chains, in the order in which they came."""
    rows = connection.execute(sa.select(schema.chains).order_by(schema.chains.c.number))
    return tuple(Chain(*row) for row in rows)


def links_of(connection: sa.Connection, chain: Chain, after: int = 0) -> Iterator[tuple[Link, str]]:
    """Entries of a chain behind a position, each with the hash that was stored for it."""
    entries = schema.entries
    query = (
        sa.select(entries)
        .where(entries.c.chain == chain.number, entries.c.position > after)
        .order_by(entries.c.position)
    )
    for row in connection.execute(query).mappings():
        yield _link(chain, row), row["hash"]


def head_of(connection: sa.Connection, chain: Chain) -> tuple[Link, str] | None:
    """The last entry of a chain."""
    entries = schema.entries
    query = (
        sa.select(entries)
        .where(entries.c.chain == chain.number)
        .order_by(entries.c.position.desc())
        .limit(1)
    )
    row = connection.execute(query).mappings().one_or_none()
    return None if row is None else (_link(chain, row), row["hash"])


def last_about(connection: sa.Connection, records: Iterable[str]) -> tuple[tuple[Link, str], ...]:
    """The last entry about any of these records or lots in each chain, with its stored hash."""
    entries, names = schema.entries, list(records)
    found: list[tuple[Link, str]] = []
    for chain in chains_of(connection):
        query = (
            sa.select(entries)
            .where(entries.c.chain == chain.number, entries.c.record.in_(names))
            .order_by(entries.c.position.desc())
            .limit(1)
        )
        row = connection.execute(query).mappings().one_or_none()
        if row is not None:
            found.append((_link(chain, row), str(row["hash"])))
    return tuple(found)


def entered_hashes(connection: sa.Connection, records: Iterable[str]) -> dict[str, str]:
    """What the chains say that records are, by their ids; those without an end are left out."""
    entries = schema.entries
    query = (
        sa.select(entries.c.record, entries.c.sha256)
        .where(entries.c.record.in_(list(records)), entries.c.kind != Kind.BEGUN.value)
        .order_by(entries.c.chain, entries.c.position)
    )
    return {str(record): str(sha256) for record, sha256 in connection.execute(query)}


def insert_link(connection: sa.Connection, chain: Chain, link: Link, stored: str) -> None:
    """Put an entry where its position says."""
    row = {
        "chain": chain.number,
        "position": link.position,
        "kind": link.kind.value,
        **{name: getattr(link, name) for name in ("record", "sha256", "previous", "made")},
        "hash": stored,
    }
    connection.execute(schema.entries.insert().values(**row))


def new_chain(connection: sa.Connection, chain: str, bench: str, *, own: bool) -> Chain:
    """Enter a chain without entries."""
    row = {"chain": chain, "bench": bench, "own": own}
    result = connection.execute(schema.chains.insert().values(**row))
    (number,) = result.inserted_primary_key or (0,)
    return Chain(int(number), chain, bench, own)


def own_chain(connection: sa.Connection, bench: str) -> Chain:
    """The chain that a bench writes here; nobody else writes it until the transaction ends."""
    take_turn(connection, f"rungbench chain {bench}")
    chains = schema.chains
    query = sa.select(chains).where(chains.c.bench == bench, chains.c.own).limit(1)
    row = connection.execute(query).one_or_none()
    if row is not None:
        return Chain(*row)
    return new_chain(connection, secrets.token_hex(_ID_BYTES), bench, own=True)


def append(connection: sa.Connection, chain: Chain, kind: Kind, content: tuple[str, str]) -> None:
    """Put an entry at the end of a chain: the id of what it is about, and its hash."""
    record, sha256 = content
    head = head_of(connection, chain)
    link = Link(
        chain=chain.chain,
        bench=chain.bench,
        position=1 if head is None else head[0].position + 1,
        kind=kind,
        record=record,
        sha256=sha256,
        previous=first_hash(chain.chain, chain.bench) if head is None else head[1],
        made=utc_now(),
    )
    insert_link(connection, chain, link, link.hash)


def _without_end(connection: sa.Connection, chain: Chain) -> list[str]:
    """Runs near the end of the chain that were only begun."""
    head = head_of(connection, chain)
    if head is None:
        return []
    last: dict[str, Kind] = {}
    for link, _ in links_of(connection, chain, head[0].position - _NEAR):
        last[link.record] = link.kind
    return [record for record, kind in last.items() if kind is Kind.BEGUN]


def _link(chain: Chain, row: Any) -> Link:
    names = ("position", "record", "sha256", "previous", "made")
    return Link(
        chain=chain.chain,
        bench=chain.bench,
        kind=Kind(row["kind"]),
        **{name: row[name] for name in names},
    )
