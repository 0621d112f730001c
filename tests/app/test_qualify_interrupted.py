"""However a run ends, the stand-in is on open and what was completed stays recorded."""

import signal
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from qualify_runs import Run, having, last

from rungbench.archive.record import Record, RunVerdict
from rungbench.archive.search import Search
from rungbench.archive.store import open_archive
from rungbench.errors import Interrupted, LinkLost
from rungbench.link.port import Port
from rungbench.link.words import TICK_S
from rungbench.qualify.case import Case, Finding
from rungbench.qualify.checks import CHECK_KINDS
from rungbench.qualify.progress import CheckDone, StepStarted, Told
from rungbench.qualify.stop import Stop, on_ctrl_c
from rungbench.qualify.wishes import Wishes
from rungbench.simulated.operator import Operator, ticks
from rungbench.standin import board

# Board seconds by which the quick plan has left C for good.
LAST_S = 16.0
B_CHECKS = {"frequency-b", "pulse-width-b", "plateau-b", "rail-low"}


class Mishap(RuntimeError):
    """Something that nobody foresaw."""


def only_record(run: Run) -> Record:
    with open_archive(run.archive, simulated=True) as archive:
        (summary,) = archive.find(Search())
        return archive.load(summary.run_id)


def in_check(monkeypatch: pytest.MonkeyPatch, name: str, does: Callable[[Case], Finding]) -> None:
    kind = replace(CHECK_KINDS[name], judge=does)
    monkeypatch.setitem(CHECK_KINDS, name, kind)


def on_c(problem: BaseException, otherwise: str) -> Callable[[Case], Finding]:
    judge = CHECK_KINDS[otherwise].judge

    def judging(case: Case) -> Finding:
        if case.evidence.applied.reported.energising:
            raise problem
        return judge(case)

    return judging


