"""The board behind the bytes: frames in and out, its clock, its rules, its measuring.

One board lives from a reset to the next; its ticks count from there.
"""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from rungbench.errors import MessageError
from rungbench.link.framing import Frame
from rungbench.link.messages import (
    HEALTH_TICKS,
    HELLO,
    PROTOCOL,
    SET_MODE,
    TICKS_PER_SECOND,
    Answer,
    Arm,
    Code,
    Event,
    EventKind,
    FromBoard,
    Health,
    Identity,
    KeepAlive,
    Message,
    Mode,
    Present,
    ResetCause,
    SetMode,
    Setting,
    frame_bytes,
    new_deframer,
    unpack,
)
from rungbench.link.words import Oscillator
from rungbench.simulated.generator import Floats
from rungbench.simulated.mains import BLIND_S, Sensed
from rungbench.simulated.parts import HIGH_V, LOW_V, Parts
from rungbench.simulated.rules import Outlets, Rules
from rungbench.simulated.sampler import Converter, Sampler
from rungbench.simulated.self_check import SelfCheck
from rungbench.simulated.stamper import EdgeStamper
from rungbench.simulated.traits import Traits

# A doubt somewhat longer than the senses are blind: they are polled every 50 us.
_DOUBT_TICKS = round((BLIND_S + 50e-6) * TICKS_PER_SECOND)


def identity(cause: ResetCause, board_id: str) -> Identity:
    """What the simulated board says of itself."""
    return Identity(
        firmware="1.0.0",
        board_id=board_id,
        oscillator=Oscillator.CRYSTAL,
        reset_cause=cause,
        simulated=True,
        converter_low_v=LOW_V,
        converter_high_v=HIGH_V,
    )


@dataclass(frozen=True, slots=True)
class Wires:
    """What leads out of the board: bytes to the host, coils of the ladder, a source of nonces."""

    send: Callable[[bytes], None]
    drive: Callable[[float, Setting], None]
    nonce: Callable[[], int]


@dataclass(frozen=True, slots=True)
class Made:
    """What the board is made of, and the traits that were asked for."""

    parts: Parts
    traits: Traits

    @property
    def clock(self) -> float:
        """True rate of the oscillator over 16 MHz, less 1."""
        asked = self.traits.clock_ppm
        return self.parts.clock if asked is None else asked * 1e-6


