"""One bench in the hands of the window: rules of arming, the watch of the outlet, what is seen.

No Qt, and no thread of its own: `step` lets a little board time pass.  All durations are the
board's.
"""

from typing import Final

from rungbench.desktop.gather import Gatherer
from rungbench.desktop.snapshots import Snapshot
from rungbench.link.words import OPEN, TICK_S, Mode, Setting
from rungbench.qualify.safety import ALARM, WATCH_S
from rungbench.standin.board import StandIn
from rungbench.standin.errors import FellOpen, NotArmed, Refused

ARMED_S: Final = 10.0
"""How long an arming waits for the choice of a setting."""

STEP_S: Final = 0.005


class Session:
    """A stand-in that streams while nothing else is done with it."""

    def __init__(self, standin: StandIn, mode: Mode = Mode.STREAM10) -> None:
        self.standin = standin
        self.mode = mode
        self.alarm = ""
        self.job = ""
        self._gatherer = Gatherer(standin.identity, standin.calibration)
        self._asked = OPEN
        self._armed_until: int | None = None
        self._energised_at: int | None = None
        self._watch_from: int | None = None
        standin.listen = self._gatherer.take

    def begin(self) -> None:
        """Sample and show from now on, also after a job that sampled otherwise."""
        self._asked = self.standin.setting
        self._gatherer.restart()
        self.standin.stream(self.mode)

    def sample(self, mode: Mode) -> None:
        """Sample otherwise."""
        self.mode = mode
        self._gatherer.restart()
        self.standin.stream(mode)

    # Settings ---------------------------------------------------------------------------------

    def arm(self) -> None:
        """Let the next setting be an energising one.

        Raises
        ------
        Refused : the outlet is live, or is still watched, or the interlock is open.
        """
        if self.alarm:
            raise Refused("The outlet was live; switch off the supply, then note the alarm.")
        if self._watch_from is not None:
            raise Refused("The outlet is still being watched; arm when the watch is over.")
        health = self.standin.health
        if health is not None and not health.interlock_closed:
            raise Refused("The interlock is open; release the emergency stop, then arm again.")
        self.standin.arm_energising()
        self._armed_until = self.standin.now_tick + round(ARMED_S / TICK_S)

    def present(self, setting: Setting) -> None:
        """Present a setting; an energising one uses the arming up.

        Raises
        ------
        NotArmed : it is energising and nobody armed.
        Refused, NotApplied, LinkLost : as `StandIn.present`.
        """
        if setting.energising and not self.standin.run_armed:
            raise NotArmed(
                f"Rung {setting.rung} may put mains on the outlet; arm with Ctrl+F9, then choose "
                "it again."
            )
        if not self.standin.identity.can_present(setting):
            raise Refused(f"This board has no parts for {setting.text()}; choose another setting.")
        before = self.standin.setting
        self._asked = setting
        try:
            self.standin.present(setting)
        finally:
            self._disarm()
            self._asked = self.standin.setting
            self._energised_at = self.standin.now_tick if self._asked.energising else None
            self._after(before)

    def go_open(self) -> None:
        """Back to open, and watch the outlet if anything else was presented."""
        self._disarm()
        before = self.standin.setting
        self._asked = OPEN
        if before != OPEN or self.standin.health is None or self.standin.health.setting != OPEN:
            self.standin.present(OPEN)
        self._energised_at = None
        self._after(before)

    def note_alarm(self) -> None:
        """Somebody has read it; if the outlet is live still, it comes back."""
        self.alarm = ""

    def watching(self) -> bool:
        """Whether the outlet is still watched."""
        return self._watch_from is not None

    def _after(self, before: Setting) -> None:
        now = self.standin.setting
        if now.energising:
            self._watch_from = None
        elif before != OPEN or self._watch_from is not None:
            self._watch_from = self.standin.now_tick

    def _disarm(self) -> None:
        self.standin.disarm()
        self._armed_until = None

    # Time -------------------------------------------------------------------------------------

    def step(self) -> str:
        """Let board time pass; returns a sentence if the board left its setting by itself."""
        sentence = ""
        before = self.standin.setting
        try:
            self.standin.wait(STEP_S)
        except FellOpen as fell:
            self._disarm()
            self._asked, self._energised_at = OPEN, None
            self._after(before)
            sentence = str(fell)
        if self._armed_until is not None and self.standin.now_tick >= self._armed_until:
            self._disarm()
        self._look_at_outlet()
        return sentence

    def _look_at_outlet(self) -> None:
        standin = self.standin
        if standin.setting.energising:
            return
        if self._watch_from is None:
            if standin.mains:
                self.alarm = ALARM
            return
        passed_s = (standin.now_tick - self._watch_from) * TICK_S
        if passed_s < WATCH_S:
            return
        late = self._watch_from + round(WATCH_S / 2 / TICK_S)
        if standin.live_since(late):
            self.alarm = ALARM
        self._watch_from = None

    # What is seen -----------------------------------------------------------------------------

    def snapshot(self) -> Snapshot:
        """How everything is, with what is new since the last call."""
        standin = self.standin
        now = standin.now_tick
        sampled = None
        if not self.job:
            sampled = self._gatherer.sampled(standin.setting, self.mode, now)
        return Snapshot(
            at_s=now * TICK_S,
            setting=standin.setting,
            asked=self._asked,
            armed_left_s=self._left(self._armed_until),
            hold_left_s=self._hold_left(),
            watch_left_s=self._watch_left(),
            mains=standin.mains,
            alarm=self.alarm,
            health=standin.health,
            mode=self.mode,
            stretch=self._gatherer.stretch(now * TICK_S),
            sampled=sampled,
            job=self.job,
        )

    def _left(self, until: int | None) -> float | None:
        return None if until is None else max(0.0, (until - self.standin.now_tick) * TICK_S)

    def _hold_left(self) -> float | None:
        limit = self.standin.identity.hold_limit_s(self.standin.setting.rung)
        if limit is None or self._energised_at is None:
            return None
        return self._left(self._energised_at + round(limit / TICK_S))

    def _watch_left(self) -> float | None:
        if self._watch_from is None:
            return None
        return self._left(self._watch_from + round(WATCH_S / TICK_S))
