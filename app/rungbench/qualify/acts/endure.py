"""To stay on a setting for long, and measure it again and again."""

from dataclasses import dataclass
from typing import Final

from rungbench.link.words import TICK_S, TICKS_PER_SECOND, Mode, Setting
from rungbench.qualify.acts.ground import Before, Ground, Pass, measured
from rungbench.qualify.evidence import Evidence, Sample
from rungbench.standin.board import StandIn
from rungbench.standin.record import Applied

_SLICE_S: Final = 1.0
# The board opens an energising rung at its limit; a fresh setting starts the count anew.
_SHARE_OF_HOLD: Final = 0.5
_LOOK_S: Final = 5.0


def endure(ground: Ground, one: Pass) -> Evidence:
    """Stay for `record_s`; every `every_s` one second is sampled and measured.

    Edges and mains are recorded all the time; they stand in the records of the slices.

    Raises
    ------
    BenchError, Interrupted : as `observe`.
    """
    standin, step = ground.standin, one.step
    before = Before.now(standin)
    held = _Held(standin, ground.go(ground.fitted(step)))
    standin.wait(step.settle_s)
    if step.await_pwm_s and not standin.pulsing():
        standin.wait_until(standin.pulsing, step.await_pwm_s)
    end = standin.now_tick + round(step.record_s * TICKS_PER_SECOND)
    series: list[Sample] = []
    while standin.now_tick < end:
        series.append(_slice(held, one))
    record = standin.record(_SLICE_S, step.mode)
    return before.evidence(
        standin, one, held.applied, record, measurement=measured(record), series=tuple(series)
    )


@dataclass(slots=True)
class _Held:
    """A setting that is presented anew before the board lets go of it."""

    standin: StandIn
    applied: Applied

    @property
    def setting(self) -> Setting:
        return self.applied.asked

    def wait(self, seconds: float) -> None:
        """Let board time pass on the setting."""
        end = self.standin.now_tick + round(seconds * TICKS_PER_SECOND)
        while (left_s := (end - self.standin.now_tick) * TICK_S) > 0.0:
            self.standin.wait(min(left_s, _LOOK_S))
            self._renew()

    def _renew(self) -> None:
        limit_s = self.standin.identity.hold_limit_s(self.setting.rung)
        if limit_s is None:
            return
        held_s = (self.standin.now_tick - self.applied.tick) * TICK_S
        if held_s > _SHARE_OF_HOLD * limit_s:
            self.applied = self.standin.present(self.setting)


def _slice(held: _Held, one: Pass) -> Sample:
    """Without samples until the last second of the slice, then measured."""
    standin, step = held.standin, one.step
    standin.begin(Mode.OFF)
    held.wait(max(0.0, step.every_s - _SLICE_S))
    quiet = standin.end()
    record = standin.record(_SLICE_S, step.mode)
    return Sample(standin.now_tick, measured(record), record, before=quiet)
