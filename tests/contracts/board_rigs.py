"""Boards to test: each with a sound charger behind it, and a hand at its switches."""

from collections.abc import Callable, Mapping
from typing import Protocol

from board_simulator.line import FirmwareLine
from board_simulator.memory import BoardMemory
from board_simulator.process import BoardProcess

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


class FirmwareRig:
    """The firmware in a simulated microcontroller."""

    def __init__(self) -> None:
        # Shorter holds than a real board's, which the rules allow: 60 s of them take a while.
        memory = BoardMemory(hold_c_s=8, hold_d_s=5)
        self.board = BoardProcess(["seed=11"], memory=memory)
        self.line = FirmwareLine(self.board)

    def press_stop(self) -> None:
        self.board.command("interlock open")

    def release_stop(self) -> None:
        self.board.command("interlock closed")

    def reset(self) -> None:
        self.board.command("reset 10")


RIGS: Mapping[str, Callable[[], Rig]] = {"sim": SimulatedRig, "firmware": FirmwareRig}
