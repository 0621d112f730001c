"""To go to and fro between B and a rung, quickly, as a vehicle that cannot make up its mind."""

from dataclasses import replace

from rungbench.link.words import Rung
from rungbench.qualify.acts.change import limit_seconds, watch_s
from rungbench.qualify.acts.ground import Before, Ground, Pass
from rungbench.qualify.evidence import Evidence


def toggle(ground: Ground, one: Pass) -> Evidence:
    """Spend each of `holds_s` on the step's rung and on B, then wait for mains on the rung.

    Raises
    ------
    BenchError, Interrupted : as `observe`.
    """
    standin, step = ground.standin, one.step
    rung = ground.fitted(step)
    calm = replace(rung, rung=Rung.B)
    limit_s = limit_seconds(ground.profile, step.limit)
    before = Before.now(standin)
    standin.begin(step.mode)
    standin.wait(step.before_s)
    for hold_s in step.holds_s:
        standin.hold(rung)
        standin.wait(hold_s)
        standin.hold(calm)
        standin.wait(hold_s)
    applied = standin.hold(rung)
    wanted = ground.charger.phases
    standin.wait_until(lambda: len(standin.mains) >= wanted, watch_s(limit_s))
    standin.wait(step.after_s)
    return before.evidence(standin, one, applied, standin.end(), window=one.window, limit_s=limit_s)
