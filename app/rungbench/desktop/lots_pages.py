"""Pages of the list of lots: first, next, back, last, and what stands in a line; no Qt."""

import time
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from rungbench.archive.store import Archive
from rungbench.desktop.lots_words import closed_text, decision_of
from rungbench.desktop.records_pages import Turn
from rungbench.lots.decision import LotDecision
from rungbench.lots.lot import LotState
from rungbench.lots.search import LotSearch, count_lots, lots_fitting

ROWS: Final = 50
"""Lots on a page."""

HEADINGS: Final = (
    *("Decision", "Lot", "Supplier", "Model", "Size", "n / Ac / Re", "Tested", "Left"),
    *("Failed", "Made (UTC)"),
)


class Stage(StrEnum):
    """Which lots are wanted."""

    ANY = "all lots"
    IN_HAND = "not closed"
    ACCEPTED = "closed, accepted"
    REJECTED = "closed, rejected"
    WITHOUT = "closed without a decision"


_DECISIONS: Final = {
    Stage.ACCEPTED: LotDecision.ACCEPT,
    Stage.REJECTED: LotDecision.REJECT,
    Stage.WITHOUT: LotDecision.OPEN,
}


@dataclass(frozen=True, slots=True)
class Wanted:
    """What is looked for; `text` is the beginning of a lot's name or of a supplier's."""

    text: str = ""
    stage: Stage = Stage.ANY

    def search(self) -> LotSearch:
        """The conditions of a page, one lot more than fits."""
        closed = None if self.stage is Stage.ANY else self.stage is not Stage.IN_HAND
        return LotSearch(
            text=self.text.strip() or None,
            closed=closed,
            decision=_DECISIONS.get(self.stage),
            limit=ROWS + 1,
        )


@dataclass(frozen=True, slots=True)
class Page:
    """Lots from new to old; `newer` and `older` tell whether there are more on either side.

    `total` counts all lots of the archive, `took_s` the time that it took.
    """

    rows: tuple[LotState, ...] = ()
    newer: bool = False
    older: bool = False
    total: int = 0
    took_s: float = 0.0


def page(archive: Archive, wanted: Wanted, turn: Turn, now: Page | None = None) -> Page:
    """The page that lies in that direction from `now`.

    Raises
    ------
    ArchiveError : the archive cannot be read.
    """
    began = time.perf_counter()
    found = _turned(archive, wanted.search(), turn, now)
    total = count_lots(archive)
    return replace(found, total=total, took_s=time.perf_counter() - began)


def _turned(archive: Archive, search: LotSearch, turn: Turn, now: Page | None) -> Page:
    rows = () if now is None else now.rows
    if turn is Turn.NEXT and rows:
        found = lots_fitting(archive, replace(search, before=rows[-1].lot.number))
        return Page(found[:ROWS], newer=True, older=len(found) > ROWS) if found else now or Page()
    if turn is Turn.BACK and rows:
        found = lots_fitting(archive, replace(search, after=rows[0].lot.number, oldest=True))
        if len(found) > ROWS:
            return Page(found[-ROWS:], newer=True, older=True)
    elif turn is Turn.LAST:
        found = lots_fitting(archive, replace(search, oldest=True))
        return Page(found[-ROWS:], newer=len(found) > ROWS)
    found = lots_fitting(archive, search)
    return Page(found[:ROWS], older=len(found) > ROWS)


def lot_cells(state: LotState) -> tuple[str, ...]:
    """What stands in the columns, as in `HEADINGS`."""
    lot, plan, tally = state.lot, state.lot.plan, state.standing.tally
    closed = f", {closed_text(state)}" if state.end is not None else ""
    return (
        f"{decision_of(state)}{closed}",
        lot.name,
        lot.supplier,
        f"{lot.sheet.maker} {lot.sheet.model}",
        f"{plan.lot_size}",
        f"{plan.sample_size} / {plan.accept} / {plan.reject}",
        f"{tally.tested}",
        f"{tally.untested}",
        f"{tally.failed}",
        f"{lot.made:%Y-%m-%d}",
    )


def page_text(found: Page, wanted: Wanted) -> str:
    """What is shown of how many."""
    if not found.rows:
        return "No lot fits." if found.total else "There are no lots yet; make one with Ctrl+N."
    place = "newest" if not found.newer else "oldest" if not found.older else ""
    which = f" ({place})" if place and (found.newer or found.older) else ""
    fitting = "" if wanted == Wanted() else " that fit"
    return f"{len(found.rows)} shown{fitting}{which}; {found.total} in the archive"
