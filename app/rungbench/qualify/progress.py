"""What a run tells while it goes on: frozen, so that it may cross to another thread."""

from collections.abc import Callable
from dataclasses import dataclass, field

from rungbench.archive.record import CheckResult, RunHeader
from rungbench.qualify.desk import Desk, EmptyDesk
from rungbench.qualify.plan import Step


@dataclass(frozen=True, slots=True)
class RunStarted:
    """The record was opened."""

    header: RunHeader


@dataclass(frozen=True, slots=True)
class StepStarted:
    """A step begins; `number` counts from 1, `left_s` is about what the run still takes."""

    step: Step
    number: int
    steps: int
    attempt: int
    left_s: float = 0.0


@dataclass(frozen=True, slots=True)
class CheckDone:
    """A check is judged and stored."""

    result: CheckResult


@dataclass(frozen=True, slots=True)
class Paused:
    """The run pauses on `open` because somebody wants it, or goes on."""

    over: bool = False


@dataclass(frozen=True, slots=True)
class MakingSafe:
    """The stand-in goes to open and the outlet is watched."""

    watch_s: float


@dataclass(frozen=True, slots=True)
class Alarm:
    """Mains where it must not be."""

    text: str


Told = RunStarted | StepStarted | CheckDone | Paused | MakingSafe | Alarm
Listener = Callable[[Told], None]


def nobody(_told: Told) -> None:
    """A listener that does not."""


def no_hurry() -> None:
    """Nobody hurries."""


@dataclass(frozen=True, slots=True)
class People:
    """Who a run deals with: somebody who is told, and a desk where questions are answered.

    `hurry` is called while the outlet is watched at the end; `KeyboardInterrupt` from it cuts that
    short.
    """

    tell: Listener = nobody
    desk: Desk = field(default_factory=EmptyDesk)
    hurry: Callable[[], None] = no_hurry
