"""The board's converter: when it samples, what it makes of volts, and blocks of counts."""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rungbench.link.messages import SampleBlock, samples_per_block
from rungbench.link.words import CHECK_CHANNELS, MODE_FACTS, Channel, Mode, ModeFacts
from rungbench.simulated.generator import Floats
from rungbench.simulated.parts import HIGH_V, LOW_V, Parts
from rungbench.simulated.traits import Traits

BURST_TICKS = 962 * 416  # whole intervals, so that times count on through what lies between
_TOP = 1023
_INDEX = 2**32

Counts = npt.NDArray[np.uint16]
Ticks = npt.NDArray[np.int64]


@dataclass(frozen=True, slots=True)
class Converter:
    """Ten bits from -15 to +15 V with the gain, offset and bend that the board really has.

    `bow_v` is how far the line is bent at 0 V, nothing at the ends.  `missing` is a count that
    never comes, infinite for none.
    """

    gain: float
    offset_v: float
    bow_v: float = 0.0
    missing: float = math.inf

    @classmethod
    def of(cls, parts: Parts, traits: Traits) -> "Converter":
        return cls(parts.gain, parts.offset_v, traits.bow_v, traits.missing_code)

    def counts(self, volts: Floats, bits: int) -> Counts:
        """Counts of `bits` bits, shape as `volts`; out of range they stop at the ends."""
        bend = self.bow_v * (1.0 - (volts / HIGH_V) ** 2)
        place = (volts * self.gain + self.offset_v + bend - LOW_V) * (_TOP / (HIGH_V - LOW_V))
        return self.rounded(place) >> np.uint16(10 - bits)

    def rounded(self, place: Floats) -> Counts:
        """Ten bits of a place in counts."""
        counts = np.clip(np.rint(place), 0, _TOP).astype(np.uint16)
        counts[counts == self.missing] += 1
        return counts


class Sampler:
    """Sample times of the mode, and blocks that never reach over the end of a burst."""

    def __init__(self) -> None:
        self.mode = Mode.OFF
        self._facts: ModeFacts | None = None
        self._start = 0  # tick of sample number 0 of this mode
        self._taken = 0  # samples of this mode that were asked for
        self._sent = 0  # samples of this mode that are in blocks
        self._before = 0  # samples of earlier modes since hello
        self._waiting: Counts = np.empty(0, dtype=np.uint16)

    @property
    def bits(self) -> int:
        return self._facts.bits if self._facts else 0

    def begin(self, tick: int, mode: Mode) -> list[SampleBlock]:
        """Sample in another way from now on; returns what was left of the old one."""
        left = self._blocks(partial=True)
        self._before += self._sent
        self.mode, self._facts = mode, MODE_FACTS.get(mode)
        self._taken = self._sent = 0
        self._start = tick + (self._facts.interval_ticks if self._facts else 0)
        return left

    def due(self, end_tick: float) -> Ticks:
        """Ticks of the samples before `end_tick` that were not asked for yet; now they were."""
        if self._facts is None:
            return np.empty(0, dtype=np.int64)
        first, self._taken = self._taken, max(self._taken, self._count_before(end_tick))
        return self._ticks(np.arange(first, self._taken, dtype=np.int64))

    @property
    def next_number(self) -> int:
        """Number, in this mode, of the sample that is due next."""
        return self._taken

    def put(self, counts: Counts) -> list[SampleBlock]:
        """Counts of the samples that were due; returns the blocks that are full."""
        self._waiting = np.concatenate([self._waiting, counts])
        return self._blocks(partial=False)

    def _count_before(self, end_tick: float) -> int:
        assert self._facts is not None
        beyond = end_tick - self._start
        if beyond <= 0:
            return 0
        if self._facts.burst is None:
            return math.ceil(beyond / self._facts.interval_ticks)
        bursts, rest = divmod(beyond, BURST_TICKS)
        return int(bursts) * self._facts.burst + min(
            self._facts.burst, math.ceil(rest / self._facts.interval_ticks)
        )

    def _ticks(self, numbers: Ticks) -> Ticks:
        assert self._facts is not None
        if self._facts.burst is None:
            return self._start + numbers * self._facts.interval_ticks
        bursts, places = np.divmod(numbers, self._facts.burst)
        ticks: Ticks = self._start + bursts * BURST_TICKS + places * self._facts.interval_ticks
        return ticks

    def _blocks(self, *, partial: bool) -> list[SampleBlock]:
        blocks: list[SampleBlock] = []
        while self._waiting.size and (partial or self._waiting.size >= self._room()):
            size = min(self._room(), self._waiting.size)
            blocks.append(self._block(self._waiting[:size]))
            self._waiting = self._waiting[size:]
            self._sent += size
        return blocks

    def _room(self) -> int:
        assert self._facts is not None
        room = samples_per_block(self._facts.bits)
        if self._facts.burst is None:
            return room
        return min(room, self._facts.burst - self._sent % self._facts.burst)

    def _block(self, counts: Counts) -> SampleBlock:
        assert self._facts is not None
        return SampleBlock(
            channel=self._channel(),
            tick=int(self._ticks(np.array([self._sent]))[0]),
            index=(self._before + self._sent) % _INDEX,
            interval_ticks=self._facts.interval_ticks,
            bits=self._facts.bits,
            counts=counts,
        )

    def _channel(self) -> Channel:
        if self.mode is not Mode.CHECK10 or self._facts is None or self._facts.burst is None:
            return Channel.PILOT
        return CHECK_CHANNELS[self._sent // self._facts.burst % len(CHECK_CHANNELS)]
