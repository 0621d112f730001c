"""A list of lots page by page: what is looked for, from new to old."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

import sqlalchemy as sa

from rungbench.archive import schema
from rungbench.archive.reading import begins
from rungbench.archive.rows import search_key
from rungbench.archive.store import Archive
from rungbench.lots.decision import LotDecision
from rungbench.lots.lot import LotState
from rungbench.lots.reading import states_of
from rungbench.lots.rows import lot_of

PAGE: Final = 50


@dataclass(frozen=True, slots=True)
class LotSearch:
    """Conditions that all hold; ``None`` does not restrict.

    `text` is the beginning of the lot's name or of the supplier's, without regard to case.
    `closed` asks for lots that were closed, or were not; `decision` for lots that were closed with
    it.  `before` and `after` are the `number` of the last lot of the page before and of the first
    one of the page behind; `oldest` asks for the oldest that fit: alone for the last page, with
    `after` for the page before.
    """

    text: str | None = None
    closed: bool | None = None
    decision: LotDecision | None = None
    before: int | None = None
    after: int | None = None
    oldest: bool = False
    limit: int = PAGE


def lots_fitting(archive: Archive, search: LotSearch) -> tuple[LotState, ...]:
    """One page of lots as far as they have come, from new to old.

    Raises
    ------
    ArchiveError : the archive cannot be read.
    """
    lots, old, ends = schema.lots, schema.lots.alias(), schema.lot_ends
    order = lots.c.number.asc() if search.oldest else lots.c.number.desc()
    with archive.reading() as connection:
        query = (
            sa.select(lots, old.c.name.label("old_name"))
            .outerjoin_from(lots, old, lots.c.resubmits == old.c.number)
            .outerjoin(ends, ends.c.lot == lots.c.number)
            .where(*_conditions(connection, search))
            .order_by(order)
            .limit(search.limit)
        )
        rows = connection.execute(query).mappings().all()
        found = [lot_of(row, row["old_name"], simulated=archive.simulated) for row in rows]
        if search.oldest:
            found.reverse()
        return tuple(states_of(connection, found))


def count_lots(archive: Archive) -> int:
    """How many lots the archive holds."""
    with archive.reading() as connection:
        return int(connection.scalar(sa.select(sa.func.count()).select_from(schema.lots)) or 0)


def rejected_lots(archive: Archive) -> tuple[LotState, ...]:
    """Lots that were closed as rejected and not presented again, the newest first."""
    search = LotSearch(closed=True, decision=LotDecision.REJECT)
    kept: list[LotState] = []
    while page := lots_fitting(archive, search):
        kept += [state for state in page if not state.again]
        search = replace(search, before=page[-1].lot.number)
    return tuple(kept)


def _conditions(connection: sa.Connection, search: LotSearch) -> Iterator[sa.ColumnElement[bool]]:
    lots, ends = schema.lots.c, schema.lot_ends.c
    if search.text:
        key = search_key(search.text)
        yield begins(connection, lots.name_key, key) | begins(connection, lots.supplier_key, key)
    if search.closed is not None:
        yield ends.lot.is_not(None) if search.closed else ends.lot.is_(None)
    if search.decision is not None:
        yield ends.decision == search.decision.value
    if search.before is not None:
        yield lots.number < search.before
    if search.after is not None:
        yield lots.number > search.after
