"""pyserial's handler for ``board://NAME``: a board simulator in lock step instead of a port.

So the program runs unchanged at whatever speed the simulator makes.  The board is switched on
before a port is opened and stays on after it is closed, as a real one does.
"""

import contextlib
from collections.abc import Iterator
from typing import Any

import serial
from serial.serialutil import PortNotOpenError, SerialBase, SerialException

from board_simulator.line import STEP_US
from board_simulator.process import BoardProcess, SimulatorError

_SWITCHED_ON: dict[str, BoardProcess] = {}


@contextlib.contextmanager
def at_address(board: BoardProcess, name: str = "bench") -> Iterator[str]:
    """Make a board available as ``board://NAME``, which is returned."""
    if __package__ not in serial.protocol_handler_packages:
        serial.protocol_handler_packages.append(__package__)
    _SWITCHED_ON[name] = board
    try:
        yield f"board://{name}"
    finally:
        del _SWITCHED_ON[name]


class Serial(SerialBase):
    """A port with a board simulator behind it; `read` lets 20 ms of board time pass."""

    lock_step = True

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        self._board: BoardProcess | None = None
        self._unsent = self._waiting = b""
        super().__init__(*args, **kwargs)

    def open(self) -> None:
        """Attach to the board.

        Raises
        ------
        SerialException : no board of this name is switched on.
        """
        name = str(self.portstr).partition("://")[2]
        if name not in _SWITCHED_ON:
            raise SerialException(2, f"no simulated board {name} is switched on")
        self._board = _SWITCHED_ON[name]
        self.is_open = True

    def close(self) -> None:
        """Let go of the board; what was written last still arrives."""
        if self._board is not None and self._unsent:
            with contextlib.suppress(SimulatorError):
                self._exchange()
        self._board = None
        self.is_open = False

    def read(self, size: int = 1, /) -> bytes:
        """What the board says within 20 ms of its time, at most `size` bytes at once."""
        if not self._waiting:
            self._waiting = self._exchange()
        found, self._waiting = self._waiting[:size], self._waiting[size:]
        return found

    def write(self, b: Any, /) -> int:
        """Bytes that go out with the next read."""
        data = bytes(b)
        self._unsent += data
        return len(data)

    def _exchange(self) -> bytes:
        if self._board is None:
            raise PortNotOpenError()
        unsent, self._unsent = self._unsent, b""
        try:
            return self._board.advance(STEP_US, unsent)
        except SimulatorError as problem:
            raise SerialException(str(problem)) from problem

    @property
    def in_waiting(self) -> int:
        """Bytes that the last read left."""
        return len(self._waiting)

    @property
    def out_waiting(self) -> int:
        """What goes out with the next read."""
        return len(self._unsent)

    def flush(self) -> None:
        """Bytes go out with the next read."""

    def reset_input_buffer(self) -> None:
        """Forget what the last read left."""
        self._waiting = b""

    def reset_output_buffer(self) -> None:
        """Forget what was not sent yet."""
        self._unsent = b""

    def cancel_read(self) -> None:
        """Reads do not wait."""

    def cancel_write(self) -> None:
        """Writes do not wait."""

    def _reconfigure_port(self) -> None:
        """The line's rate is that of the firmware."""

    def _update_rts_state(self) -> None:
        """Not wired."""

    def _update_dtr_state(self) -> None:
        """Not wired: opening does not reset the board."""

    def _update_break_state(self) -> None:
        """Not wired."""
