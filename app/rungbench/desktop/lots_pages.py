"""Pages of the list of lots: first, next, back, last, and what stands in a line; no Qt."""

import time
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Any, Final

from rungbench.archive.store import Archive
from rungbench.desktop.lots_words import closed_text, decision_of
from rungbench.desktop.paging import ROWS, Page, Turn, shown_of, turned
from rungbench.lots.decision import LotDecision
from rungbench.lots.lot import LotState
from rungbench.lots.search import LotSearch, count_lots, lots_fitting

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


def page(
    archive: Archive, wanted: Wanted, turn: Turn, now: Page[LotState] | None = None
) -> Page[LotState]:
    """The page that lies in that direction from `now`.

    Raises
    ------
    ArchiveError : the archive cannot be read.
    """
    began = time.perf_counter()
    search = wanted.search()

    def find(**place: Any) -> tuple[LotState, ...]:
        return lots_fitting(archive, replace(search, **place))

    found = turned(find, lambda state: state.lot.number, turn, now)
    total = count_lots(archive)
    return replace(found, total=total, took_s=time.perf_counter() - began)


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


def page_text(found: Page[LotState], wanted: Wanted) -> str:
    """What is shown of how many."""
    if not found.rows:
        return "No lot fits." if found.total else "There are no lots yet; make one with Ctrl+N."
    return shown_of(found, restricted=wanted != Wanted())
