"""One chain of hashes: whether its entries hang together, and what they vouch for is there."""

from collections.abc import Callable

import sqlalchemy as sa

from rungbench.archive import schema
from rungbench.archive.chain import OF_LOTS, Kind, Link, first_hash, header_hash, record_hash
from rungbench.archive.errors import ArchiveError
from rungbench.archive.links import Chain, links_of
from rungbench.archive.lot_events import is_lots
from rungbench.archive.reading import load_record
from rungbench.archive.record import Record
from rungbench.archive.verified import Break, Walked

# Told of each record that was looked at.
Progress = Callable[[str], None]


class Walk:
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
        self.lots: list[Link] = []
        """Entries about lots, which are looked at all together."""

    @property
    def chain(self) -> Chain:
        return self._chain

    def result(self) -> Walked:
        self._walk()
        found = {name: self._look_at(link) for name, link in self._newest.items()}
        for name, link in self._begun.items():
            self._look_at_header(name, link)
        if self._chain.own:
            self._look_at_order()
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
            lots=len({link.record for link in self.lots}),
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
            if link.kind in OF_LOTS:
                self.lots.append(link)
                continue
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
        try:
            record = self._load(link)
        except ArchiveError:
            self._broken(link, "the record was changed, to something that cannot be")
            return "broken"
        if record is None:
            return "elsewhere"
        if link.kind is Kind.BEGUN:
            return "open"
        if record_hash(record) != link.sha256:
            self._broken(link, "the record was changed")
            return "broken"
        return "sound"

    def _look_at_header(self, name: str, link: Link) -> None:
        try:
            record = self._load(link)
        except ArchiveError:
            # Told already.
            return
        if record is None or header_hash(record.header) == link.sha256:
            return
        if self._newest[name] is link:
            self._broken(link, "the header of the record was changed")

    def _look_at_order(self) -> None:
        """Records are numbered in the order in which they were entered first."""
        runs, entries = schema.runs, schema.entries
        first = (
            sa.select(entries.c.record, sa.func.min(entries.c.position).label("position"))
            .where(entries.c.chain == self._chain.number)
            .group_by(entries.c.record)
            .subquery()
        )
        query = (
            sa.select(runs.c.number, runs.c.run_id)
            .join_from(first, runs, runs.c.run_id == first.c.record)
            .order_by(first.c.position)
        )
        last = 0
        for number, name in self._connection.execute(query):
            if number < last:
                self._broken(self._newest[name], "the order of the records was changed")
                return
            last = number

    def _load(self, link: Link) -> Record | None:
        query = sa.select(schema.runs.c.number).where(schema.runs.c.run_id == link.record)
        run = self._connection.scalar(query)
        if run is None:
            if self._chain.own and self._newest[link.record] is link:
                self._broken(link, "the record is missing")
            return None
        return load_record(self._connection, run)

    def _broken(self, link: Link, why: str) -> None:
        sentence = f"{named(self._chain)}, entry {link.position}, record {link.record}: {why}."
        self._breaks.append(Break(link.bench, link.position, link.record, sentence))


def named(chain: Chain) -> str:
    """A chain in a sentence."""
    return "Chain of lots" if is_lots(chain) else f"Chain of bench {chain.bench}"
