"""The line to a firmware that runs in lock step with whoever reads."""

from board_simulator.process import BoardProcess, SimulatorError
from rungbench.errors import LinkLost
from rungbench.link.line import READ_S

STEP_US = round(READ_S * 1e6)
_AWAKE_STEPS = 10


class FirmwareLine:
    """A `rungbench.link.line.Line`: the board's time advances only inside `read`."""

    lock_step = True

    def __init__(self, board: BoardProcess) -> None:
        self.board = board
        self._unsent = b""
        # Whoever opens a port finds a board that is awake, or says hello until it is.
        self._early = b"".join(board.advance(STEP_US) for _ in range(_AWAKE_STEPS))

    @property
    def url(self) -> str:
        return "firmware in a simulated microcontroller"

    def read(self) -> bytes:
        if self._early:
            early, self._early = self._early, b""
            return early
        try:
            return self.board.advance(STEP_US, self.taken())
        except SimulatorError as problem:
            raise LinkLost(f"The board simulator ended ({problem}); start it again.") from problem

    def write(self, data: bytes) -> None:
        self._unsent += data

    def taken(self) -> bytes:
        """What was written and waits for the next read; it is the caller's now."""
        unsent, self._unsent = self._unsent, b""
        return unsent

    def close(self) -> None:
        self.board.close()
