"""To have the charger set to one current after another, and measure what it advertises."""

from typing import Final

from rungbench.link.words import Mode
from rungbench.qualify.acts.ask import put
from rungbench.qualify.acts.ground import Before, Ground, Pass, measured
from rungbench.qualify.desk import Ask
from rungbench.qualify.evidence import Evidence, Sample
from rungbench.qualify.plan import Await, Request

# Two changes of the duty lie at least 5 s apart (IEC 61851-1:2017 Table A.6, sequence 6).
_APART_S: Final = 5.0


def sweep(ground: Ground, one: Pass) -> Evidence:
    """Ask for each of `amperes` in turn; the samples carry what was asked and what was measured.

    It ends at the first current that the operator cannot set.

    Raises
    ------
    BenchError, Interrupted : as `observe`.
    """
    standin, step = ground.standin, one.step
    assert step.request is not None  # plan_file refuses a sweep without one
    before = Before.now(standin)
    applied = standin.hold(ground.fitted(step.setting))
    standin.wait(step.settle_s)
    if step.await_pwm_s and not standin.pulsing():
        standin.wait_until(standin.pulsing, step.await_pwm_s)
    series: list[Sample] = []
    for ampere in step.amperes:
        sample = _point(ground, one, ampere)
        series.append(sample)
        if sample.asked is not None and sample.asked.trouble:
            break
        standin.wait(_APART_S)
    record = standin.record(step.record_s, step.mode)
    return before.evidence(
        standin, one, applied, record, measurement=measured(record), series=tuple(series)
    )


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
    reaction = standin.end()
    if asked.trouble:
        return Sample(standin.now_tick, None, reaction, asked)
    standin.wait(step.settle_s)
    record = standin.record(step.record_s, step.mode)
    return Sample(standin.now_tick, measured(record), record, asked, reaction)
