"""What can be wrong with a plan or a run."""

from typing import ClassVar

from rungbench.errors import ExitStatus, RungbenchError, WrongUse


class PlanError(WrongUse):
    """A plan that does not exist or cannot be run as written."""


class OutletLive(RungbenchError):
    """Mains where it must not be: ends the run."""

    exit_status: ClassVar[ExitStatus] = ExitStatus.FAILED
