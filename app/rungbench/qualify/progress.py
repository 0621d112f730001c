"""What a run tells while it goes on: frozen, so that it may cross to another thread."""

from collections.abc import Callable
from dataclasses import dataclass

from rungbench.archive.record import CheckResult, RunHeader
from rungbench.qualify.plan import Step


@dataclass(frozen=True, slots=True)
class RunStarted:
    """The record was opened."""

    header: RunHeader


@dataclass(frozen=True, slots=True)
class StepStarted:
    """A step begins; `number` counts from 1."""

    step: Step
    number: int
    steps: int
    attempt: int


@dataclass(frozen=True, slots=True)
class CheckDone:
    """A check is judged and stored."""

    result: CheckResult


@dataclass(frozen=True, slots=True)
class MakingSafe:
    """The stand-in goes to open and the outlet is watched."""

    watch_s: float


@dataclass(frozen=True, slots=True)
class Alarm:
    """Mains where it must not be."""

    text: str


Told = RunStarted | StepStarted | CheckDone | MakingSafe | Alarm
Listener = Callable[[Told], None]


def nobody(_told: Told) -> None:
    """A listener that does not."""
