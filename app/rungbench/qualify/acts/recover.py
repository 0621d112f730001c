"""To unplug and plug in again after a fault, and see how the charger recovers."""

from rungbench.link.words import OPEN, TICKS_PER_SECOND, Mode
from rungbench.qualify.acts.ask import put
from rungbench.qualify.acts.ground import Before, Ground, Pass
from rungbench.qualify.evidence import Asked, Evidence, Sample
from rungbench.qualify.safety import WATCH_S
from rungbench.standin.board import StandIn


def recover(ground: Ground, one: Pass) -> Evidence:
    """To `open`, then to the step's setting, until the pilot pulses; then ask, and wait again.

    The series holds what was recorded on `open`, where the outlet is watched as after every return
    to it; with mains still there the stand-in stays on `open`, and so does the evidence.  `back`
    is the tick at which it pulsed again, if it did; `asked` is there only where the charger did
    not recover by itself.

    Raises
    ------
    BenchError, Interrupted : as `observe`.
    """
    standin, step = ground.standin, one.step
    assert step.request is not None  # plan_file refuses a recovery without one
    before = Before.now(standin)
    # A charger that shows state F shows it best to nobody: with no ladder in its way.
    unplugged = _unplugged(standin, step.mode)
    if unplugged.record.mains:
        return _still_live(ground, one, before, unplugged)
    standin.begin(Mode.OFF)
    standin.hold(ground.fitted(step))
    asked: Asked | None = None
    if not standin.wait_until(standin.pulsing, step.await_pwm_s):
        # On open: a charger that is switched off and on must not be asked for mains meanwhile.
        watched = _unplugged(standin, Mode.OFF)
        asked = put(ground, step.request)
        if standin.mains:
            return _still_live(ground, one, before, watched)
        standin.begin(Mode.OFF)
        standin.hold(ground.fitted(step))
        if not asked.trouble:
            standin.wait_until(standin.pulsing, step.await_pwm_s)
    back = standin.now_tick if standin.pulsing() else None
    applied = standin.hold(ground.fitted(step))
    standin.wait(step.settle_s)
    standin.end()
    record = standin.record(step.record_s, step.mode)
    return before.evidence(
        standin,
        one,
        applied,
        record,
        asked=asked,
        back=back,
        series=(unplugged,),
    )


def _unplugged(standin: StandIn, mode: Mode) -> Sample:
    """To `open`, and watch the outlet there."""
    standin.begin(mode)
    applied = standin.hold(OPEN)
    standin.wait(WATCH_S - (standin.now_tick - applied.tick) / TICKS_PER_SECOND)
    record = standin.end()
    return Sample(standin.now_tick, None, record)


def _still_live(ground: Ground, one: Pass, before: Before, seen: Sample) -> Evidence:
    """On `open` with mains there: the runner ends the run for that."""
    standin = ground.standin
    standin.begin(Mode.OFF)
    applied = standin.hold(OPEN)
    return before.evidence(standin, one, applied, standin.end(), series=(seen,))
