"""A run: prepare, checks, make safe.

Steps are performed in the order of the plan; from each one's evidence its checks
are judged and stored one by one.  However the run ends, the stand-in goes to
open, the outlet is watched, and what was completed stays recorded.
"""

from contextlib import ExitStack
from dataclasses import dataclass, field
from types import MappingProxyType, TracebackType
from typing import Final, Self

from pilotsignal.budget import combine, derive, half_width
from pilotsignal.circuit import FAST_SILICON
from pilotsignal.errors import PilotSignalError
from pilotsignal.judge import Verdict
from pilotsignal.response import Window
from rungbench.archive.record import Record, RunHeader, run_verdict, utc_now
from rungbench.archive.store import Archive
from rungbench.errors import BenchError, Interrupted
from rungbench.link.words import OPEN, TICK_S, Setting
from rungbench.qualify.acts import ACTS, Ground, Pass
from rungbench.qualify.acts.ground import old_window
from rungbench.qualify.book import Book, after_losses
from rungbench.qualify.case import Bench, Case, without
from rungbench.qualify.checks import CHECK_KINDS
from rungbench.qualify.errors import OutletLive
from rungbench.qualify.evidence import Evidence
from rungbench.qualify.order import Order, cannot, check_holds, header, left_out
from rungbench.qualify.plan import PlannedCheck, Step, When, expected_s
from rungbench.qualify.progress import Alarm, MakingSafe, People, RunStarted, StepStarted
from rungbench.qualify.retake import restore, retakes, rewind
from rungbench.qualify.safety import (
    ALARM,
    NOT_WATCHED,
    WATCH_S,
    Safety,
    blamed_on,
    make_safe,
    outlet_check,
    watch_outlet,
)
from rungbench.qualify.wishes import Wishes
from rungbench.standin.board import StandIn

NOT_ARMED: Final = "The run is not armed for rungs that may put mains on the outlet (--arm)."
_UNMET: Final = {
    When.WAITING: "It does not apply: the charger did not wait for authorisation.",
    When.PULSING: "It does not apply: the charger offers no PWM.",
    When.SILENT: "It does not apply: the charger offers PWM.",
}


def run(
    order: Order, standin: StandIn, archive: Archive, people: People | None = None, *, url: str = ""
) -> Record:
    """Run one charger through one plan and return the finished record.

    A lost link, a wish to stop and Ctrl-C end the run; the record says so.  Any other exception
    is passed on after the stand-in was left on open and the record was closed.

    Raises
    ------
    WrongUse : the plan would stay on a rung for longer than this board does; nothing was done.
    """
    check_holds(order, standin.identity)
    runner = Runner(order, standin, archive, people or People(), url)
    runner.execute()
    return archive.load(runner.run_id)


@dataclass(slots=True)
class _State:
    """What a run remembers from step to step."""

    evidence: dict[str, Evidence] = field(default_factory=dict)
    levels: dict[Setting, Evidence] = field(default_factory=dict)
    last: Evidence | None = None
    waited: bool = False
    safety: Safety | None = None
    interrupted: str | None = None
    why_not: str = ""
    trouble: str = ""


