"""What can change while a record is taken: a dated remark with its size."""

from dataclasses import dataclass
from typing import Final

from pilotsignal.quantity import Quantity

# Codes of the notices that changes raise; hum and lost samples have theirs already.
CODES: Final = frozenset(
    {
        "duty-step",
        "duty-drift",
        "frequency-step",
        "frequency-drift",
        "level-step",
        "level-drift",
        "noise-burst",
        "pwm-pause",
        "hum",
        "missing-samples",
    }
)

MOST: Final = 12  # changes of one kind that are told one by one


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that happened inside a record.

    Parameters
    ----------
    code : one of `CODES`.
    start_s, end_s : seconds after the first sample or edge, by the nominal rate.  A step lies
        between the two; drift, hum and bursts last from one to the other.
    size : how large, after less before; None where only the place is known.
    text : a sentence for people, with the figures.
    relative : of a change of the high time: points of duty per us; 0 of others.
    """

    code: str
    start_s: float
    end_s: float
    size: Quantity | None
    text: str
    relative: float = 0.0

    @property
    def parts(self) -> bool:
        """Whether what lies before it and what lies after it are two different signals."""
        lasting = ("hum", "duty-drift", "frequency-drift", "level-drift")
        return self.code not in lasting and not self.reported

    @property
    def stretch(self) -> bool:
        """Whether it is a part of the record by itself, and not the border between two."""
        return self.code in ("noise-burst", "pwm-pause")

    @property
    def reported(self) -> bool:
        """Whether it is a gap that the recorder told of: times count it, nothing is in doubt."""
        return self.code == "missing-samples" and self.size is None
