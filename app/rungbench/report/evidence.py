"""A record with all that a report about it needs."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Self

from pilotsignal.capture import Capture, EdgeRecord
from rungbench.archive.record import Record
from rungbench.report.digest import record_sha256

Captures = Callable[[str], Capture | EdgeRecord]


@dataclass(frozen=True, slots=True)
class Evidence:
    """A record, its hash, and the way to its captures.

    `captures` gives a capture by its key, and raises `ArchiveError` where the archive no longer
    holds one: captures may expire, and the report then says so.
    """

    record: Record
    captures: Captures
    sha256: str

    @classmethod
    def of(cls, record: Record, captures: Captures) -> Self:
        """The record with its hash worked out."""
        return cls(record, captures, record_sha256(record))
