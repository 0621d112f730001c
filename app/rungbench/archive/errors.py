"""What the archive refuses, each with a sentence for the user."""

from rungbench.errors import RungbenchError


class ArchiveError(RungbenchError):
    """The archive cannot be opened, read or written."""


class NoSuchRecord(ArchiveError):
    """No record or capture, or more than one, goes by that id."""
