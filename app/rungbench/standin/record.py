"""What the board sent between two ticks: samples, edges, events, and what is missing."""

from collections.abc import Iterable
from dataclasses import dataclass, fields

from pilotsignal.capture import Capture, EdgeRecord
from rungbench.link.messages import Event, SampleBlock
from rungbench.link.words import TICK_S, EventKind, Setting


@dataclass(frozen=True, slots=True)
class Losses:
    """What did not arrive; frames by the link, samples and edges by their running numbers."""

    frames_lost: int = 0
    frames_damaged: int = 0
    frames_reordered: int = 0
    queue_overflow: int = 0
    board_dropped: int = 0
    samples_missing: int = 0
    edges_missing: int = 0

    def __bool__(self) -> bool:
        return any(getattr(self, field.name) for field in fields(self))

    def text(self) -> str:
        """One line for people; empty if nothing is missing."""
        return ", ".join(
            f"{getattr(self, field.name)} {field.name.replace('_', ' ')}"
            for field in fields(self)
            if getattr(self, field.name)
        )


@dataclass(frozen=True, slots=True)
class Applied:
    """A setting that was asked for, the one that the board reports, and since when."""

    asked: Setting
    reported: Setting
    tick: int


@dataclass(frozen=True, slots=True, eq=False)
class BoardRecord:
    """Everything between `start_tick` and `end_tick`.

    `capture` is ``None`` where the pilot was not sampled.  `mains` are the phases live at the end,
    by the board's own report.  `pilot` are the blocks that the capture was made from, `own` those
    of the board's check of itself.
    """

    capture: Capture | None
    edges: EdgeRecord
    events: tuple[Event, ...]
    start_tick: int
    end_tick: int
    losses: Losses
    mains: frozenset[int] = frozenset()
    pilot: tuple[SampleBlock, ...] = ()
    own: tuple[SampleBlock, ...] = ()

    @property
    def duration_s(self) -> float:
        return (self.end_tick - self.start_tick) * TICK_S

    def mains_events(self, kind: EventKind) -> tuple[Event, ...]:
        """Events of one kind, in order of their ticks."""
        return in_order(event for event in self.events if event.kind is kind)


def in_order(events: Iterable[Event]) -> tuple[Event, ...]:
    """Events by tick: a mains event tells about an instant before it was sent."""
    return tuple(sorted(events, key=lambda event: event.tick))
