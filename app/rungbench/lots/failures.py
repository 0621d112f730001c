"""Which checks the failing units of a lot failed."""

from dataclasses import dataclass

import sqlalchemy as sa

from pilotsignal.judge import Verdict
from rungbench.archive import schema
from rungbench.archive.record import Role, RunVerdict
from rungbench.archive.store import Archive
from rungbench.lots.lot import LotState


@dataclass(frozen=True, slots=True)
class Failure:
    """A required check, and the serial numbers of the units that failed it."""

    check: str
    title: str
    serials: tuple[str, ...]


def failures_in(archive: Archive, state: LotState) -> tuple[Failure, ...]:
    """Required checks that units failed, the most frequent first.

    Only runs that count are looked at.  A unit that failed several checks is in each of them.
    """
    failing = {
        unit.counts.number: unit.serial
        for unit in state.units
        if unit.counts is not None and unit.counts.verdict is RunVerdict.FAIL
    }
    checks = schema.checks
    query = (
        sa.select(checks.c.check_id, checks.c.title, checks.c.run)
        .where(
            checks.c.run.in_(failing),
            checks.c.verdict == Verdict.FAIL.value,
            checks.c.role == Role.REQUIRED.value,
        )
        .distinct()
        .order_by(checks.c.run)
    )
    found: dict[tuple[str, str], list[str]] = {}
    with archive.reading() as connection:
        for check, title, run in connection.execute(query):
            found.setdefault((check, title), []).append(failing[run])
    most = sorted(found.items(), key=lambda item: (-len(item[1]), item[0]))
    return tuple(Failure(check, title, tuple(serials)) for (check, title), serials in most)
