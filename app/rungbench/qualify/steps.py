"""What the stand-in does for each kind of step, and the evidence that comes of it."""

from dataclasses import dataclass, replace
from typing import Final

from pilotsignal.errors import CaptureError
from pilotsignal.measure import PilotMeasurement, measure
from pilotsignal.response import Window
from pilotsignal.standard import Profile
from rungbench.archive.record import ChargerIdentity
from rungbench.link.words import CableCode, Mode, Rung, Setting
from rungbench.qualify.evidence import Evidence
from rungbench.qualify.plan import Do, Expect, Step
from rungbench.standin.board import StandIn
from rungbench.standin.record import BoardRecord

WATCH_FACTOR: Final = 2.0
"""A change is watched for this many times its limit: what comes late is still measured."""
SHORTEST_WATCH_S: Final = 1.0
_PER_SECOND: Final = {"s": 1.0, "ms": 1e-3}
_OLD_LEVEL_V: Final = 0.5
_CABLES: Final = (CableCode.A13, CableCode.A20, CableCode.A32, CableCode.A63)


def fitted(setting: Setting, charger: ChargerIdentity) -> Setting:
    """The setting with a cable code that lets a socket outlet offer what it is rated for."""
    if charger.outlet != "socket" or setting.rung is Rung.OPEN:
        return setting
    if setting.cable is not CableCode.OPEN:
        return setting
    enough = [code for code in _CABLES if float(code) >= charger.rated_current_a]
    return replace(setting, cable=enough[0] if enough else _CABLES[-1])


@dataclass(frozen=True, slots=True)
class Steps:
    """Performs steps on one stand-in for one charger."""

    standin: StandIn
    profile: Profile
    charger: ChargerIdentity

    def perform(self, step: Step, window: Window, attempt: int) -> Evidence:
        """Do what the step says.

        Parameters
        ----------
        window : what the level before the step lies in (see `old_window`).
        attempt : from the second one on, an observation records longer.

        Raises
        ------
        BenchError : the link broke, or the board left the setting by itself.
        Interrupted : somebody asked for the end.
        """
        if step.do is Do.OBSERVE:
            return self._observe(step, attempt)
        return self._change(step, window, attempt)

    def _observe(self, step: Step, attempt: int) -> Evidence:
        standin = self.standin
        before, live, since = standin.setting, standin.mains, standin.now_tick
        wanted = fitted(step.setting, self.charger)
        standin.begin(Mode.OFF)
        applied = standin.hold(wanted)
        if applied.asked != before:
            standin.wait(step.settle_s)
        if step.await_pwm_s and not standin.pulsing():
            standin.wait_until(standin.pulsing, step.await_pwm_s)
            standin.wait(step.settle_s)
        length_s = step.record_s if attempt == 1 else step.retake_s
        record = standin.record(length_s, step.mode)
        fine = self._fine(record, length_s)
        return Evidence(
            step,
            before,
            applied,
            record,
            measured(record),
            live_before=live,
            seen=standin.live_since(since) | live,
            fine=fine,
            fine_measurement=None if fine is None else measured(fine),
            attempt=attempt,
        )

    def _fine(self, record: BoardRecord, length_s: float) -> BoardRecord | None:
        """A second record where the pulse width counts at the middle: its edges need samples."""
        fastest = Mode.STREAM8
        if self.profile.pulse_width_level != "mid" or record.edges.times.size < 2:
            return None
        if fastest not in self.standin.identity.modes:
            return None
        return self.standin.record(length_s, fastest)

    def _change(self, step: Step, window: Window, attempt: int) -> Evidence:
        standin = self.standin
        limit = self.profile.limit(step.limit)
        limit_s = (limit.high or limit.low or 0.0) * _PER_SECOND[limit.unit]
        before, live, since = standin.setting, standin.mains, standin.now_tick
        standin.begin(step.mode)
        standin.wait(step.before_s)
        applied = standin.hold(fitted(step.setting, self.charger))
        if step.expect is Expect.ON:
            wanted = self.charger.phases
            standin.wait_until(lambda: len(standin.mains) >= wanted, _watch_s(limit_s))
        elif live:
            standin.wait_until(lambda: not standin.mains, _watch_s(limit_s))
        standin.wait(step.after_s)
        return Evidence(
            step,
            before,
            applied,
            standin.end(),
            live_before=live,
            seen=standin.live_since(since) | live,
            window=window,
            limit_s=limit_s,
            attempt=attempt,
        )


def _watch_s(limit_s: float) -> float:
    return max(WATCH_FACTOR * limit_s, SHORTEST_WATCH_S)


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
