"""Whether what the archive holds is what was recorded: a walk along the chains.

A chain shows that nothing was changed, taken out or put in between.  That nothing was cut off its
end it shows only to whoever has noted a later head: every report and every file that is handed on
carries one.
"""

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import sqlalchemy as sa

from rungbench.archive import schema
from rungbench.archive.chain import Kind, Link, first_hash, header_hash, record_hash
from rungbench.archive.describing import restore
from rungbench.archive.errors import ArchiveError
from rungbench.archive.links import Chain, chains_of, head_of, links_of
from rungbench.archive.reading import load_capture, load_record
from rungbench.archive.record import Record
from rungbench.archive.store import Archive


@dataclass(frozen=True, slots=True)
class Break:
    """Something that is not as it was recorded: `why` is a sentence."""

    bench: str
    position: int | None
    record: str
    why: str


@dataclass(frozen=True, slots=True)
class Walked:
    """A chain from its first to its last entry here.

    `records` are those that are here and as they were, `elsewhere` those that were not handed on
    with the others, `open` those that have not come to an end yet, of which only the header is
    vouched for.  `head` is the hash of the last entry.
    """

    chain: str
    bench: str
    own: bool
    first: int
    last: int
    head: str
    records: int
    elsewhere: int
    open: int


@dataclass(frozen=True, slots=True)
class Room:
    """How many samples and edges there are, and the bytes that they take."""

    values: int
    bytes: int


@dataclass(frozen=True, slots=True)
class Verified:
    """What a walk came to: sound if there is no break."""

    chains: tuple[Walked, ...]
    captures: int
    expired: int
    room: Room
    breaks: tuple[Break, ...]

    @property
    def sound(self) -> bool:
        return not self.breaks


# Told of each record that was looked at.
Progress = Callable[[str], None]


def verify(archive: Archive, head: str = "", progress: Progress = lambda _: None) -> Verified:
    """Walk all chains of an archive, and look at all its captures.

    Parameters
    ----------
    head : hash of an entry that somebody noted, or its beginning; it must be in a chain.
    """
    with archive.reading() as connection:
        breaks: list[Break] = []
        walked = [_Walk(connection, chain, breaks, progress) for chain in chains_of(connection)]
        chains = tuple(walk.result() for walk in walked)
        breaks += _in_no_chain(connection)
        if head and not _known(connection, head):
            why = f"No entry has the hash {head}: what was recorded up to then is not all here."
            breaks.append(Break("", None, "", why))
        captures, expired = _captures(connection, breaks)
        room = _room(connection)
    return Verified(chains, captures, expired, room, tuple(breaks))


class _Walk:
    """One chain: first that its entries hang together, then the records that they vouch for."""

    def __init__(
        self, connection: sa.Connection, chain: Chain, breaks: list[Break], progress: Progress
    ) -> None:
        self._connection, self._chain = connection, chain
        self._breaks, self._progress = breaks, progress
        self._first = self._last = 0
        self._head = ""
        self._newest: dict[str, Link] = {}
        self._begun: dict[str, Link] = {}

    def result(self) -> Walked:
        self._walk()
        found = {name: self._look_at(link) for name, link in self._newest.items()}
        for name, link in self._begun.items():
            self._look_at_header(name, link)
        states = list(found.values())
        return Walked(
            chain=self._chain.chain,
            bench=self._chain.bench,
            own=self._chain.own,
            first=self._first,
            last=self._last,
            head=self._head,
            records=states.count("sound"),
            elsewhere=states.count("elsewhere"),
            open=states.count("open"),
        )

    def _walk(self) -> None:
        for link, stored in links_of(self._connection, self._chain):
            why = self._fault(link, stored)
            if why:
                self._broken(link, why)
                # What follows would only say the same again.
                return
            self._first = self._first or link.position
            self._last, self._head = link.position, stored
            self._newest[link.record] = link
            if link.kind is Kind.BEGUN:
                self._begun[link.record] = link

    def _fault(self, link: Link, stored: str) -> str:
        if link.hash != stored:
            return "the entry was changed"
        if not self._first and not self._chain.own:
            # Handed on from there: what lies before is vouched for by the hash that it carries.
            return ""
        if link.position != self._last + 1:
            return f"entry {self._last + 1} is missing"
        before = self._head or first_hash(self._chain.chain, self._chain.bench)
        return "" if link.previous == before else "it does not follow the entry before"

    def _look_at(self, link: Link) -> str:
        """Whether a record is as the last entry about it says."""
        self._progress(link.record)
        record = self._load(link)
        if record is None:
            return "elsewhere"
        if link.kind is Kind.BEGUN:
            return "open"
        if record_hash(record) != link.sha256:
            self._broken(link, "the record was changed")
            return "broken"
        return "sound"

    def _look_at_header(self, name: str, link: Link) -> None:
        record = self._load(link)
        if record is None or header_hash(record.header) == link.sha256:
            return
        if self._newest[name] is link:
            self._broken(link, "the header of the record was changed")

    def _load(self, link: Link) -> Record | None:
        query = sa.select(schema.runs.c.number).where(schema.runs.c.run_id == link.record)
        run = self._connection.scalar(query)
        if run is None:
            if self._chain.own and self._newest[link.record] is link:
                self._broken(link, "the record is missing")
            return None
        return load_record(self._connection, run)

    def _broken(self, link: Link, why: str) -> None:
        sentence = (
            f"Chain of bench {link.bench}, entry {link.position}, record {link.record}: {why}."
        )
        self._breaks.append(Break(link.bench, link.position, link.record, sentence))


