"""What one view hands to another: a view with a method ``take`` gets it after it came to front."""

from dataclasses import dataclass
from typing import TYPE_CHECKING

from rungbench.desktop.room import Room

if TYPE_CHECKING:
    # The store behind it takes half a second to import, and the first view has no use for it.
    from rungbench.lots.lot import LotState


@dataclass(frozen=True, slots=True)
class NextUnit:
    """To Run: test the next unit of this lot."""

    state: "LotState"


@dataclass(frozen=True, slots=True)
class ShowShift:
    """To Run: the summary of the shift."""


@dataclass(frozen=True, slots=True)
class OpenRecord:
    """To Records: open this record."""

    run_id: str
    simulated: bool


@dataclass(frozen=True, slots=True)
class Explain:
    """To Help: explain a quantity, a kind of check or a notice; `reading` is what it came to."""

    name: str
    reading: str = ""


def explain(room: Room, name: str, reading: str = "") -> None:
    """Show in Help what a quantity (`frequency_hz`), a check or a notice (`no-pwm`) is.

    `reading` is what it came to, and stands above the page.
    """
    room.hand("Help", Explain(name, reading))
