"""Runs that were kept elsewhere, delivered to their archive: in order, and each once.

What is there already is left alone, check by check: a delivery that broke off is simply done
again, and a run that the archive lost half-way is completed.
"""

from collections.abc import Iterator
from dataclasses import dataclass

import sqlalchemy as sa

from rungbench.archive import schema
from rungbench.archive.chain import header_hash, record_hash
from rungbench.archive.copying import described_as_stored
from rungbench.archive.errors import ArchiveError, NoSuchRecord
from rungbench.archive.record import Record, RunHeader
from rungbench.archive.store import Archive


@dataclass(frozen=True, slots=True)
class Delivered:
    """One run: how many checks were new in the archive, and whether the run has its end there."""

    run_id: str
    checks: int
    ended: bool


def deliver(source: Archive, target: Archive) -> Iterator[Delivered]:
    """Deliver all runs of `source`, the first begun first.

    Raises
    ------
    ArchiveError : the archive cannot be written, or holds something else under the id of a run.
    """
    with source.reading() as connection:
        query = sa.select(schema.runs.c.run_id).order_by(schema.runs.c.number)
        names = connection.scalars(query).all()
    for name in names:
        yield _deliver(source, target, source.load(name))


def _deliver(source: Archive, target: Archive, record: Record) -> Delivered:
    there = _there(target, record.run_id)
    if there is None:
        if record.header.origin is not None:
            return _deliver_derived(source, target, record)
        target.begin(record.header)
        there = target.load(record.run_id)
    _require_same(record.header, there.header)
    _captures(source, target, record, there)
    known = {(one.check, one.attempt): one for one in there.checks}
    new = 0
    for result in record.checks:
        held = known.get((result.check, result.attempt))
        if held is None:
            target.add_check(record.run_id, result)
            new += 1
        elif held != result:
            raise ArchiveError(_other(record.run_id))
    if record.finished is not None and there.finished is None:
        target.finish(
            record.run_id,
            record.verdict,
            record.finished,
            record.interrupted,
            record.make_safe,
        )
    _require_whole(target, record)
    return Delivered(record.run_id, new, record.finished is not None)


def _deliver_derived(source: Archive, target: Archive, record: Record) -> Delivered:
    with source.reading() as here, target.writing() as there:
        for key in {key for _, key in record.capture_names}:
            target.keep(there, described_as_stored(here, key))
    target.add_derived(record)
    return Delivered(record.run_id, len(record.checks), True)


def _there(target: Archive, run_id: str) -> Record | None:
    try:
        return target.load(run_id)
    except NoSuchRecord:
        return None


def _captures(source: Archive, target: Archive, record: Record, there: Record) -> None:
    known = set(there.capture_names)
    for name, key in record.capture_names:
        if (name, key) not in known:
            with source.reading() as connection:
                described = described_as_stored(connection, key)
            target.add_described(record.run_id, described, name)


def _require_same(here: RunHeader, there: RunHeader) -> None:
    if header_hash(here) != header_hash(there):
        raise ArchiveError(_other(here.run_id))


def _require_whole(target: Archive, record: Record) -> None:
    """Only what is there to the last digit was delivered."""
    if record_hash(target.load(record.run_id)) != record_hash(record):
        raise ArchiveError(_other(record.run_id))


def _other(run_id: str) -> str:
    return (
        f"Record {run_id} is another one in the archive than here; it was not delivered. Verify "
        "both (`rungbench records verify`)."
    )