def _in_no_chain(connection: sa.Connection) -> Iterator[Break]:
    runs, entries = schema.runs, schema.entries
    known = sa.exists().where(entries.c.record == runs.c.run_id)
    query = sa.select(runs.c.run_id).where(~known).order_by(runs.c.number)
    for name in connection.scalars(query).all():
        yield Break("", None, name, f"Record {name} is in no chain: no bench entered it.")


def _known(connection: sa.Connection, head: str) -> bool:
    query = sa.select(schema.entries.c.position).where(
        schema.entries.c.hash.startswith(head.strip().lower(), autoescape=True)
    )
    return connection.execute(query.limit(1)).first() is not None


def _captures(connection: sa.Connection, breaks: list[Break]) -> tuple[int, int]:
    """Every capture that is still there against its key."""
    captures, contents = schema.captures, schema.contents
    gone = sa.func.length(contents.c.data) == 0
    query = sa.select(captures.c.sha256, gone).join_from(captures, contents)
    good = expired = 0
    for key, empty in connection.execute(query.order_by(captures.c.sha256)).all():
        if empty:
            expired += 1
        elif why := _capture_fault(connection, key):
            breaks.append(Break("", None, "", f"Capture {key} is not what its key says: {why}."))
        else:
            good += 1
    return good, expired


def _room(connection: sa.Connection) -> Room:
    contents = schema.contents
    size = sa.func.length(contents.c.data)
    query = sa.select(sa.func.sum(contents.c.length), sa.func.sum(size)).where(size > 0)
    values, bytes_ = connection.execute(query).one()
    return Room(int(values or 0), int(bytes_ or 0))


def _capture_fault(connection: sa.Connection, key: str) -> str:
    try:
        described = load_capture(connection, key)
        restore(described)
    except (ValueError, KeyError, TypeError, ArchiveError) as problem:
        return f"{problem}".rstrip(".")
    return "" if described.key == key else "its description was changed"


def require_sound(verified: Verified) -> None:
    """Refuse an archive whose records are not as they were.

    Raises
    ------
    ArchiveError : names the first break.
    """
    if verified.breaks:
        first, more = verified.breaks[0], len(verified.breaks) - 1
        rest = f" {more} more follow{'s' if more == 1 else ''}." if more else ""
        raise ArchiveError(
            f"{first.why}{rest} Use a copy from before (`rungbench records restore`)."
        )


def head_hashes(archive: Archive) -> dict[str, str]:
    """The hash of the last entry of each chain, by bench and chain."""
    with archive.reading() as connection:
        heads = {chain: head_of(connection, chain) for chain in chains_of(connection)}
    return {f"{chain.bench} {chain.chain[:8]}": head[1] for chain, head in heads.items() if head}
