"""What did not arrive, and counts of what did."""

from dataclasses import dataclass
from enum import StrEnum
from typing import Final


class LossKind(StrEnum):
    """Why something is missing."""

    DAMAGED = "damaged"
    LOST = "lost"
    REORDERED = "reordered"
    NONSENSE = "nonsense"
    OVERFLOW = "overflow"
    SILENT = "silent"
    BROKEN = "broken"
    RESET = "reset"
    HUNG = "hung"


_FINAL: Final = frozenset({LossKind.SILENT, LossKind.BROKEN, LossKind.RESET})


@dataclass(frozen=True, slots=True)
class Loss:
    """Something missing at this place among the messages: `count` frames, or the whole link."""

    kind: LossKind
    count: int
    detail: str

    @property
    def final(self) -> bool:
        """Whether the link is lost: nothing comes after this."""
        return self.kind in _FINAL


@dataclass(frozen=True, slots=True)
class Statistics:
    """Counts since the start.

    `lost` are numbers missing from the sequence, those of damaged frames among them; `overflow`
    are messages that found the queue full; `repeats` are requests said again for want of an
    answer.
    """

    received_bytes: int = 0
    frames: int = 0
    damaged: int = 0
    lost: int = 0
    reordered: int = 0
    nonsense: int = 0
    overflow: int = 0
    keep_alives: int = 0
    repeats: int = 0
