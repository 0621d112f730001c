"""To stay on a setting for long, and measure it again and again."""

from typing import Final

from rungbench.link.words import TICKS_PER_SECOND, Mode
from rungbench.qualify.acts.ground import Before, Ground, Pass, measured
from rungbench.qualify.evidence import Evidence, Sample

_SLICE_S: Final = 1.0
# The board opens an energising rung at its limit; a fresh setting starts the count anew.
_SHARE_OF_HOLD: Final = 0.5


def endure(ground: Ground, one: Pass) -> Evidence:
    """Stay for `record_s`; every `every_s` one second is sampled and measured.

    Edges and mains are recorded all the time; they stand in the records of the slices.

    Raises
    ------
    BenchError, Interrupted : as `observe`.
    """
    standin, step = ground.standin, one.step
    before = Before.now(standin)
    wanted = ground.fitted(step.setting)
    applied = standin.hold(wanted)
    standin.wait(step.settle_s)
    if step.await_pwm_s and not standin.pulsing():
        standin.wait_until(standin.pulsing, step.await_pwm_s)
    end = standin.now_tick + round(step.record_s * TICKS_PER_SECOND)
    renewed, series = standin.now_tick, list[Sample]()
    while standin.now_tick < end:
        series.append(_slice(ground, one))
        held_s = (standin.now_tick - renewed) / TICKS_PER_SECOND
        if wanted.energising and held_s > _SHARE_OF_HOLD * (
            standin.identity.hold_limit_s(wanted.rung) or 0
        ):
            applied, renewed = standin.present(wanted), standin.now_tick
    record = standin.record(_SLICE_S, step.mode)
    return before.evidence(
        standin, one, applied, record, measurement=measured(record), series=tuple(series)
    )


def _slice(ground: Ground, one: Pass) -> Sample:
    """Without samples until the last second of the slice, then measured."""
    standin, step = ground.standin, one.step
    standin.begin(Mode.OFF)
    standin.wait(max(0.0, step.every_s - _SLICE_S))
    quiet = standin.end()
    record = standin.record(_SLICE_S, step.mode)
    return Sample(standin.now_tick, measured(record), record, before=quiet)
