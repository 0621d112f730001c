"""What the stand-in can refuse, or do on its own."""

from rungbench.errors import BenchError


class Refused(BenchError):
    """The board did not take a request."""


class NotArmed(BenchError):
    """An energising rung was asked for in a run that nobody armed."""


class FellOpen(BenchError):
    """The board left its setting by itself."""


class NotApplied(BenchError):
    """The board took a setting and then reported another one, or none."""
