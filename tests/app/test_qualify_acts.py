"""Questions, wishes and recoveries in the middle of a run, on the simulated bench."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace

import pytest
from matrix_run import TETHERED, Job, full_record
from plan_sections import section
from qualify_runs import having, last

from rungbench.archive.record import Record, RunVerdict
from rungbench.link.words import TICK_S, Rung
from rungbench.qualify.desk import Answer, Ask, Desk, Question, Reply, Want, Wish
from rungbench.qualify.progress import Paused, People, StepStarted, Told
from rungbench.qualify.simulated_desk import SimulatedDesk
from rungbench.simulated.operator import Operator
from rungbench.standin.board import StandIn

SHORTED = ("B", "B to C before the short", "short from C", "short", "recovery from short")
RESTART = section("open", "B", "open before the restart", "restart", checks=("no-mains-restart",))


@dataclass
class Silent:
    """Reads what it is asked and never answers."""

    asked: list[Question] = field(default_factory=list)
    taken_back: int = 0

    def put(self, question: Question, _tick: int, /) -> None:
        self.asked.append(question)

    def answer(self, _tick: int, /) -> Answer | None:
        return None

    def take_back(self) -> None:
        self.taken_back += 1

    def wish(self) -> Wish | None:
        return None


@dataclass
class Wishing:
    """Does what is asked at the bench, and wants something of the run when its time has come."""

    helper: SimulatedDesk
    wishes: Iterator[Wish | None]

    def put(self, question: Question, tick: int, /) -> None:
        self.helper.put(question, tick)

    def answer(self, tick: int, /) -> Answer | None:
        return self.helper.answer(tick)

    def take_back(self) -> None:
        self.helper.take_back()

    def wish(self) -> Wish | None:
        return next(self.wishes, None)


def with_desk(
    desk: Callable[[StandIn, Operator], Desk], told: list[Told] | None = None
) -> Callable[[StandIn, Operator], People]:
    heard: list[Told] = [] if told is None else told
    return lambda standin, hand: People(heard.append, desk(standin, hand))


def wishing(
    *wishes: Wish | None, told: list[Told] | None = None
) -> Callable[[StandIn, Operator], People]:
    """Wishes, one for each time that the run looks."""
    return with_desk(lambda _, hand: Wishing(SimulatedDesk(hand), iter(wishes)), told)


# Questions ----------------------------------------------------------------------------------


def test_a_question_that_nobody_answers_has_its_time() -> None:
    desk = Silent()
    plan = section("B", "withdrawn in B", checks=("steady-held",))
    short = tuple(
        replace(step, request=replace(step.request, answer_s=7.0)) if step.request else step
        for step in plan.steps
    )
    record = full_record(Job(""), replace(plan, steps=short), with_desk(lambda *_: desk))
    result = last(record)["steady-held"]
    assert result.verdict == "not run"
    assert result.why.startswith("Nobody answered within 7 s: Stop the charge")
    assert result.start_tick is not None
    assert result.end_tick is not None
    assert 7.0 <= (result.end_tick - result.start_tick) * TICK_S < 8.0
    assert [one.ask for one in desk.asked] == [Ask.WITHDRAW]
    assert desk.taken_back == 1
    assert record.verdict is RunVerdict.INCOMPLETE


def test_what_cannot_be_done_is_recorded_with_its_reason() -> None:
    class Cannot(Silent):
        def answer(self, _tick: int, /) -> Answer | None:
            return Answer(Reply.CANNOT, "the app is down")

    plan = section("B", "set currents")
    record = full_record(Job(""), plan, with_desk(lambda *_: Cannot()))
    for check in ("set-points", "reactions", "duty-steps"):
        result = last(record)[check]
        assert result.verdict == "not run"
        assert "It could not be done (the app is down): Set the charger to 6 A" in result.why
    assert having(record, "fail") == set()


def test_a_charger_is_not_restarted_while_the_stand_in_is_armed() -> None:
    armed: list[tuple[Ask, bool, Rung]] = []

    class Noting(SimulatedDesk):
        standin: StandIn

        def put(self, question: Question, tick: int, /) -> None:
            armed.append((question.ask, self.standin.run_armed, self.standin.setting.rung))
            super().put(question, tick)

    def desk(standin: StandIn, hand: Operator) -> Desk:
        noting = Noting(hand)
        noting.standin = standin
        return noting

    def people(standin: StandIn, hand: Operator) -> People:
        return People(desk=desk(standin, hand))

    record = full_record(Job("latches=yes"), section(*SHORTED, "restart"), people)
    assert last(record)["no-mains-restart"].verdict == "pass"
    assert armed == [(Ask.CLEAR, False, Rung.OPEN), (Ask.RESTART, False, Rung.OPEN)]


def test_mains_after_the_restart_fails_and_ends_the_run() -> None:
    record = full_record(Job("restart_mains=yes"), RESTART)
    assert having(record, "fail") == {"no-mains-restart", "outlet-dead"}
    assert record.make_safe["alarm"]


# Recovery -----------------------------------------------------------------------------------


def test_a_charger_recovers_by_itself_or_by_hand() -> None:
    for keys, how in (("", "by itself"), ("latches=yes", "only after somebody cleared it")):
        result = last(full_record(Job(keys), section(*SHORTED)))["recovery-short"]
        assert result.observations["recovered"] == how
        (time,) = result.quantities
        # It pulses 0.4 s after it was plugged in.
        assert time.value == pytest.approx(0.4, abs=0.2)


def test_a_fault_that_nobody_clears() -> None:
    record = full_record(Job("latches=yes"), section(*SHORTED), with_desk(lambda *_: Silent()))
    result = last(record)["recovery-short"]
    assert result.observations["recovered"] == "no"
    assert "Nobody answered" in result.why


def test_mains_on_open_ends_a_recovery() -> None:
    """The contacts weld while the pilot is shorted, and are live when it opens."""
    told: list[Told] = []
    plan = section(*SHORTED, "B without a diode", checks=("mains-off-short", "recovery-short"))
    record = full_record(
        Job("mains_returns_s=2"),
        plan,
        lambda _, hand: People(told.append, SimulatedDesk(hand)),
    )
    results = last(record)
    assert results["outlet-dead"].verdict == "pass"
    assert results["recovery-short"].verdict == "observed"
    live = full_record(Job("welded=yes"), section("B", "B to C", "recovery from short"))
    assert last(live)["outlet-dead"].verdict == "fail"
    assert live.make_safe["live_phases"] == [1, 2, 3]


# Wishes -------------------------------------------------------------------------------------

LEVELS = section(
    "open", "B", "B to C", "C to B", checks=("no-mains-open", "no-mains-b", "mains-on")
)


def attempts(record: Record, check: str) -> list[int]:
    return [result.attempt for result in record.checks if result.check == check]


def test_a_step_is_skipped_with_a_reason_that_is_recorded() -> None:
    skip = Wish(Want.SKIP, "the lamp is broken")
    record = full_record(Job(""), LEVELS, wishing(None, skip))
    result = last(record)["no-mains-b"]
    assert (result.verdict, result.why) == (
        "not run",
        "Skipped by the operator: the lamp is broken.",
    )
    assert record.verdict is RunVerdict.INCOMPLETE
    assert last(record)["mains-on"].verdict == "pass"


def test_nothing_is_skipped_without_a_reason() -> None:
    record = full_record(Job(""), LEVELS, wishing(None, Wish(Want.SKIP, "  ")))
    assert last(record)["no-mains-b"].verdict == "pass"


def test_a_step_is_repeated_and_both_results_stay() -> None:
    # The run looks before each step, and asks again until there is no wish.
    repeat = Wish(Want.REPEAT, step="B to C")
    record = full_record(Job(""), LEVELS, wishing(None, None, None, None, repeat))
    assert attempts(record, "mains-on") == [1, 2]
    first, second = (result for result in record.checks if result.check == "mains-on")
    assert first.start_tick is not None
    assert second.start_tick is not None
    assert second.start_tick > first.start_tick
    assert first.captures != second.captures
    assert record.verdict is RunVerdict.PASS


def test_the_last_step_is_repeated_without_a_name() -> None:
    record = full_record(Job(""), LEVELS, wishing(None, Wish(Want.REPEAT)))
    assert attempts(record, "no-mains-open") == [1, 2]


def test_a_pause_waits_for_open() -> None:
    told: list[Told] = []
    pause = (None, None, Wish(Want.PAUSE), None, None, *([None] * 30), Wish(Want.GO_ON))
    plan = section("open", "B", "B to C", "unplugged from C", "restart", checks=("mains-on",))
    kept = replace(plan, steps=tuple(one for one in plan.steps if one.name != "open"))
    record = full_record(Job(""), kept, wishing(*pause, told=told))
    names = [one.step.name if isinstance(one, StepStarted) else one for one in told]
    paused = names.index(Paused())
    assert "unplugged from C" in names[:paused], "it was wanted before C, and waited for open"
    assert names.index(Paused(over=True)) > paused
    assert record.verdict is RunVerdict.PASS


def test_the_time_left_shrinks_from_step_to_step() -> None:
    told: list[Told] = []
    full_record(Job(""), LEVELS, lambda _, hand: People(told.append, SimulatedDesk(hand)))
    left = [one.left_s for one in told if isinstance(one, StepStarted)]
    assert left == sorted(left, reverse=True)
    assert left[0] == pytest.approx(LEVELS.expected_s)
    assert TETHERED.phases == 3
