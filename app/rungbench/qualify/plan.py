"""A plan: ordered steps, each with the checks that are judged from it."""

from dataclasses import dataclass
from enum import StrEnum

from rungbench.archive.record import Role
from rungbench.link.words import Mode, Setting


class Do(StrEnum):
    """What a step does with the stand-in."""

    OBSERVE = "observe"
    """Present a setting, let it settle, record it."""
    CHANGE = "change"
    """Go to a setting while recording, and wait for mains to come or go."""


class Expect(StrEnum):
    """What mains is to do on a change."""

    ON = "mains on"
    OFF = "mains off"


@dataclass(frozen=True, slots=True)
class PlannedCheck:
    """One check of a step; `against` names an earlier step whose evidence it needs as well."""

    id: str
    kind: str
    role: Role = Role.REQUIRED
    against: str = ""


@dataclass(frozen=True, slots=True)
class Step:
    """One thing that the stand-in does; all durations in seconds of board time.

    `await_pwm_s` is how long an observation waits for the pilot to pulse before it records.
    `limit` is the key of the profile's limit that a change is watched against: up to twice as
    long, so that a late answer is still measured and later steps can go on.  `before_s` and
    `after_s` are recorded around the change.
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
    def energises(self) -> bool:
        """Whether any step may put mains on the charger's outlet."""
        return any(step.setting.energising for step in self.steps)
