"""Pages of a list that is long: first, next, back, last, each by one keyset query; no Qt."""

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum
from typing import Final, Generic, TypeVar

Row = TypeVar("Row")

ROWS: Final = 50
"""Rows on a page."""


class Turn(StrEnum):
    """Which page is wanted."""

    FIRST = "first"
    NEXT = "next"
    BACK = "back"
    LAST = "last"


@dataclass(frozen=True, slots=True)
class Page(Generic[Row]):
    """Rows from new to old; `newer` and `older` tell whether there are more on either side.

    `total` counts all rows of the archive, `took_s` the time that the query took.
    """

    rows: tuple[Row, ...] = ()
    newer: bool = False
    older: bool = False
    total: int = 0
    took_s: float = 0.0


def turned(
    find: Callable[..., tuple[Row, ...]],
    number: Callable[[Row], int],
    turn: Turn,
    now: Page[Row] | None,
) -> Page[Row]:
    """The page that lies in that direction from `now`, not counted yet.

    Parameters
    ----------
    find : asks for one row more than fits, from new to old, with ``before`` and ``after`` a number,
        and ``oldest`` for those at the other end.
    number : of a row, by which they are ordered.
    """
    rows = () if now is None else now.rows
    if turn is Turn.NEXT and rows:
        found = find(before=number(rows[-1]))
        return Page(found[:ROWS], newer=True, older=len(found) > ROWS) if found else now or Page()
    if turn is Turn.BACK and rows:
        found = find(after=number(rows[0]), oldest=True)
        if len(found) > ROWS:
            return Page(found[-ROWS:], newer=True, older=True)
    elif turn is Turn.LAST:
        found = find(oldest=True)
        return Page(found[-ROWS:], newer=len(found) > ROWS)
    found = find()
    return Page(found[:ROWS], older=len(found) > ROWS)


def shown_of(found: Page[Row], *, restricted: bool) -> str:
    """What is shown of how many; `restricted`: not all rows were looked for."""
    place = "newest" if not found.newer else "oldest" if not found.older else ""
    which = f" ({place})" if place and (found.newer or found.older) else ""
    fitting = " that fit" if restricted else ""
    return f"{len(found.rows)} shown{fitting}{which}; {found.total} in the archive"
