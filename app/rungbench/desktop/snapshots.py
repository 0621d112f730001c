"""What comes from the runner's thread: frozen, so that it may cross to the window."""

from dataclasses import dataclass, field
from typing import Any

import numpy as np
import numpy.typing as npt

from pilotsignal.capture import Capture, EdgeRecord
from rungbench.link.messages import Health, Identity
from rungbench.link.words import OPEN, Mode, Setting
from rungbench.standin.calibration import BenchCalibration
from rungbench.standin.record import Losses

Floats = npt.NDArray[np.float64]


def empty() -> Floats:
    """No values, read-only."""
    nothing = np.zeros(0)
    nothing.flags.writeable = False
    return nothing


@dataclass(frozen=True, slots=True, eq=False)
class Stretch:
    """What arrived since the last snapshot: samples, pulses, marks.

    Parameters
    ----------
    samples_s, volts : shape (n,), board time in seconds, and V at the contact.
    pulses_s, duty_percent : shape (m,), rising edges of whole pulses, and their duty.
    rises_s : shape (k,), all rising edges known of the last few periods: samples are laid by them.
    period_s : of the latest pulses, or ``None``.
    marks : settings and mains events, with board time and a few words.
    """

    samples_s: Floats = field(default_factory=empty)
    volts: Floats = field(default_factory=empty)
    pulses_s: Floats = field(default_factory=empty)
    duty_percent: Floats = field(default_factory=empty)
    rises_s: Floats = field(default_factory=empty)
    period_s: float | None = None
    marks: tuple[tuple[float, str], ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Sampled:
    """A stretch of time whole enough to be measured."""

    capture: Capture
    edges: EdgeRecord | None
    setting: Setting
    mode: Mode
    losses: Losses
    end_s: float


@dataclass(frozen=True, slots=True, eq=False)
class Snapshot:
    """How bench and pilot are.

    Parameters
    ----------
    at_s : board time in seconds.
    setting, asked : what the board reports and what was last asked for.
    armed_left_s : seconds in which an energising setting may be chosen; ``None``: not armed.
    hold_left_s : seconds until the board leaves an energising setting by itself.
    watch_left_s : seconds for which the outlet is still watched; ``None``: not watched now.
    mains : live phases.
    alarm : what to shout, or nothing.
    stretch : what is new.
    sampled : a stretch to be measured, now and then.
    """

    at_s: float
    setting: Setting = OPEN
    asked: Setting = OPEN
    armed_left_s: float | None = None
    hold_left_s: float | None = None
    watch_left_s: float | None = None
    mains: frozenset[int] = frozenset()
    alarm: str = ""
    health: Health | None = None
    mode: Mode = Mode.STREAM10
    stretch: Stretch = field(default_factory=Stretch)
    sampled: Sampled | None = None
    job: str = ""

    @property
    def energised(self) -> bool:
        """Whether the outlet may be live."""
        return self.setting.energising or self.asked.energising or bool(self.mains)


@dataclass(frozen=True, slots=True, eq=False)
class LinkState:
    """Whether a bench is there: `identity` while it is, else `sentence` says why not."""

    url: str = ""
    identity: Identity | None = None
    calibration: BenchCalibration | None = None
    sentence: str = ""

    @property
    def up(self) -> bool:
        return self.identity is not None

    @property
    def simulated(self) -> bool:
        """Whether what is seen is simulated; the address says so before the board does."""
        if self.identity is not None:
            return self.identity.simulated
        return self.url.lower().startswith("sim://")


@dataclass(frozen=True, slots=True, eq=False)
class JobEnd:
    """How a job ended: its result, or a sentence."""

    title: str
    result: Any = None
    sentence: str = ""