class Runner:
    """One run; `execute` once."""

    def __init__(
        self, order: Order, standin: StandIn, archive: Archive, people: People, url: str
    ) -> None:
        self._order, self._standin, self._archive = order, standin, archive
        self._tell, self._hurry = people.tell, people.hurry
        self._header: RunHeader = header(order, url, standin.identity, standin.calibration)
        self._bench = Bench(
            order.charger,
            order.profile,
            standin.calibration,
            standin.identity,
            self._header.started.date(),
        )
        self._ground = Ground(standin, order.profile, order.charger, people.desk)
        self._wishes = Wishes(people.desk, standin, people.tell)
        gone = left_out(order)
        self._book = Book(archive, self._header.run_id, people.tell, gone)
        self._state = _State()

    @property
    def run_id(self) -> str:
        return self._header.run_id

    def execute(self) -> None:
        """Prepare, checks, make safe."""
        _warm_up()
        self._archive.begin(self._header)
        with _Ending(self):
            self._tell(RunStarted(self._header))
            if self._order.armed:
                self._standin.arm_energising()
            try:
                self._all_steps()
            except OutletLive as live:
                self._state.why_not = str(live)
            except (Interrupted, KeyboardInterrupt) as stop:
                self._interrupt(str(stop) or "Stopped by Ctrl-C.")
            except BenchError as lost:
                self._interrupt(str(lost))
                self._state.trouble = str(lost)
            why_not = self._state.why_not or "The run ended before it."
            self._book.rest(self._order.plan, why_not, self._state.trouble)

    # Steps ------------------------------------------------------------------------------------

    def _all_steps(self) -> None:
        for step in self._order.plan.steps:
            if step.energises and not self._order.armed:
                self._state.why_not = NOT_ARMED
                return
            self._wishes.look()
            self._grant_repeats()
            why_not = self._wishes.skipped()
            if why_not:
                self._pass_over(step, Verdict.NOT_RUN, f"Skipped by the operator: {why_not}.")
            elif not self._met(step):
                # Nothing of this charger is left unproven by it, so it must not hold up a verdict.
                self._pass_over(step, Verdict.OBSERVED, _UNMET[step.when])
            else:
                self._announce(step, 1)
                self._step(step)
        self._wishes.look()
        self._grant_repeats()

    def _announce(self, step: Step, attempt: int) -> None:
        steps = self._order.plan.steps
        number = steps.index(step) + 1
        left = expected_s(steps[number - 1 :])
        self._tell(StepStarted(step, number, len(steps), attempt, left))

    def _met(self, step: Step) -> bool:
        match step.when:
            case When.WAITING:
                return self._state.waited
            case When.PULSING:
                return self._standin.pulsing()
            case When.SILENT:
                return not self._standin.pulsing()
            case When.ALWAYS:
                return True

    def _pass_over(self, step: Step, verdict: Verdict, why: str) -> None:
        for check in self._wanted(step):
            self._book.nothing(check, step, verdict, why)

    def _step(self, step: Step) -> None:
        wanted = self._wanted(step)
        if not self._standin.identity.can_present(step.setting):
            return
        if step.asks is not None and step.asks in self._order.cannot:
            return
        if step.outlet and step.outlet != self._order.charger.outlet:
            return
        if not wanted and step.checks and not step.setting.energising and not step.expect:
            # None of its checks applies, and no later step begins where it would have ended.
            return
        evidence = self._perform(step, wanted, 1)
        again = [check for check in wanted if self._judge(check, evidence)]
        self._watch_after(evidence)
        if again and retakes(step):
            self._retake(step, again, evidence)

    def _wanted(self, step: Step) -> list[PlannedCheck]:
        """Checks of a step that this board can make; the others are noted with why."""
        wanted = []
        for check in step.checks:
            if check.id in self._book.left_out:
                continue
            why = cannot(step, check, self._standin.identity)
            if why:
                self._book.nothing(check, step, Verdict.NOT_RUN, why)
            else:
                wanted.append(check)
        return wanted

    def _perform(self, step: Step, wanted: list[PlannedCheck], attempt: int) -> Evidence:
        state, setting = self._state, self._standin.setting
        window = old_window(setting, state.levels.get(setting), self._order.profile)
        # What was watched before tells nothing of what this step brings about, on open or not.
        state.safety = None
        try:
            evidence = ACTS[step.do](self._ground, self._pass(step, window, attempt))
        except BenchError as lost:
            for check in wanted:
                self._book.nothing(check, step, Verdict.BENCH_FAULT, str(lost), attempt)
            raise
        evidence = self._book.captures(evidence)
        self._remember(evidence)
        return evidence

    def _pass(self, step: Step, window: Window, attempt: int) -> Pass:
        """A step without checks is measured where a later one compares or is timed from there."""
        plan = self._order.plan
        wanted = step.checks or step.name in plan.compared or step.setting in plan.timed_from
        return Pass(step, window, attempt, measures=bool(wanted))

    def _remember(self, evidence: Evidence) -> None:
        state = self._state
        first_on_b = not any(one.applied.reported.rung == "B" for one in state.evidence.values())
        if first_on_b and evidence.applied.reported.rung == "B":
            state.waited = not evidence.pulsing
        state.evidence[evidence.step.name] = evidence
        state.last = evidence
        if evidence.measurement is not None:
            state.levels[evidence.applied.reported] = evidence

    def _retake(self, step: Step, checks: list[PlannedCheck], first: Evidence) -> None:
        """Once more, longer, for the checks that were close to a limit or lost something."""
        self._again(step, checks, first, 2)

    def _again(self, step: Step, checks: list[PlannedCheck], first: Evidence, attempt: int) -> None:
        self._announce(step, attempt)
        rewind(self._standin, step, first)
        evidence = self._perform(step, checks, attempt)
        for check in checks:
            self._judge(check, evidence)
        self._watch_after(evidence)

    def _grant_repeats(self) -> None:
        """Steps that somebody wants done again; then back to where the run was."""
        while (name := self._wishes.repeat()) is not None:
            last = self._state.last
            first = self._state.evidence.get(name) if name else last
            if first is None or last is None:
                continue
            checks = [one for one in first.step.checks if one.id not in self._book.left_out]
            self._again(first.step, checks, first, self._book.attempts(first.step) + 1)
            if first.step.name != last.step.name:
                restore(self._standin, last)

    def _watch_after(self, evidence: Evidence) -> None:
        """The rules about mains that must not be there, after every step."""
        reported = evidence.applied.reported
        if reported.rung is OPEN.rung and evidence.before.rung is not OPEN.rung:
            passed = (self._standin.now_tick - evidence.applied.tick) * TICK_S
            self._tell(MakingSafe(WATCH_S))
            self._state.safety = watch_outlet(self._standin, min(passed, WATCH_S))
            if self._state.safety.live:
                self._alarm(f"Mains is on the outlet after the return to open: {ALARM}.")
        elif evidence.live and not evidence.step.energises:
            self._alarm(f"Mains is on the outlet on {evidence.where}: {ALARM}.")

    def _alarm(self, text: str) -> None:
        self._tell(Alarm(ALARM))
        raise OutletLive(text)

    # Checks -----------------------------------------------------------------------------------

    def _judge(self, check: PlannedCheck, evidence: Evidence) -> bool:
        """Judge and store one check; returns whether another, longer look is worth it."""
        self._standin.renew()
        kind = CHECK_KINDS[check.kind]
        state = self._state
        against = state.evidence.get(check.against)
        case = Case(self._bench, evidence, against, MappingProxyType(dict(state.levels)))
        try:
            finding = kind.judge(case)
        except PilotSignalError as problem:
            finding = without(Verdict.BENCH_FAULT, str(problem))
        finding = after_losses(finding, evidence, absence=kind.absence)
        self._book.found(check, finding, evidence)
        return evidence.attempt == 1 and (
            finding.near_limit or finding.verdict is Verdict.BENCH_FAULT
        )

    # The end ----------------------------------------------------------------------------------

    def _interrupt(self, why: str) -> None:
        self._state.interrupted = why
        self._state.why_not = "The run was interrupted before it."

    def finish(self, problem: BaseException | None) -> None:
        """Make safe, then close the record: each of them whatever becomes of the others."""
        if problem is not None and self._state.interrupted is None:
            self._state.interrupted = f"{type(problem).__name__}: {problem}"
        with ExitStack() as stack:
            stack.callback(self._close_record)
            stack.callback(self._store_outlet)
            if problem is not None:
                stack.callback(self._store_rest)
            if not self._is_safe():
                stack.callback(self._make_safe)
                self._tell(MakingSafe(WATCH_S))

    def _is_safe(self) -> bool:
        """Whether the plan itself ended with a return to open that was watched."""
        safety = self._state.safety
        return safety is not None and safety.watched and self._standin.setting == OPEN

    def _make_safe(self) -> None:
        self._state.safety = make_safe(self._standin, self._hurry)
        if self._state.safety.alarm:
            self._tell(Alarm(self._state.safety.alarm))

    def _store_rest(self) -> None:
        self._book.rest(self._order.plan, "The run broke off before it.")

    def _store_outlet(self) -> None:
        safety, trouble = self._state.safety or NOT_WATCHED, self._state.trouble
        if trouble and not self._book.blames_bench:
            safety = blamed_on(safety, trouble)
        self._book.keep(outlet_check(safety, self._order.profile))

    def _close_record(self) -> None:
        state = self._state
        self._archive.finish(
            self.run_id,
            run_verdict(self._book.results, state.interrupted),
            utc_now(),
            state.interrupted,
            (state.safety or NOT_WATCHED).as_dict(),
        )


class _Ending:
    """Whatever happens inside, the run is finished; nothing is swallowed."""

    def __init__(self, runner: Runner) -> None:
        self._runner = runner

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        problem: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._runner.finish(problem)


def _warm_up() -> None:
    """Load what computes uncertainties now: later it would keep an energised stand-in waiting."""
    one = combine("one", "1", 1.0, "start", [half_width("one", "one", 0.1, "1")])
    derive("two", "1", "start", lambda a: 2 * a, (one,)).expanded()
    FAST_SILICON.current(1.0, 1000.0)  # what the fit of the source needs of SciPy
