"""What the board says: identity, samples, edges, events, health, answers."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from rungbench.link.words import (
    OPEN,
    REASONS,
    CableCode,
    Code,
    EventKind,
    LadderSet,
    Mode,
    Oscillator,
    Reason,
    ResetCause,
    Rung,
    Setting,
)

PROTOCOL = 1
"""Version of the link that this program speaks."""

Counts = npt.NDArray[np.uint8] | npt.NDArray[np.uint16]


@dataclass(frozen=True, slots=True)
class Identity:
    """What the board is and can do; the answer to hello, and the first word after a reset.

    `converter_low_v` and `converter_high_v` are what count 0 and the highest count stand for by
    design, a hint and no calibration.  `phases_sensed` is how many phases are sensed, L1 first.
    `asked` is true in the answer to a hello, false in what the board says after a reset.
    `hold_c_s` and `hold_d_s` are how long the board holds an energising rung at most.
    """

    firmware: str
    board_id: str
    oscillator: Oscillator = Oscillator.UNKNOWN
    reset_cause: ResetCause = ResetCause.UNKNOWN
    modes: tuple[Mode, ...] = tuple(Mode)
    rungs: tuple[Rung, ...] = tuple(Rung)
    ladders: tuple[LadderSet, ...] = tuple(LadderSet)
    cable_codes: tuple[CableCode, ...] = tuple(CableCode)
    can_bypass_diode: bool = True
    can_open_pe: bool = True
    simulated: bool = False
    asked: bool = True
    phases_sensed: int = 3
    edge_quantum_ticks: int = 1
    converter_bits: int = 10
    converter_low_v: float = -15.0
    converter_high_v: float = 15.0
    hold_c_s: int = 60
    hold_d_s: int = 60
    protocol: int = PROTOCOL

    def hold_limit_s(self, rung: Rung) -> int | None:
        """Longest hold of a rung in seconds of board time, or ``None``: no limit."""
        return {Rung.C: self.hold_c_s, Rung.D: self.hold_d_s}.get(rung)

    def can_present(self, setting: Setting) -> bool:
        """Whether the board has the parts for a setting."""
        return (
            setting.rung in self.rungs
            and setting.ladder in self.ladders
            and setting.cable in self.cable_codes
            and (setting.diode_in or self.can_bypass_diode)
            and (setting.pe_closed or self.can_open_pe)
        )


@dataclass(frozen=True, slots=True, eq=False)
class SampleBlock:
    """Consecutive samples of one channel.

    `tick` is that of the first one, `index` its number in the running count of samples taken
    since hello; `counts` has shape (n,), type uint8 or uint16, read-only.
    """

    channel: int
    tick: int
    index: int
    interval_ticks: int
    bits: int
    counts: Counts


@dataclass(frozen=True, slots=True, eq=False)
class EdgeBlock:
    """Consecutive edges at 0 V, rising and falling in turn.

    `tick` is where the offsets count from, `index` the running number of the first edge since
    hello, `offsets` ticks after `tick`: shape (n,), uint16, read-only.
    """

    tick: int
    index: int
    offsets: npt.NDArray[np.uint16]
    first_rising: bool

    @property
    def times(self) -> npt.NDArray[np.int64]:
        """Ticks of the edges, shape (n,)."""
        return self.offsets.astype(np.int64) + self.tick

    @property
    def rising(self) -> npt.NDArray[np.bool_]:
        """Whether each edge rises, shape (n,)."""
        return np.asarray((np.arange(self.offsets.size) % 2 == 0) == self.first_rising)


@dataclass(frozen=True, slots=True)
class Event:
    """Something that happened at `tick`.

    `value` is the packed setting (setting applied), the phase 1..3 (mains), 1 for closed or
    armed, or the number of a reason.  `interval_ticks` is the width of the doubt: the true
    instant lies up to that much before `tick` (mains on: first conduction seen) or after it
    (mains off: last conduction seen).
    """

    tick: int
    kind: EventKind
    value: int = 0
    interval_ticks: int = 0

    @property
    def setting(self) -> Setting:
        """The setting of a `SETTING_APPLIED`."""
        return Setting.unpacked(self.value)

    @property
    def reason(self) -> Reason:
        """The reason of a `DISARMED` or `FELL_OPEN`."""
        return REASONS.word(self.value)

    @property
    def phase(self) -> int:
        """The phase, 1..3, of a `MAINS_ON` or `MAINS_OFF`."""
        return self.value

    @property
    def closed(self) -> bool:
        """The state that an `INTERLOCK` tells."""
        return bool(self.value)


@dataclass(frozen=True, slots=True)
class Health:
    """How the board is, every 100 ms; the three counts run from hello and stop at 65535.

    `mains` are the phases, 1..3, on which mains is seen now.
    """

    tick: int
    overruns: int = 0
    dropped_edges: int = 0
    dropped_samples: int = 0
    temperature_c: float | None = None
    armed: bool = False
    interlock_closed: bool = True
    setting: Setting = OPEN
    mode: Mode = Mode.OFF
    mains: tuple[int, ...] = ()


@dataclass(frozen=True, slots=True)
class Answer:
    """What became of the request with sequence number `to_sequence`; `nonce` only after arm."""

    to_sequence: int
    code: Code
    nonce: int = 0

    @property
    def accepted(self) -> bool:
        """Whether the board does what was asked."""
        return self.code is Code.ACCEPTED


FromBoard = Identity | SampleBlock | EdgeBlock | Event | Health | Answer
