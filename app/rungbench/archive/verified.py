"""What verifying an archive came to."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Break:
    """Something that is not as it was recorded: `why` is a sentence."""

    bench: str
    position: int | None
    record: str
    why: str


@dataclass(frozen=True, slots=True)
class Walked:
    """A chain from its first to its last entry here.

    `records` are those that are here and as they were, `elsewhere` those that were not handed on
    with the others, `open` those that have not come to an end yet, of which only the header is
    vouched for.  `lots` are those of a chain of lots.  `head` is the hash of the last entry.
    """

    chain: str
    bench: str
    own: bool
    first: int
    last: int
    head: str
    records: int
    elsewhere: int
    open: int
    lots: int = 0


@dataclass(frozen=True, slots=True)
class Room:
    """How many samples and edges there are, and the bytes that they take."""

    values: int
    bytes: int


@dataclass(frozen=True, slots=True)
class Verified:
    """What a walk came to: sound if there is no break."""

    chains: tuple[Walked, ...]
    captures: int
    expired: int
    room: Room
    breaks: tuple[Break, ...]

    @property
    def sound(self) -> bool:
        return not self.breaks
