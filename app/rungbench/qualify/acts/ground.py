"""What every act stands on: the stand-in, the charger's description, and the operator's desk."""

from dataclasses import dataclass, replace
from typing import Any, Final

from pilotsignal.errors import CaptureError
from pilotsignal.measure import PilotMeasurement, measure
from pilotsignal.response import Window
from pilotsignal.standard import Profile
from rungbench.archive.record import ChargerIdentity
from rungbench.link.words import (
    MODE_FACTS,
    TICKS_PER_SECOND,
    CableCode,
    Mode,
    Rung,
    Setting,
)
from rungbench.qualify.desk import Desk
from rungbench.qualify.evidence import Evidence
from rungbench.qualify.plan import Step
from rungbench.standin.board import StandIn
from rungbench.standin.record import Applied, BoardRecord

FASTEST: Final = Mode.STREAM8
_PERIOD_TICKS: Final = TICKS_PER_SECOND / 1000
_FEWEST_SAMPLES: Final = 1.5
_OLD_LEVEL_V: Final = 0.5
_CABLES: Final = (CableCode.A13, CableCode.A20, CableCode.A32, CableCode.A63)


@dataclass(frozen=True, slots=True)
class Ground:
    """One stand-in, one charger, the limits that times are watched against, and the desk."""

    standin: StandIn
    profile: Profile
    charger: ChargerIdentity
    desk: Desk

    def fitted(self, step: Step) -> Setting:
        """The step's setting, with a cable that lets a socket outlet offer what it is rated for."""
        return fitted(step.setting, self.charger) if step.any_cable else step.setting

    def mode(self, step: Step) -> Mode:
        """How a step samples: as it says, or fastest where its pulses would hold one sample.

        That is a duty of 5 %, which asks for digital communication, or one of 96 %, for 80 A.
        """
        standin = self.standin
        duty, facts = standin.duty, MODE_FACTS.get(step.mode)
        if duty is None or facts is None or FASTEST not in standin.identity.modes:
            return step.mode
        samples = min(duty, 100.0 - duty) / 100.0 * _PERIOD_TICKS / facts.interval_ticks
        return step.mode if samples >= _FEWEST_SAMPLES else FASTEST

    def go(self, setting: Setting) -> Applied:
        """Present a setting; an energising one anew, so that the board's limit counts from now."""
        return self.standin.present(setting) if setting.energising else self.standin.hold(setting)


@dataclass(frozen=True, slots=True)
class Pass:
    """One pass through a step.

    Parameters
    ----------
    window : what the level before the step lies in (see `old_window`).
    attempt : from the second one on, an observation records longer.
    measures : whether an observation is to be measured; where no check and no later step asks for
        its levels, that would only keep the stand-in waiting.
    """

    step: Step
    window: Window
    attempt: int
    measures: bool = True


@dataclass(frozen=True, slots=True)
class Before:
    """How bench and charger were when an act began."""

    setting: Setting
    live: frozenset[int]
    tick: int

    @classmethod
    def now(cls, standin: StandIn) -> "Before":
        """What is now."""
        return cls(standin.setting, standin.mains, standin.now_tick)

    def evidence(
        self, standin: StandIn, one: Pass, applied: Applied, record: BoardRecord, **more: Any
    ) -> Evidence:
        """What an act brings home; `more` are further fields of `Evidence`."""
        return Evidence(
            one.step,
            self.setting,
            applied,
            record,
            live_before=self.live,
            seen=standin.live_since(self.tick) | self.live,
            attempt=one.attempt,
            **more,
        )


def fitted(setting: Setting, charger: ChargerIdentity) -> Setting:
    """The setting with a cable code that lets a socket outlet offer what it is rated for."""
    if charger.outlet != "socket" or setting.rung is Rung.OPEN:
        return setting
    if setting.cable is not CableCode.OPEN:
        return setting
    enough = [code for code in _CABLES if float(code) >= charger.rated_current_a]
    return replace(setting, cable=enough[0] if enough else _CABLES[-1])


def measured(record: BoardRecord, profile: Profile | None = None) -> PilotMeasurement | None:
    """What the record's samples and edges tell; ``None`` where nothing was sampled."""
    if record.capture is None:
        return None
    edges = record.edges if record.edges.times.size > 1 else None
    try:
        return measure(record.capture, edges, profile)
    except CaptureError:
        return None


def old_window(setting: Setting, level: Evidence | None, profile: Profile) -> Window:
    """What the high level at a setting lies in: the standard's window of recognition.

    Parameters
    ----------
    level : an observation at that setting, if there was one: the window is widened to what was
        measured, since a charger that is off is still to be timed.
    """
    name = {Rung.OPEN: "A", Rung.SHORT: "E"}.get(setting.rung, str(setting.rung))
    window = profile.windows[name]
    low, high = window.low, window.high
    measured_v = level.measurement.high_plateau_v if level and level.measurement else None
    if measured_v is not None:
        low = min(low, measured_v.value - _OLD_LEVEL_V)
        high = max(high, measured_v.value + _OLD_LEVEL_V)
    return Window(low, high)
