"""Records from one archive into another, with the hashes that vouch for them.

A file that is handed on is an archive of its own: some records, and of each chain that they are in
all entries from the first of them to the head.  Whoever gets it can verify that each is as it was
recorded, and, comparing the head with a later one, that it is of that chain.  A lot goes with all
its runs, and with the lots that it presents again.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path

import sqlalchemy as sa

from rungbench.archive import schema
from rungbench.archive.chain import Kind, record_hash
from rungbench.archive.copying import copy_run
from rungbench.archive.errors import ArchiveError
from rungbench.archive.links import Chain, chains_of, head_of, insert_link, links_of, new_chain
from rungbench.archive.lot_copying import LotsChosen, chosen_lots, copy_lots, every_lot
from rungbench.archive.lot_events import is_lots
from rungbench.archive.reading import load_record
from rungbench.archive.store import Archive, open_archive
from rungbench.archive.verify import require_sound, verify


@dataclass(frozen=True, slots=True)
class Handed:
    """What was copied, what was there already, and what was left out for want of an end."""

    copied: int
    known: int
    without_end: tuple[str, ...]
    lots: int = 0


def hand_on(
    archive: Archive, run_ids: Iterable[str], path: Path, lots: Iterable[str] = ()
) -> Handed:
    """Write records into a new file.

    Parameters
    ----------
    run_ids : whole ids; each is copied once, in the order in which they were begun.
    lots : names of lots that go along, with all their runs.

    Raises
    ------
    ArchiveError : the file exists or cannot be written, a record is not as it was recorded, or a
        run of a lot has no end yet.
    """
    if path.exists():
        raise ArchiveError(f"{path} exists already; name another file.")
    try:
        with archive.reading() as connection:
            chosen = chosen_lots(connection, lots)
        with open_archive(path, archive.simulated) as target:
            return _copy(archive, target, frozenset(run_ids), chosen)
    except ArchiveError:
        path.unlink(missing_ok=True)
        raise


def take_in(archive: Archive, path: Path) -> Handed:
    """Copy all records of a file into an archive; those that are there already are left alone.

    Raises
    ------
    ArchiveError : the file is not sound, or one of its records or chains is another one than that
        of the same id here; nothing is copied then.
    """
    with open_archive(path, archive.simulated, create=False) as source:
        require_sound(verify(source))
        with source.reading() as connection:
            every = connection.scalars(sa.select(schema.runs.c.run_id)).all()
            lots = every_lot(connection)
        return _copy(source, archive, frozenset(every), lots)


def _copy(source: Archive, target: Archive, run_ids: frozenset[str], lots: LotsChosen) -> Handed:
    wanted = run_ids | lots.run_ids
    with source.reading() as here, target.writing() as there:
        copied = known = 0
        waiting: list[str] = []
        for number, run_id in _numbers(here, wanted):
            if _last_kind(here, run_id) is Kind.BEGUN:
                waiting.append(run_id)
            elif _is_there(here, there, number, run_id):
                known += 1
            else:
                copy_run(here, there, number)
                copied += 1
        _require_ended(lots, waiting)
        identities = copy_lots(here, there, lots)
        about = (wanted - set(waiting)) | set(identities)
        for chain in chains_of(here):
            _copy_chain(here, there, chain, about)
    return Handed(copied, known, tuple(waiting), len(identities))


def _require_ended(lots: LotsChosen, waiting: Iterable[str]) -> None:
    for name in waiting:
        if name in lots.run_ids:
            raise ArchiveError(
                f"Record {name} of the lot has no end yet; its bench enters it when it goes on, "
                "then hand the lot on."
            )


def _numbers(connection: sa.Connection, run_ids: frozenset[str]) -> Iterator[tuple[int, str]]:
    runs = schema.runs
    query = sa.select(runs.c.number, runs.c.run_id).order_by(runs.c.number)
    for number, run_id in connection.execute(query).all():
        if run_id in run_ids:
            yield number, run_id


def _last_kind(connection: sa.Connection, run_id: str) -> Kind:
    entries = schema.entries
    query = (
        sa.select(entries.c.kind)
        .where(entries.c.record == run_id)
        .order_by(entries.c.chain, entries.c.position.desc())
        .limit(1)
    )
    return Kind(connection.scalar(query) or Kind.BEGUN)


def _is_there(here: sa.Connection, there: sa.Connection, number: int, run_id: str) -> bool:
    query = sa.select(schema.runs.c.number).where(schema.runs.c.run_id == run_id)
    found = there.scalar(query)
    if found is None:
        return False
    if record_hash(load_record(there, found)) != record_hash(load_record(here, number)):
        raise ArchiveError(
            f"Record {run_id} is another one here than in the other archive; verify both "
            "(`rungbench records verify`)."
        )
    return True


def _copy_chain(
    here: sa.Connection, there: sa.Connection, chain: Chain, about: frozenset[str]
) -> None:
    """All entries from the first about one of the records or lots to the head."""
    start = next((link.position for link, _ in links_of(here, chain) if link.record in about), 0)
    if not start:
        return
    mine = next((one for one in chains_of(there) if one.chain == chain.chain), None)
    if mine is None:
        mine = new_chain(there, chain.chain, chain.bench, own=False)
    known = {link.position: stored for link, stored in links_of(there, mine)}
    head = head_of(there, mine)
    for link, stored in links_of(here, chain, start - 1):
        if link.position in known:
            if known[link.position] != stored:
                raise ArchiveError(_parted(chain, link.position))
        elif mine.own:
            raise ArchiveError(
                f"{_named(chain)} goes on in the other archive behind entry "
                f"{head[0].position if head else 0}, its last one here; take it into an archive "
                "that this bench does not write."
            )
        else:
            insert_link(there, mine, link, stored)


def _named(chain: Chain) -> str:
    return "The chain of lots" if is_lots(chain) else f"The chain of bench {chain.bench}"


def _parted(chain: Chain, position: int) -> str:
    return (
        f"{_named(chain)} is another one here from entry {position} on; verify "
        "both archives (`rungbench records verify`)."
    )
