"""Back to where a step began, so that it can be done once more."""

from typing import Final

from rungbench.link.words import Rung, Setting
from rungbench.qualify.evidence import Evidence
from rungbench.qualify.plan import Do, Step
from rungbench.standin.board import StandIn

_MAINS_S: Final = 7.0
_CALM_S: Final = 1.0


def retakes(step: Step) -> bool:
    """Whether a step is done once more by itself: not where that would need people or long."""
    return step.do in (Do.OBSERVE, Do.CHANGE, Do.TOGGLE)


def rewind(standin: StandIn, step: Step, first: Evidence) -> None:
    """Bring stand-in and charger to where `first` began.

    What goes to its setting by itself is simply done again.
    """
    if step.do not in (Do.CHANGE, Do.TOGGLE, Do.ASK):
        return
    before = first.before
    if before.energising and standin.setting.rung is Rung.OPEN:
        _go(standin, Setting(Rung.B, cable=before.cable))
        standin.wait_until(standin.pulsing, _MAINS_S)
    _go(standin, before)
    standin.wait_until(lambda: standin.mains == first.live_before, _MAINS_S)
    standin.wait(_CALM_S)


def _go(standin: StandIn, setting: Setting) -> None:
    standin.hold(setting)
    standin.wait(_CALM_S)


def restore(standin: StandIn, last: Evidence) -> None:
    """Back to the setting that `last` left, with mains as it was then."""
    if last.applied.asked.energising and not standin.setting.energising:
        _go(standin, Setting(Rung.B, cable=last.applied.asked.cable))
        standin.wait_until(standin.pulsing, _MAINS_S)
    _go(standin, last.applied.asked)
    standin.wait_until(lambda: standin.mains == last.live, _MAINS_S)
    standin.wait(_CALM_S)
