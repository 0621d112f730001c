"""A plan: ordered steps, each with the checks that are judged from it."""

from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise
from typing import Final

from rungbench.archive.record import Role
from rungbench.link.words import LadderSet, Mode, Rung, Setting
from rungbench.qualify.desk import Ask

# The watch that follows every return to open, and the hand that a question waits for.
_WATCH_S: Final = 5.0
_HAND_S: Final = 15.0
_MAINS_S: Final = 1.0
_AWHILE_S: Final = 40.0


class Do(StrEnum):
    """What a step does with the stand-in."""

    OBSERVE = "observe"
    """Present a setting, let it settle, record it."""
    CHANGE = "change"
    """Go to a setting while recording, and wait for mains to come or go."""
    ASK = "ask"
    """Ask the operator for something, and record until it shows at the contacts."""
    TOGGLE = "toggle"
    """Go to and fro between B and a rung, quickly."""
    SWEEP = "sweep"
    """Have the charger set to one current after another, and measure each."""
    RECOVER = "recover"
    """Unplug and plug in again after a fault, and wait for the pilot to pulse."""
    ENDURE = "endure"
    """Stay on a setting for long, and measure it again and again."""


class Expect(StrEnum):
    """What mains is to do on a change."""

    ON = "mains on"
    OFF = "mains off"


class Await(StrEnum):
    """What an answered question is to bring about at the contacts."""

    NOTHING = "nothing"
    PWM = "pwm"
    NO_PWM = "no pwm"
    NEW_DUTY = "new duty"


class When(StrEnum):
    """On what a step depends that only the run shows."""

    ALWAYS = "always"
    WAITING = "charger waits"
    """The charger gave no PWM on B when it was first seen there."""
    PULSING = "charger pulses"
    """The charger pulses now."""
    SILENT = "charger is silent"
    """The charger does not pulse now."""


@dataclass(frozen=True, slots=True)
class PlannedCheck:
    """One check of a step; `against` names an earlier step whose evidence it needs as well."""

    id: str
    kind: str
    role: Role = Role.REQUIRED
    against: str = ""


@dataclass(frozen=True, slots=True)
class Request:
    """What an operator is asked in a step; `awaits` is watched for at most `limit_s` after it."""

    ask: Ask
    awaits: Await = Await.NOTHING
    limit_s: float = 20.0
    answer_s: float = 120.0
    ampere: float | None = None


@dataclass(frozen=True, slots=True)
class Step:
    """One thing that the stand-in does; all durations in seconds of board time.

    `await_pwm_s` is how long an observation waits for the pilot to pulse before it records.
    `limit` is the key of the profile's limit that a change is watched against: up to twice as
    long, so that a late answer is still measured and later steps can go on.  `before_s` and
    `after_s` are recorded around the change.  `needs` is what the operator must be able to do for
    the step to make sense, `outlet` the kind of outlet that it is for, if not for any.
    `any_cable` lets a socket outlet be shown a cable that is good for its rating; the plan names
    a cable code where it is not to be.  `request` belongs to questions, `holds_s` to toggles (each
    time is spent on the rung and on B), `amperes` to sweeps, `every_s` to enduring.
    """

    name: str
    do: Do
    setting: Setting
    checks: tuple[PlannedCheck, ...]
    mode: Mode = Mode.STREAM10
    settle_s: float = 0.3
    record_s: float = 1.0
    retake_s: float = 3.0
    await_pwm_s: float = 0.0
    expect: Expect | None = None
    limit: str = ""
    before_s: float = 0.3
    after_s: float = 0.3
    when: When = When.ALWAYS
    needs: Ask | None = None
    outlet: str = ""
    any_cable: bool = True
    request: Request | None = None
    holds_s: tuple[float, ...] = ()
    amperes: tuple[float, ...] = ()
    every_s: float = 10.0

    @property
    def energises(self) -> bool:
        """Whether a conforming charger may put mains on its outlet.

        Besides C and D that is B with the low ladder: its level may lie between the windows of B
        and C, where either is right.
        """
        setting = self.setting
        return setting.energising or (setting.rung is Rung.B and setting.ladder is LadderSet.LOW)

    @property
    def asks(self) -> Ask | None:
        """What the operator must be able to do, by the step's own question or an earlier one."""
        own = self.request.ask if self.do in (Do.ASK, Do.SWEEP) and self.request else None
        return self.needs or own

    def longest_s(self, watch_s: float) -> float:
        """The longest that it may stay on its rung without presenting it anew, in seconds.

        `watch_s` is how long a change waits for mains.
        """
        seen_s = self.settle_s + self.await_pwm_s + self.settle_s
        match self.do:
            case Do.OBSERVE:
                # The fastest sampling may follow, as long again.
                return seen_s + 2.0 * max(self.record_s, self.retake_s)
            case Do.CHANGE:
                return self.before_s + watch_s + self.after_s
            case Do.TOGGLE:
                return max(*self.holds_s, watch_s) + self.after_s
            case Do.RECOVER:
                return seen_s + self.record_s
            case Do.ENDURE:
                # It is presented anew again and again, but not while it is awaited and sampled.
                return seen_s + self.record_s if self.record_s < _AWHILE_S else seen_s + _AWHILE_S
            case Do.ASK | Do.SWEEP:
                request = self.request
                asks_s = request.answer_s + request.limit_s if request else 0.0
                return self.before_s + asks_s + self.after_s + self.settle_s + self.record_s

    @property
    def expected_s(self) -> float:
        """About how long it takes on a sound charger, in seconds."""
        match self.do:
            case Do.OBSERVE:
                return self.settle_s + self.record_s
            case Do.CHANGE:
                return self.before_s + self.after_s + _MAINS_S
            case Do.ASK:
                return self.settle_s + self.before_s + _HAND_S + self.after_s
            case Do.TOGGLE:
                return self.before_s + 2.0 * sum(self.holds_s) + _MAINS_S + self.after_s
            case Do.SWEEP:
                return (len(self.amperes) + 1) * (_HAND_S + self.settle_s + self.record_s)
            case Do.RECOVER:
                return _WATCH_S + self.settle_s + self.record_s
            case Do.ENDURE:
                return self.record_s


@dataclass(frozen=True, slots=True)
class Plan:
    """A plan with the hash of the file it came from."""

    name: str
    title: str
    about: str
    steps: tuple[Step, ...]
    hash: str

    @property
    def checks(self) -> tuple[PlannedCheck, ...]:
        """All checks, in order."""
        return tuple(check for step in self.steps for check in step.checks)

    @property
    def compared(self) -> frozenset[str]:
        """Names of steps whose evidence a later check compares with."""
        return frozenset(check.against for check in self.checks) - {""}

    @property
    def timed_from(self) -> frozenset[Setting]:
        """Settings whose levels tell when a change away from them began that is to be judged."""
        return frozenset(
            before.setting
            for before, after in pairwise(self.steps)
            if after.do is Do.CHANGE and after.checks
        )

    @property
    def energises(self) -> bool:
        """Whether any step may put mains on the charger's outlet."""
        return any(step.energises for step in self.steps)

    @property
    def expected_s(self) -> float:
        """About how long the whole plan takes, the watches of the outlet included."""
        return expected_s(self.steps)


def expected_s(steps: Iterable[Step]) -> float:
    """About how long these steps take, each return to open with its watch."""
    steps = tuple(steps)
    returns = sum(
        1
        for before, after in zip(steps, steps[1:], strict=False)
        if before.setting.rung != "open" and after.setting.rung == "open"
    )
    return sum(step.expected_s for step in steps) + _WATCH_S * (returns + 1)
