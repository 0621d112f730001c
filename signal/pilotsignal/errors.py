"""The errors of the measurement core: one small tree.

Each message is a sentence for the person at the bench: what is wrong and what
to do about it.
"""


class PilotSignalError(Exception):
    """Anything that this package refuses, with a sentence for the user."""


class CaptureError(PilotSignalError):
    """Samples or edges that cannot be used at all (none, NaN, no interval)."""


class CsvError(CaptureError):
    """A file of samples that cannot be read without guessing."""


class UnstatedError(CsvError):
    """A file that leaves open what the user has to state, or lacks what was asked for."""


class CalibrationError(PilotSignalError):
    """A calibration that contradicts itself."""


class QuantityError(PilotSignalError):
    """A value, unit or uncertainty that is not a number or does not fit."""


class ProfileError(PilotSignalError):
    """A limit profile that is missing, malformed or has no such row."""


class CircuitError(PilotSignalError):
    """A pilot circuit that cannot be, or levels that do not tell what is asked of them."""


class FoldError(PilotSignalError):
    """A capture whose periods cannot be laid over one another without smearing what they show."""
