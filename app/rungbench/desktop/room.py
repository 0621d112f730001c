"""What a view is, and what it gets."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Protocol

from PySide6.QtWidgets import QWidget

from pilotsignal.standard import Profile
from rungbench.desktop.cautions import Cautions
from rungbench.desktop.preferences import Preferences
from rungbench.desktop.theme import Theme
from rungbench.desktop.worker import BenchWorker


class View(Protocol):
    """One view of the window; see the package's docstring."""

    name: str

    @property
    def widget(self) -> QWidget:
        """What fills the window."""
        ...

    def shown(self) -> None:
        """It came to the front."""

    def hidden(self) -> None:
        """It left the front."""

    def close(self) -> None:
        """The program ends."""


@dataclass(frozen=True, slots=True)
class Room:
    """What every view gets; see the package's docstring."""

    worker: BenchWorker
    preferences: Preferences
    theme: Theme
    cautions: Cautions
    say: Callable[[str], None]
    alarm: Callable[[str], None]
    go: Callable[[str], None]
    profile: Profile
    hand: Callable[[str, object], None]
