"""Blocks as they arrive, put together to one record; whatever is missing is said."""

from dataclasses import dataclass, field

import numpy as np

from pilotsignal.capture import Capture, EdgeRecord, Gap
from rungbench.link.messages import Channel, EdgeBlock, Event, FromBoard, SampleBlock
from rungbench.link.words import TICK_S
from rungbench.standin.calibration import BenchCalibration


@dataclass(slots=True)
class Recorder:
    """Collects from `start_tick` on; `origin` is what the captures are called.

    `own` are the blocks of the board's own channels, which are no part of a capture.
    """

    origin: str
    start_tick: int
    rung: str
    edge_quantum: int = 1
    samples: list[SampleBlock] = field(default_factory=list)
    edges: list[EdgeBlock] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)
    own: list[SampleBlock] = field(default_factory=list)

    def take(self, message: FromBoard) -> None:
        """Keep what belongs to a record."""
        match message:
            case SampleBlock():
                (self.own if message.channel != Channel.PILOT else self.samples).append(message)
            case EdgeBlock():
                self.edges.append(message)
            case Event():
                self.events.append(message)
            case _:
                return

    def capture(self, calibration: BenchCalibration) -> tuple[Capture | None, int]:
        """The samples, and how many of them were taken and did not arrive."""
        blocks = [block for block in self.samples if block.tick >= self.start_tick]
        if not blocks:
            return None, 0
        # What an earlier mode left behind has another interval and is none of this record's.
        blocks = [block for block in blocks if _spacing(block) == _spacing(blocks[-1])]
        first = blocks[0]
        gaps, lost = _sample_gaps(blocks)
        capture = Capture.from_counts(
            np.concatenate([block.counts for block in blocks]),
            first.interval_ticks * TICK_S,
            self.origin,
            calibration=calibration.volts_for(first.bits),
            time_base=calibration.time_base,
        ).recorded(gaps=gaps, converter_range=(0, 2**first.bits - 1), first_tick=first.tick)
        return capture, lost

    def edge_record(self, calibration: BenchCalibration, end_tick: int) -> tuple[EdgeRecord, int]:
        """The edges up to `end_tick`, and how many of them did not arrive."""
        gaps, lost = _edge_gaps(self.edges)
        times = _joined([block.times for block in self.edges], np.int64)
        rising = _joined([block.rising for block in self.edges], np.bool_)
        begin, end = (int(at) for at in np.searchsorted(times, [self.start_tick, end_tick]))
        kept = tuple(Gap(gap.index - begin, gap.missing) for gap in gaps if begin < gap.index < end)
        record = EdgeRecord(
            times=times[begin:end],
            rising=rising[begin:end],
            tick_s=TICK_S,
            origin=self.origin,
            time_base=calibration.time_base,
            width_bias=calibration.bias_on(self.rung),
            gaps=kept,
            quantum_ticks=self.edge_quantum,
        )
        return record, lost


def _spacing(block: SampleBlock) -> tuple[int, int]:
    return block.interval_ticks, block.bits


def _sample_gaps(blocks: list[SampleBlock]) -> tuple[list[Gap], int]:
    """Places where the ticks jump, and the samples that the running count says are missing."""
    gaps: list[Gap] = []
    lost, index = 0, 0
    for before, after in zip(blocks, blocks[1:], strict=False):
        index += before.counts.size
        due = before.tick + before.counts.size * before.interval_ticks
        missing = round((after.tick - due) / before.interval_ticks)
        if missing > 0:
            gaps.append(Gap(index, missing))
        lost += max(0, after.index - before.index - before.counts.size)
    return gaps, lost


def _edge_gaps(blocks: list[EdgeBlock]) -> tuple[list[Gap], int]:
    gaps: list[Gap] = []
    lost, index = 0, 0
    for before, after in zip(blocks, blocks[1:], strict=False):
        index += before.offsets.size
        missing = max(0, after.index - before.index - before.offsets.size)
        if missing:
            gaps.append(Gap(index, missing))
            lost += missing
    return gaps, lost


def _joined(parts: list[np.ndarray], kind: type) -> np.ndarray:
    return np.concatenate(parts) if parts else np.zeros(0, dtype=kind)
