"""Lots against their chain: whether what is told of them is all that was entered, and no more."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Final

import sqlalchemy as sa

from rungbench.archive import schema
from rungbench.archive.chain import Kind, Link
from rungbench.archive.links import Chain
from rungbench.archive.lot_events import Event, events_of

_WHAT: Final[Mapping[Kind, str]] = {
    Kind.LOT_MADE: "how it was made",
    Kind.LOT_SERIAL: "the serial number of a unit",
    Kind.LOT_RUN: "a run that joined it",
    Kind.LOT_MOVED: "the correction of a unit",
    Kind.LOT_CLOSED: "how it was closed",
}


@dataclass(frozen=True, slots=True)
class Entered:
    """An entry about a lot, and the chain that it stands in."""

    chain: Chain
    link: Link


@dataclass(frozen=True, slots=True)
class LotBreak:
    """Something that is not as it was entered; `entered` is ``None`` where no entry is."""

    entered: Entered | None
    why: str


@dataclass(frozen=True, slots=True)
class LotsHere:
    """Lots of the archive: name and events of each, by its id."""

    names: Mapping[str, str]
    events: Mapping[str, tuple[Event, ...]]


def lots_here(connection: sa.Connection) -> LotsHere:
    """All lots with all their events, as the tables say today."""
    names: dict[str, str] = {}
    events: dict[str, tuple[Event, ...]] = {}
    table = schema.lots
    rows = connection.execute(sa.select(table.c.number, table.c.name).order_by(table.c.number))
    for number, name in rows.all():
        found = tuple(events_of(connection, number))
        names[found[0].lot], events[found[0].lot] = name, found
    return LotsHere(names, events)


def lot_breaks(here: LotsHere, entered: Iterable[Entered]) -> Iterator[LotBreak]:
    """What the entries say and the tables do not, then the other way round."""
    known: dict[str, set[str]] = {lot: set() for lot in here.events}
    for one in entered:
        link = one.link
        if link.record not in here.events:
            if one.chain.own:
                why = "the lot is missing, or how it was made was changed"
                yield LotBreak(one, f"{link.record}: {why}")
            continue
        known[link.record].add(link.sha256)
        if all(link.sha256 != event.sha256 for event in here.events[link.record]):
            name = here.names[link.record]
            yield LotBreak(one, f"lot {name!r}: {_WHAT[link.kind]} was changed or removed")
    for lot, events in here.events.items():
        for event in events:
            if event.sha256 not in known[lot]:
                told = f"Lot {here.names[lot]!r}: {_WHAT[event.kind]} is in no chain."
                yield LotBreak(None, told)
                break
