"""Making safe: to open, and a look at the outlet, since open only asks."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any, Final

from pilotsignal.judge import Judgement, Verdict, judge, withheld
from pilotsignal.standard import Profile
from rungbench.archive.record import CheckResult, Role
from rungbench.errors import BenchError
from rungbench.link.words import OPEN, TICK_S
from rungbench.qualify.counting import counted, phases_text, told
from rungbench.standin.board import StandIn, never

WATCH_S: Final = 5.0
ALARM: Final = "outlet live: switch off the supply"
OUTLET_DEAD: Final = "outlet-dead"


@dataclass(frozen=True, slots=True)
class Safety:
    """How a return to open ended.

    `rung` is what the board reported last, `problem` why the outlet could not be watched, and
    `bench_fault` whether that was the bench's fault.
    """

    rung: str
    live: frozenset[int]
    watched_s: float
    problem: str = ""
    bench_fault: bool = False

    @property
    def watched(self) -> bool:
        """Whether the outlet was looked at for as long as it should be."""
        return not self.problem

    @property
    def alarm(self) -> str:
        """What to shout, or nothing."""
        return ALARM if self.live else ""

    def as_dict(self) -> dict[str, Any]:
        """Plain values for the record."""
        return {
            "rung": self.rung,
            "watched_s": round(self.watched_s, 3),
            "live_phases": sorted(self.live),
            "problem": self.problem,
            "alarm": self.alarm,
        }


NOT_WATCHED: Final = Safety("unknown", frozenset(), 0.0, "Nobody watched the outlet.")


def watch_outlet(standin: StandIn, already_s: float = 0.0) -> Safety:
    """Watch the outlet until it was seen for 5 s; the stand-in is on open already.

    Mains that is there at the end, or that comes back meanwhile, is live.
    """
    start = standin.now_tick
    standin.wait(WATCH_S - already_s)
    watched = (standin.now_tick - start) * TICK_S + already_s
    # One report to let a charger that is slow, but dead now, be told from one that comes back.
    late = start + round((WATCH_S - already_s) / 2 / TICK_S)
    return Safety(str(standin.setting.rung), standin.live_since(late), watched)


def make_safe(standin: StandIn, hurry: Callable[[], None] = never) -> Safety:
    """Go to open and watch; never raises for the bench, and nobody's wish stops it.

    A second Ctrl-C cuts the watch short: `hurry` raises `KeyboardInterrupt` then.
    """
    standin.check_stop = never
    standin.disarm()
    try:
        standin.present(OPEN)
        standin.check_stop = hurry
        return watch_outlet(standin)
    except KeyboardInterrupt:
        # What is live this early may still be on its way off: that accuses nobody.
        seen = phases_text(standin.mains, "when it ended")
        problem = f"The watch was cut short by a second Ctrl-C. {seen}"
        return Safety(str(standin.setting.rung), frozenset(), 0.0, problem)
    except BenchError as lost:
        problem = f"The outlet was not watched; without a link the board opens by itself: {lost}"
        return Safety("unknown", frozenset(), 0.0, problem, bench_fault=True)
    finally:
        standin.check_stop = never


def blamed_on(safety: Safety, trouble: str) -> Safety:
    """The same end of a run, whose first watch broke off for the bench's own trouble."""
    if safety.live:
        return safety
    return replace(safety, problem=f"The watch broke off: {trouble}", bench_fault=True)


def outlet_check(safety: Safety, profile: Profile, attempt: int = 1) -> CheckResult:
    """The check that every run ends with."""
    judgement = _judged(safety, profile)
    why = f"{judgement.why} {safety.alarm}.".strip() if safety.alarm else judgement.why
    return CheckResult(
        check=OUTLET_DEAD,
        title="Outlet dead after every return to open",
        role=Role.REQUIRED,
        verdict=judgement.verdict,
        judgements=(judgement,),
        quantities=() if judgement.quantity is None else (judgement.quantity,),
        why=why,
        attempt=attempt,
    )


def _judged(safety: Safety, profile: Profile) -> Judgement:
    limit = profile.limit("mains_phases_unasked")
    if not safety.watched and not safety.live:
        verdict = Verdict.BENCH_FAULT if safety.bench_fault else Verdict.NOT_RUN
        return withheld(limit, verdict, safety.problem)
    live = counted("mains_phases", len(safety.live), "phases", "mains senses, watched for 5 s")
    return told(judge(live, limit), phases_text(safety.live, "after the return to open"))