class Board:
    """From one reset, at `start` in true seconds, to the next."""

    def __init__(self, start: float, cause: ResetCause, made: Made, wires: Wires) -> None:
        self._rate = TICKS_PER_SECOND * (1 + made.clock)
        self._made, self._parts = made, made.parts
        self._wires, self._start = wires, start
        self._identity = identity(cause, made.traits.board_name)
        self._deframer = new_deframer()
        self._sequence = 0
        self._due_number = 0  # of the samples whose times were asked for last
        self._host_version: int | None = None
        self._health_tick: int | None = None
        self._mains: set[int] = set()
        self._converter = Converter.of(made.parts, made.traits)
        self._self_check = SelfCheck(np.random.default_rng((made.traits.seed, 0x5E1F)))
        self._sampler, self._stamper = Sampler(), EdgeStamper()
        outlets = Outlets(
            self._send, lambda tick, what: wires.drive(self.time_of(tick), what), wires.nonce
        )
        self.rules = Rules(self._identity, outlets)
        self._send(replace(self._identity, asked=False))

    # Clock ----------------------------------------------------------------------------------

    def tick_at(self, time: float) -> int:
        """The tick that runs at `time`."""
        return int((time - self._start) * self._rate)

    def time_of(self, tick: float) -> float:
        """When a tick begins, in true seconds."""
        return self._start + tick / self._rate

    @property
    def next_time(self) -> float:
        """When the board does something by itself next, or infinity."""
        health = self._health_tick if self._health_tick is not None else float("inf")
        return self.time_of(min(self.rules.next_tick, health))

    def advance(self, time: float) -> None:
        """Do what is due at `time`; a tick that begins then has begun."""
        tick = round((time - self._start) * self._rate)
        self.rules.advance(tick)
        if self._health_tick is not None and self._health_tick <= tick:
            self._send_health(self._health_tick)
            self._health_tick += HEALTH_TICKS

    # Measuring ------------------------------------------------------------------------------

    def sample_times(self, end: float) -> Floats:
        """True times of the samples up to `end` that were not taken yet."""
        self._due_number = self._sampler.next_number
        ticks = self._sampler.due((end - self._start) * self._rate)
        return self._start + ticks / self._rate

    def take_samples(self, volts: Floats) -> None:
        """Volts at the times that `sample_times` gave, noise of the board included.

        While the board checks itself, it looks elsewhere.
        """
        if self._sampler.mode is Mode.CHECK10:
            places = self._self_check.places(self._due_number, volts.size)
            counts = self._converter.rounded(places)
        else:
            counts = self._converter.counts(volts, self._sampler.bits)
        for block in self._sampler.put(counts):
            self._send(block)

    def take_edges(self, times: Floats, rising: npt.NDArray[np.bool_]) -> None:
        """Crossings of 0 V; the comparator adds its delays."""
        if self._host_version is not None:
            delays = np.where(rising, self._parts.rise_delay_s, self._parts.fall_delay_s)
            ticks = ((times + delays - self._start) * self._rate).astype(np.int64)
            self._stamper.put(ticks, rising)

    def flush_edges(self, time: float) -> None:
        """Send the edge blocks that are complete."""
        for block in self._stamper.blocks(self.tick_at(time)):
            self._send(block)

    def sense(self, sensed: Sensed) -> None:
        """A sense of mains tells something."""
        (self._mains.add if sensed.on else self._mains.discard)(sensed.phase)
        kind = EventKind.MAINS_ON if sensed.on else EventKind.MAINS_OFF
        self._send(Event(self.tick_at(sensed.time), kind, sensed.phase, _DOUBT_TICKS))

    # Talking --------------------------------------------------------------------------------

    def receive(self, data: bytes, time: float) -> None:
        """Bytes from the host."""
        for found in self._deframer.feed(data):
            if isinstance(found, Frame):
                self._take(found, self.tick_at(time))

    def _take(self, frame: Frame, tick: int) -> None:
        if frame.type == HELLO and frame.payload:
            self._greet(frame.payload[0], tick)
            return
        self._obey(frame.sequence, _understood(frame), tick)

    def _obey(self, sequence: int, message: Message | Code, tick: int) -> None:
        refusal = self._refusal(message)
        if isinstance(message, KeepAlive):
            if refusal is None:
                self.rules.keep_alive(tick)
        elif refusal is not None:
            self._send(Answer(sequence, refusal))
        elif isinstance(message, Present):
            self.rules.present(tick, sequence, message.setting, message.nonce)
        elif isinstance(message, Arm):
            self.rules.arm(tick, sequence)
        elif isinstance(message, SetMode):
            self._send(Answer(sequence, Code.ACCEPTED))
            self._set_mode(tick, message.mode)
        else:
            self._send(Answer(sequence, Code.MALFORMED))

    def _refusal(self, message: Message | Code) -> Code | None:
        if self._host_version is None:
            return Code.NO_HELLO
        if self._host_version != PROTOCOL:
            return Code.OTHER_PROTOCOL
        return message if isinstance(message, Code) else None

    def _greet(self, version: int, tick: int) -> None:
        self._host_version = version
        self._sampler, self._stamper = Sampler(), EdgeStamper()
        self._sequence = 0
        self._send(self._identity)
        self.rules.greet(tick)
        self._health_tick = tick + HEALTH_TICKS

    def _set_mode(self, tick: int, mode: Mode) -> None:
        for block in self._sampler.begin(tick, mode):
            self._send(block)

    def _send_health(self, tick: int) -> None:
        self._send(
            Health(
                tick,
                temperature_c=self._made.traits.temperature_c,
                armed=self.rules.armed,
                interlock_closed=self.rules.interlock_closed,
                setting=self.rules.setting,
                mode=self._sampler.mode,
                mains=tuple(sorted(self._mains)),
            )
        )

    def _send(self, message: FromBoard) -> None:
        if isinstance(message, Identity):
            self._sequence = 0
        elif self._host_version is None and not isinstance(message, Answer):
            return
        self._wires.send(frame_bytes(message, self._sequence))
        self._sequence = (self._sequence + 1) % 256


def _understood(frame: Frame) -> Message | Code:
    """The message in a frame, or why it is none."""
    try:
        return unpack(frame)
    except MessageError:
        no_mode = frame.type == SET_MODE and len(frame.payload) == 1
        return Code.UNKNOWN_MODE if no_mode else Code.MALFORMED
