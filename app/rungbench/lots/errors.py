"""What lots refuse, each with a sentence for the user."""

from rungbench.archive.errors import ArchiveError
from rungbench.errors import WrongUse


class LotRefused(WrongUse):
    """Something that must not be done with this lot, or cannot be a lot."""


class NoSuchLot(ArchiveError):
    """No lot goes by that name."""
