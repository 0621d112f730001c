"""To ask the operator for something, and record until it shows at the contacts."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from typing import Final

from rungbench.qualify.acts.change import limit_seconds
from rungbench.qualify.acts.ground import Before, Ground, Pass, measured
from rungbench.qualify.desk import Answer, Ask, Question, Reply
from rungbench.qualify.evidence import Asked, Evidence
from rungbench.qualify.plan import Await, Request
from rungbench.standin.board import StandIn

# Of the period; the pulse moves by 1.7 % for each ampere.
_NEW_DUTY: Final = 0.3
_RESTARTS: Final = (Ask.RESTART, Ask.CLEAR)


def ask(ground: Ground, one: Pass) -> Evidence:
    """Put the step's question, wait for the answer and for what it brings about.

    The pilot is recorded all the time; `record_s` more is recorded where the answer showed.

    Raises
    ------
    BenchError, Interrupted : as `observe`; the question is taken back.
    """
    standin, step = ground.standin, one.step
    assert step.request is not None  # plan_file refuses a question without one
    before = Before.now(standin)
    applied = ground.go(ground.fitted(step))
    if applied.asked != before.setting:
        standin.wait(step.settle_s)
    standin.begin(step.mode)
    standin.wait(step.before_s)
    asked = put(ground, step.request)
    if not asked.trouble:
        standin.wait(step.after_s)
    record = standin.end()
    return before.evidence(
        standin,
        one,
        applied,
        record,
        measurement=measured(record),
        limit_s=limit_seconds(ground.profile, step.limit),
        asked=asked,
    )


def put(ground: Ground, request: Request) -> Asked:
    """Put a question and wait for its answer, then for what it is to bring about."""
    with _unarmed(ground.standin, request.ask):
        return _put(ground, request)


@contextmanager
def _unarmed(standin: StandIn, ask: Ask) -> Iterator[None]:
    """A charger that is switched off and on meets a stand-in that can ask for nothing."""
    armed = standin.run_armed and ask in _RESTARTS
    if armed:
        standin.disarm()
    yield
    # What the board or a stop has dropped meanwhile ended the run: nobody comes by here.
    if armed:
        standin.arm_energising()


def _put(ground: Ground, request: Request) -> Asked:
    standin, desk = ground.standin, ground.desk
    shows = _watch(request, standin)
    question = Question(request.ask, standin.setting, request.answer_s, request.ampere)
    asked = Asked(question, standin.now_tick, None, standin.now_tick)
    desk.put(question, standin.now_tick)
    try:
        answer = _await_answer(ground, request.answer_s, shows)
    finally:
        desk.take_back()
    asked = replace(asked, answer=answer, answered=standin.now_tick)
    if asked.trouble or request.awaits is Await.NOTHING:
        return asked
    standin.wait_until(shows.seen, request.limit_s)
    return replace(asked, shown=shows.at)


@dataclass(slots=True)
class _Watch:
    """Notes the tick at which something first shows; people may confirm after it has."""

    standin: StandIn
    condition: Callable[[], bool]
    at: int | None = None

    def seen(self) -> bool:
        if self.at is None and self.condition():
            self.at = self.standin.now_tick
        return self.at is not None


def _watch(request: Request, standin: StandIn) -> _Watch:
    duty = standin.duty
    match request.awaits:
        case Await.PWM:
            return _Watch(standin, standin.pulsing)
        case Await.NO_PWM:
            return _Watch(standin, lambda: not standin.pulsing())
        case Await.NEW_DUTY:
            return _Watch(standin, lambda: _moved(duty, standin.duty))
        case Await.NOTHING:
            return _Watch(standin, lambda: False)


def _moved(old: float | None, new: float | None) -> bool:
    return new is not None and (old is None or abs(new - old) > _NEW_DUTY)


def _await_answer(ground: Ground, limit_s: float, shows: _Watch) -> Answer | None:
    standin, desk = ground.standin, ground.desk
    got: list[Answer] = []

    def answered() -> bool:
        shows.seen()
        answer = desk.answer(standin.now_tick)
        if answer is not None:
            got.append(_believed(answer))
        return bool(got)

    standin.wait_until(answered, limit_s)
    return got[0] if got else None


def _believed(answer: Answer) -> Answer:
    """An operator who cannot says why."""
    if answer.reply is Reply.CANNOT and not answer.reason.strip():
        return Answer(Reply.CANNOT, "no reason was given")
    return answer
