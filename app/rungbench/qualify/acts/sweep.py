"""To have the charger set to one current after another, and measure what it advertises."""

from typing import Final

from rungbench.link.words import TICKS_PER_SECOND, Mode
from rungbench.qualify.acts.ask import put
from rungbench.qualify.acts.change import limit_seconds, watch_s
from rungbench.qualify.acts.ground import FASTEST, Before, Ground, Pass, measured
from rungbench.qualify.desk import Ask
from rungbench.qualify.evidence import Evidence, Sample
from rungbench.qualify.plan import Await, Request, Step

# Two changes of the duty lie at least 5 s apart (IEC 61851-1:2017 Table A.6, sequence 6).
_APART_S: Final = 5.0


def sweep(ground: Ground, one: Pass) -> Evidence:
    """Ask for each of `amperes` in turn; the samples carry what was asked and what was measured.

    Each is measured once the charger has had its time for a new duty, so that two changes are never
    asked for closer together than they may come.  Currents above the rating are left out, and the
    last one asked for is what the charger was set to before.  It ends at the first current that
    the operator cannot set.

    Raises
    ------
    BenchError, Interrupted : as `observe`.
    """
    standin, step = ground.standin, one.step
    assert step.request is not None  # plan_file refuses a sweep without one
    before = Before.now(standin)
    applied = ground.go(ground.fitted(step))
    standin.wait(step.settle_s)
    if step.await_pwm_s and not standin.pulsing():
        standin.wait_until(standin.pulsing, step.await_pwm_s)
    if applied.asked.energising:
        standin.wait_until(lambda: bool(standin.mains), _mains_on_s(ground))
    series: list[Sample] = []
    for ampere in _currents(ground, step):
        applied = ground.go(ground.fitted(step))
        sample = _point(ground, one, ampere)
        series.append(sample)
        if sample.asked is not None and sample.asked.trouble:
            break
        standin.wait(_APART_S)
    record = standin.record(step.record_s, Mode.OFF)
    return before.evidence(standin, one, applied, record, series=tuple(series))


def _currents(ground: Ground, step: Step) -> tuple[float, ...]:
    charger = ground.charger
    usual = charger.rated_current_a if charger.set_current_a is None else charger.set_current_a
    allowed = [ampere for ampere in step.amperes if ampere <= charger.rated_current_a]
    return tuple(allowed) if allowed[-1:] == [usual] else (*allowed, usual)


def _mains_on_s(ground: Ground) -> float:
    return watch_s(limit_seconds(ground.profile, "mains_on_after_c_s"))


def _new_duty_s(ground: Ground) -> float:
    """How long a charger may take for a new duty."""
    return limit_seconds(ground.profile, "new_duty_s")


def _mode(ground: Ground, step: Step) -> Mode:
    """The step's own, or the fastest where the pulse width counts in the middle of its edges."""
    fastest = ground.profile.pulse_width_level == "mid" and FASTEST in ground.standin.identity.modes
    return FASTEST if fastest else step.mode


def _point(ground: Ground, one: Pass, ampere: float) -> Sample:
    """One current: the question with the edges recorded through it, then a measurement."""
    standin, step = ground.standin, one.step
    assert step.request is not None
    standin.begin(Mode.OFF)
    standin.wait(step.before_s)
    request = Request(
        Ask.SET_CURRENT, Await.NEW_DUTY, step.request.limit_s, step.request.answer_s, ampere
    )
    asked = put(ground, request)
    if asked.trouble:
        return Sample(standin.now_tick, None, standin.end(), asked)
    passed_s = (standin.now_tick - asked.answered) / TICKS_PER_SECOND
    # What comes in several steps has come to its end by then.
    standin.wait(max(step.after_s, _new_duty_s(ground) - passed_s))
    reaction = standin.end()
    record = standin.record(step.record_s, _mode(ground, step))
    return Sample(standin.now_tick, measured(record), record, asked, reaction)
