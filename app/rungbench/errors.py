"""The errors of the program: one small tree.

Each message is one sentence for the person at the bench: what is wrong and what
to do about it.  The command line prints it and ends with `exit_status`.
"""

from enum import IntEnum
from typing import ClassVar


class ExitStatus(IntEnum):
    """What a command ends with."""

    DONE = 0
    FAILED = 1
    WRONG_USE = 2
    UNDECIDED = 3
    BENCH_FAULT = 4


class RungbenchError(Exception):
    """Anything that the program refuses or cannot do, with a sentence for the user."""

    exit_status: ClassVar[ExitStatus] = ExitStatus.BENCH_FAULT


class WrongUse(RungbenchError):
    """An option, a name or a setting that makes no sense; the user can correct it."""

    exit_status: ClassVar[ExitStatus] = ExitStatus.WRONG_USE


class Interrupted(RungbenchError):
    """The user stopped it; what was completed stays recorded."""

    exit_status: ClassVar[ExitStatus] = ExitStatus.UNDECIDED


class InputError(RungbenchError):
    """A file that is missing or cannot be read."""


class BenchError(RungbenchError):
    """The bench, not the charger, is at fault: port, board, link, calibration."""


class PortError(BenchError):
    """A port that cannot be opened or has no usable board behind it."""


class PortMissing(PortError):
    """No such port."""


class PortForbidden(PortError):
    """The user has no right to open the port."""


class PortBusy(PortError):
    """Another program holds the port."""


class PortSilent(PortError):
    """Nothing answers on the port."""


class NothingHeard(PortSilent):
    """Not one byte came."""


class BootLoaderOnly(PortError):
    """A board that has its boot loader and no firmware that speaks the link."""


class NotABoard(PortError):
    """Something answers, but not in frames of the link."""


class OtherProtocol(PortError):
    """A board that speaks another version of the link."""


class LinkLost(BenchError):
    """The link to the board broke while it was in use."""


class NoAnswer(BenchError):
    """The board did not answer a request in time."""


class MessageError(BenchError):
    """A frame that is whole but whose contents make no sense."""


class ReplayError(BenchError):
    """A recorded link that was not played back as it was recorded."""
