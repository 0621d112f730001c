"""What is known of a run while it goes on, from what it tells; no Qt."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Final

from pilotsignal.judge import Verdict
from rungbench.archive.record import CheckResult, Role
from rungbench.desktop.run_desk import QuestionGone, QuestionPut
from rungbench.link.words import TICK_S
from rungbench.qualify.checks import CHECK_KINDS
from rungbench.qualify.order import Order, left_out
from rungbench.qualify.plan import Step
from rungbench.qualify.progress import (
    Alarm,
    CheckDone,
    MakingSafe,
    Paused,
    RunStarted,
    StepStarted,
)
from rungbench.qualify.safety import OUTLET_DEAD

_OUTLET_TITLE: Final = "Outlet dead after every return to open"


class Stage(StrEnum):
    """How far a run has come."""

    PREPARE = "prepare"
    CHECKS = "checks"
    PAUSED = "paused"
    MAKE_SAFE = "make safe"


@dataclass(frozen=True, slots=True)
class Line:
    """One check of the run: what it came to, or that it is still to come."""

    check: str
    title: str
    role: Role
    result: CheckResult | None = None

    @property
    def verdict(self) -> str:
        """The verdict, or nothing."""
        return "" if self.result is None else self.result.verdict.value


@dataclass(slots=True)
class Progress:
    """A run so far; `take` it whatever comes.

    `lines` are in the order of the plan; of several attempts a fail stays, else the last one.
    """

    order: Order
    stage: Stage = Stage.PREPARE
    run_id: str = ""
    step: StepStarted | None = None
    question: QuestionPut | None = None
    alarm: str = ""
    lines: dict[str, Line] = field(default_factory=dict)
    latest: str = ""
    _left_s: float = 0.0
    _left_at_s: float | None = None

    def __post_init__(self) -> None:
        self._left_s = self.order.plan.expected_s
        self.lines = {line.check: line for line in planned(self.order)}

    def take(self, told: object, at_s: float | None) -> bool:
        """What was told at board time `at_s`; whether it changed anything."""
        match told:
            case RunStarted():
                self.run_id = told.header.run_id
            case StepStarted():
                self.stage, self.step = Stage.CHECKS, told
                self._left_s, self._left_at_s = told.left_s, at_s
            case CheckDone():
                self._keep(told.result)
            case Paused():
                self.stage = Stage.CHECKS if told.over else Stage.PAUSED
            case MakingSafe():
                self.stage = Stage.MAKE_SAFE
            case Alarm():
                self.alarm = told.text
            case QuestionPut():
                self.question = told
            case QuestionGone():
                self._take_back(told)
            case _:
                return False
        return True

    def left_s(self, at_s: float | None) -> float:
        """About how long it still takes, counted down between two steps."""
        if self.stage is Stage.PAUSED or at_s is None or self._left_at_s is None:
            return self._left_s
        return max(0.0, self._left_s - max(0.0, at_s - self._left_at_s))

    def share(self, at_s: float | None) -> float:
        """How much of the expected time is over, from 0 to 1."""
        whole = self.order.plan.expected_s
        return min(1.0, max(0.0, 1.0 - self.left_s(at_s) / whole)) if whole > 0.0 else 0.0

    def answer_left_s(self, at_s: float | None) -> float | None:
        """Board time in which the open question can still be answered."""
        if self.question is None:
            return None
        passed = 0.0 if at_s is None else at_s - self.question.tick * TICK_S
        return max(0.0, self.question.question.limit_s - max(0.0, passed))

    def steps_done(self) -> tuple[str, ...]:
        """Names of the steps that have come so far, for repeating one."""
        if self.step is None:
            return ()
        return tuple(step.name for step in self.order.plan.steps[: self.step.number])

    def counts(self) -> Mapping[str, int]:
        """How many checks came to each verdict, and how many are to come (empty word)."""
        found: dict[str, int] = {}
        for line in self.lines.values():
            found[line.verdict] = found.get(line.verdict, 0) + 1
        return found

    def _keep(self, result: CheckResult) -> None:
        before = self.lines.get(result.check)
        self.latest = result.check
        failed = before is not None and before.verdict == Verdict.FAIL
        if not failed or result.verdict is Verdict.FAIL:
            self.lines[result.check] = Line(result.check, result.title, result.role, result)

    def _take_back(self, gone: QuestionGone) -> None:
        if self.question is not None and self.question.number == gone.number:
            self.question = None


def step_text(step: Step, attempt: int = 1) -> str:
    """A step for people."""
    again = f", attempt {attempt}" if attempt > 1 else ""
    live = ", OUTLET LIVE" if step.energises else ""
    return f"{step.do.value} {step.setting.text()}{again}{live}"


def planned(order: Order) -> Iterator[Line]:
    """All checks of a run that is to come."""
    gone = left_out(order)
    for step in order.plan.steps:
        for check in step.checks:
            if check.id not in gone:
                title = f"{CHECK_KINDS[check.kind].title} ({step.name})"
                yield Line(check.id, title, check.role)
    yield Line(OUTLET_DEAD, _OUTLET_TITLE, Role.REQUIRED)
