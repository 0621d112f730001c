"""Boards to test: each with a sound charger behind it, and a hand at its switches."""

from collections.abc import Callable, Mapping
from typing import Protocol

from rungbench.link.line import Line
from rungbench.link.port import open_line
from rungbench.simulated.operator import Operator


class Rig(Protocol):
    """A board with a sound charger behind it, and a hand at its switches."""

    @property
    def line(self) -> Line:
        """The line to the board."""

    def press_stop(self) -> None:
        """Open the interlock."""

    def release_stop(self) -> None:
        """Close the interlock."""

    def reset(self) -> None:
        """Pull the board's reset line."""


class SimulatedRig:
    """A board behind ``sim://``."""

    def __init__(self) -> None:
        self.line = open_line("sim://sound?seed=11")
        self._operator = Operator(self.line)

    def press_stop(self) -> None:
        self._operator.interlock(closed=False)

    def release_stop(self) -> None:
        self._operator.interlock(closed=True)

    def reset(self) -> None:
        self._operator.reset_board()


RIGS: Mapping[str, Callable[[], Rig]] = {"sim": SimulatedRig}
