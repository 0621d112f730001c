"""Whether a silent board has only its boot loader: it is asked as a programmer would ask.

Two bytes of the boot loader's protocol (Atmel application note AVR061, "STK500 Communication
Protocol": `Cmnd_STK_GET_SYNC`, `Sync_CRC_EOP`) ask whether it listens; `Resp_STK_INSYNC` and
`Resp_STK_OK` answer.  They change nothing in the board.  A board whose reset hangs on the port
enters its boot loader when the port is opened, and stays there for a second or two.
"""

from typing import Final

from rungbench.errors import LinkLost
from rungbench.link.line import Line, Pace

BAUD: Final = 115_200
_ASK: Final = b"\x30\x20"
_ANSWER: Final = b"\x14\x10"
_FOR_S: Final = 1.5
_EVERY_S: Final = 0.1


def answers(line: Line) -> bool:
    """Whether a boot loader answers on a line that was opened at `BAUD`; takes 1.5 s if not."""
    pace = Pace(line)
    heard, asked = b"", 0
    try:
        while pace.elapsed_s() < _FOR_S:
            if pace.elapsed_s() >= asked * _EVERY_S:
                line.write(_ASK)
                asked += 1
            heard += pace.read()
            if _ANSWER in heard:
                return True
    except LinkLost:
        # Whoever asked has a sentence about the silence already.
        return False
    return False