def test_ctrl_c_in_a_check(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    in_check(monkeypatch, "frequency", on_c(KeyboardInterrupt(), "frequency"))
    run = Run(tmp_path)
    record = run.record()
    assert run.presents_nothing()
    assert having(record, "pass") >= {*B_CHECKS, "mains-on", "phases", "outlet-dead"}
    assert "frequency-c" in having(record, "not run")
    assert record.interrupted == "Stopped by Ctrl-C."
    assert record.verdict is RunVerdict.INCOMPLETE
    assert record.make_safe["rung"] == "open"
    assert record.make_safe["watched_s"] >= 5.0


def test_an_exception_in_a_check(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    in_check(monkeypatch, "frequency", on_c(Mishap("of a kind"), "frequency"))
    run = Run(tmp_path)
    with pytest.raises(Mishap):
        run.record()
    assert run.presents_nothing()
    record = only_record(run)
    assert record.interrupted == "Mishap: of a kind"
    assert record.finished is not None
    assert record.verdict is RunVerdict.INCOMPLETE
    assert having(record, "pass") >= {*B_CHECKS, "mains-on", "outlet-dead"}
    assert record.make_safe["rung"] == "open"


@pytest.mark.parametrize("name", ["frequency-c", "outlet-dead"])
def test_a_screen_that_is_gone(name: str, tmp_path: Path) -> None:
    """Whoever is told of results may fail, now and ever after: the outlet is still watched."""
    run = Run(tmp_path)
    gone: list[str] = []

    class Screen(list[Told]):
        def append(self, told: Told) -> None:
            if isinstance(told, CheckDone) and told.result.check == name:
                gone.append(name)
            if gone:
                raise BrokenPipeError

    run.told = Screen()
    with pytest.raises(BrokenPipeError):
        run.record()
    assert run.presents_nothing()
    record = only_record(run)
    assert record.finished is not None
    assert last(record)["outlet-dead"].verdict == "pass"
    assert record.make_safe["watched_s"] >= 5.0


# 1.5 s: before B; 4 s: on B; 6.2 s: waiting for mains; 7.5 s: on C; 12 s: unplugged; later: the
# last watch of the outlet, when every other check has passed.
@pytest.mark.parametrize("after_s", [0.7, 1.5, 4.0, 6.2, 7.5, 9.5, 12.0, 13.5, 16.8])
def test_a_lost_link(after_s: float, tmp_path: Path) -> None:
    run = Run(tmp_path, f"unplug_after_s={after_s}")
    record = run.record()
    assert record.interrupted is not None
    assert "USB" in record.interrupted
    assert record.verdict is RunVerdict.BENCH_FAULT
    assert having(record, "fail") == set()
    assert last(record)["outlet-dead"].verdict == "bench fault", "nobody can have seen it"
    assert run.bench is not None
    run.bench.advance(1.5)
    assert run.presents_nothing(), "without keep-alive the board opens within a second"


def test_a_lost_link_in_the_last_watch_of_a_run_that_is_not_armed(tmp_path: Path) -> None:
    record = Run(tmp_path, "unplug_after_s=8.0", armed=False).record()
    assert record.interrupted is None, "the checks had ended before"
    assert last(record)["outlet-dead"].verdict == "bench fault"
    assert record.verdict is RunVerdict.BENCH_FAULT


@pytest.mark.parametrize("step", ["B", ""])
def test_trouble_between_two_steps_is_the_benchs(
    step: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """What it kept from being made says so, and so does the run; also where nothing was left."""

    def look(self: Wishes) -> None:
        done = self.standin.now_tick * TICK_S
        if (step and self.standin.setting.rung == step) or (not step and done > LAST_S):
            monkeypatch.undo()
            raise LinkLost("A hand pulled it and put it back.")

    monkeypatch.setattr(Wishes, "look", look)
    record = Run(tmp_path).record()
    faults = {name for name in last(record) if last(record)[name].verdict == "bench fault"}
    assert faults == ({"mains-on"} if step else {"outlet-dead"})
    assert "put it back" in last(record)[faults.pop()].why
    assert record.interrupted == "A hand pulled it and put it back."
    assert record.verdict is RunVerdict.BENCH_FAULT
    assert record.make_safe["rung"] == "open"


@pytest.mark.parametrize("step", ["open", "B", "B to C", "C", "C to B", "unplugged from C"])
def test_a_wish_to_stop_at_every_step(step: str, tmp_path: Path) -> None:
    run = Run(tmp_path)

    class Stopping(list[Told]):
        def append(self, told: Told) -> None:
            if isinstance(told, StepStarted) and told.step.name == step:
                run.stop.request("Somebody wished it")
            super().append(told)

    run.told = Stopping()
    record = run.record()
    assert record.interrupted == "Somebody wished it."
    assert record.verdict is RunVerdict.INCOMPLETE
    assert run.presents_nothing()
    assert last(record)["outlet-dead"].verdict == "pass"
    planned = set(record.header.planned)
    assert set(last(record)) == planned, "every check says what became of it"


def test_emergency_stop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The interlock opens on C: the board falls open, the run is interrupted and disarmed."""
    opened = board.StandIn.behind

    def behind(port: Port, calibrate: board.Calibrate) -> board.StandIn:
        Operator(port).interlock(False, ticks(7.0))
        return opened(port, calibrate)

    monkeypatch.setattr(board.StandIn, "behind", behind)
    run = Run(tmp_path)
    record = run.record()
    assert record.interrupted is not None
    assert "interlock open" in record.interrupted
    assert record.verdict is RunVerdict.BENCH_FAULT
    assert run.presents_nothing()
    assert last(record)["outlet-dead"].verdict == "pass"


def test_second_ctrl_c_cuts_the_watch_short(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    in_check(monkeypatch, "frequency", on_c(KeyboardInterrupt(), "frequency"))
    waited = board.StandIn.wait

    def wait(standin: board.StandIn, duration_s: float) -> None:
        if duration_s >= 5.0:
            raise KeyboardInterrupt
        waited(standin, duration_s)

    monkeypatch.setattr(board.StandIn, "wait", wait)
    run = Run(tmp_path)
    record = run.record()
    assert run.presents_nothing()
    assert last(record)["outlet-dead"].verdict == "not run"
    assert record.finished is not None
    assert "cut short" in record.make_safe["problem"]


def test_ctrl_c_is_a_wish_first_and_an_interrupt_then() -> None:
    stop = Stop()
    with on_ctrl_c(stop):
        signal.raise_signal(signal.SIGINT)
        assert stop.reason == "Stopped by Ctrl-C"
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)
    assert signal.getsignal(signal.SIGINT) is signal.default_int_handler


def test_the_systems_wish_to_end_is_a_wish_to_stop() -> None:
    stop = Stop()
    with on_ctrl_c(stop):
        signal.raise_signal(signal.SIGTERM)
    assert stop.reason == "Stopped by the system"
    with pytest.raises(Interrupted):
        stop.check()
    stop.clear()
    stop.check()


def test_results_are_stored_one_by_one(tmp_path: Path) -> None:
    """At the moment a check is told of it can be read by anybody."""
    run = Run(tmp_path)
    stored: list[bool] = []

    class Looking(list[Told]):
        def append(self, told: Told) -> None:
            if isinstance(told, CheckDone) and told.result.check == "plateau-b":
                stored.append("plateau-b" in last(only_record(run)))
            super().append(told)

    run.told = Looking()
    run.record()
    assert stored == [True]
