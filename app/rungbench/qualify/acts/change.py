"""To go to a setting while recording, and wait for mains to come or go."""

from typing import Final

from pilotsignal.standard import Profile
from rungbench.qualify.acts.ground import Before, Ground, Pass
from rungbench.qualify.evidence import Evidence
from rungbench.qualify.plan import Expect

WATCH_FACTOR: Final = 2.0
"""A change is watched for this many times its limit: what comes late is still measured."""
SHORTEST_WATCH_S: Final = 1.0
_PER_SECOND: Final = {"s": 1.0, "ms": 1e-3}


def change(ground: Ground, one: Pass) -> Evidence:
    """Change the setting and record what mains does; raises as `observe`."""
    standin, step = ground.standin, one.step
    limit_s = limit_seconds(ground.profile, step.limit)
    before = Before.now(standin)
    standin.begin(step.mode)
    standin.wait(step.before_s)
    applied = ground.go(ground.fitted(step))
    if step.expect is Expect.ON:
        wanted = ground.charger.phases
        standin.wait_until(lambda: len(standin.mains) >= wanted, watch_s(limit_s))
    elif before.live:
        standin.wait_until(lambda: not standin.mains, watch_s(limit_s))
    standin.wait(step.after_s)
    return before.evidence(standin, one, applied, standin.end(), window=one.window, limit_s=limit_s)


def limit_seconds(profile: Profile, key: str) -> float:
    """The limit of a key, in seconds; 0 where the profile has none of that name."""
    if not profile.has(key):
        return 0.0
    limit = profile.limit(key)
    return (limit.high or limit.low or 0.0) * _PER_SECOND[limit.unit]


def watch_s(limit_s: float) -> float:
    """How long something is watched for that has a limit, in seconds."""
    return max(WATCH_FACTOR * limit_s, SHORTEST_WATCH_S)
