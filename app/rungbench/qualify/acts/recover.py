"""To unplug and plug in again after a fault, and see how the charger recovers."""

from typing import Final

from rungbench.link.words import OPEN, Mode
from rungbench.qualify.acts.ask import put
from rungbench.qualify.acts.ground import Before, Ground, Pass, measured
from rungbench.qualify.evidence import Asked, Evidence

_UNPLUGGED_S: Final = 2.0


def recover(ground: Ground, one: Pass) -> Evidence:
    """To `open`, then to the step's setting, until the pilot pulses; then ask, and wait again.

    `back` is the tick at which it pulsed again, if it did; `asked` is there only where the
    charger did not recover by itself.

    Raises
    ------
    BenchError, Interrupted : as `observe`.
    """
    standin, step = ground.standin, one.step
    assert step.request is not None  # plan_file refuses a recovery without one
    before = Before.now(standin)
    standin.begin(Mode.OFF)
    standin.hold(OPEN)
    standin.wait(_UNPLUGGED_S)
    standin.hold(ground.fitted(step.setting))
    asked: Asked | None = None
    if not standin.wait_until(standin.pulsing, step.await_pwm_s):
        # On open: a charger that is switched off and on must not be asked for mains meanwhile.
        standin.hold(OPEN)
        asked = put(ground, step.request)
        standin.hold(ground.fitted(step.setting))
        if not asked.trouble:
            standin.wait_until(standin.pulsing, step.await_pwm_s)
    back = standin.now_tick if standin.pulsing() else None
    applied = standin.hold(ground.fitted(step.setting))
    standin.wait(step.settle_s)
    standin.end()
    record = standin.record(step.record_s, step.mode)
    return before.evidence(
        standin, one, applied, record, measurement=measured(record), asked=asked, back=back
    )
