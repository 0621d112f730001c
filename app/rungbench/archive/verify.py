"""Whether what the archive holds is what was recorded: a walk along the chains.

A chain shows that nothing was changed, taken out or put in between.  That nothing was cut off its
end it shows only to whoever has noted a later hash: every report, label and file that is handed on
carries one, each lot holds those of its benches when it was closed, and each computer notes what it
wrote last (`rungbench.archive.witness`).
"""

from collections.abc import Iterable, Iterator

import sqlalchemy as sa

from rungbench.archive import schema
from rungbench.archive.errors import ArchiveError
from rungbench.archive.links import chains_of, head_of
from rungbench.archive.store import Archive
from rungbench.archive.verified import Break, Verified
from rungbench.archive.verify_captures import look_at_captures, room_of
from rungbench.archive.verify_chain import Progress, Walk, named
from rungbench.archive.verify_lots import Entered, lot_breaks, lots_here


def verify(archive: Archive, head: str = "", progress: Progress = lambda _: None) -> Verified:
    """Walk all chains of an archive, and look at all its lots and captures.

    Parameters
    ----------
    head : hash of an entry or of a record that somebody noted, or its beginning; it must be in a
        chain.
    """
    with archive.reading() as connection:
        breaks: list[Break] = []
        walks = [Walk(connection, chain, breaks, progress) for chain in chains_of(connection)]
        chains = tuple(walk.result() for walk in walks)
        breaks += _in_no_chain(connection)
        breaks += _of_lots(connection, walks)
        breaks += _of_open_runs(connection)
        breaks += _of_the_other_kind(connection, simulated=archive.simulated)
        if head and not _known(connection, head):
            why = f"No entry has the hash {head}: what was recorded up to then is not all here."
            breaks.append(Break("", None, "", why))
        captures, expired = look_at_captures(connection, breaks)
        room = room_of(connection)
    return Verified(chains, captures, expired, room, tuple(breaks))


def _of_lots(connection: sa.Connection, walks: Iterable[Walk]) -> Iterator[Break]:
    entered = [Entered(walk.chain, link) for walk in walks for link in walk.lots]
    for found in lot_breaks(lots_here(connection), entered):
        if found.entered is None:
            yield Break("", None, "", found.why)
        else:
            link = found.entered.link
            why = f"{named(found.entered.chain)}, entry {link.position}, {found.why}."
            yield Break(link.bench, link.position, link.record, why)


def _of_open_runs(connection: sa.Connection) -> Iterator[Break]:
    """The list of runs without an end says what the ends say."""
    runs, ends, still = schema.runs, schema.run_ends, schema.open_runs
    query = (
        sa.select(runs.c.run_id)
        .outerjoin_from(runs, ends, ends.c.run == runs.c.number)
        .outerjoin(still, still.c.run == runs.c.number)
        .where(ends.c.run.is_(None) == still.c.run.is_(None))
        .order_by(runs.c.number)
    )
    for name in connection.scalars(query):
        why = f"Record {name} is not where runs without an end are looked for, or wrongly so."
        yield Break("", None, name, why)


def _of_the_other_kind(connection: sa.Connection, *, simulated: bool) -> Iterator[Break]:
    """Simulated runs in an archive that says it is real, or the other way round."""
    runs = schema.runs
    query = sa.select(runs.c.run_id).where(runs.c.simulated != simulated).order_by(runs.c.number)
    for name in connection.scalars(query.limit(1)):
        here, there = ("simulated", "real") if simulated else ("real", "simulated")
        why = f"The archive says that its runs are {here}, and record {name} is {there}."
        yield Break("", None, name, why)


def _in_no_chain(connection: sa.Connection) -> Iterator[Break]:
    runs, entries = schema.runs, schema.entries
    known = sa.exists().where(entries.c.record == runs.c.run_id)
    query = sa.select(runs.c.run_id).where(~known).order_by(runs.c.number)
    for name in connection.scalars(query).all():
        yield Break("", None, name, f"Record {name} is in no chain: no bench entered it.")


def _known(connection: sa.Connection, head: str) -> bool:
    entries, text = schema.entries.c, head.strip().lower()
    # Of a record's own hash, which stands on its report and its label, an entry holds a copy.
    noted = [one.startswith(text, autoescape=True) for one in (entries.hash, entries.sha256)]
    query = sa.select(entries.position).where(sa.or_(*noted))
    return connection.execute(query.limit(1)).first() is not None


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
