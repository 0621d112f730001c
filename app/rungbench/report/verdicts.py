"""How a verdict looks on paper: a word, a shape, a colour, so that any one of them is enough.

The colours are of the Okabe-Ito palette, which colour-blind eyes tell apart (M. Okabe, K. Ito,
"Color Universal Design", 2008), darkened where they carry text on white.
"""

from collections.abc import Iterable, Mapping
from typing import Final

from pilotsignal.judge import Verdict
from rungbench.archive.record import CheckResult, Record, Role, RunVerdict
from rungbench.lots.decision import LotDecision
from rungbench.report.lines import FAINT, INK, Line, Style

SHAPES: Final[Mapping[str, str]] = {
    "pass": "●",
    "fail": "▲",
    "undecided": "◐",
    "bench fault": "■",
    "incomplete": "◌",
    "not run": "–",
    "observed": "·",
}
COLOURS: Final[Mapping[str, str]] = {
    "pass": "#007a5a",
    "fail": "#b84a00",
    "undecided": "#0072b2",
    "bench fault": "#9c4a7c",
    "incomplete": INK,
    "not run": FAINT,
    "observed": FAINT,
}
_LIKE: Final[Mapping[LotDecision, str]] = {
    LotDecision.ACCEPT: "pass",
    LotDecision.REJECT: "fail",
    LotDecision.OPEN: "incomplete",
}
_MEANING: Final[Mapping[RunVerdict, str]] = {
    RunVerdict.PASS: "Every required check that was judged passed.",
    RunVerdict.FAIL: "At least one required check failed.",
    RunVerdict.BENCH_FAULT: "The bench was at fault, not the charger.",
    RunVerdict.INCOMPLETE: "Not all that is required was checked. That is no pass.",
    RunVerdict.UNDECIDED: "A required check could not be decided. That is no pass.",
}


def verdict_line(verdict: str, size: float) -> Line:
    """Shape and word."""
    strong = verdict not in ("observed", "not run")
    return Line(f"{SHAPES[verdict]} {verdict}", Style(size, strong, COLOURS[verdict]))


def decision_line(decision: LotDecision, size: float) -> Line:
    """The decision about a lot: shape and word."""
    like = _LIKE[decision]
    return Line(f"{SHAPES[like]} {decision.value}", Style(size, True, COLOURS[like]))


def decision_colour(decision: LotDecision) -> str:
    return COLOURS[_LIKE[decision]]


def meaning(verdict: RunVerdict) -> str:
    """A verdict of a run in a sentence."""
    return _MEANING[verdict]


def counting(checks: Iterable[CheckResult]) -> tuple[CheckResult, ...]:
    """Each check once: of several attempts a fail, else the last one."""
    kept: dict[str, CheckResult] = {}
    for result in checks:
        before = kept.get(result.check)
        if before is None or before.verdict is not Verdict.FAIL:
            kept[result.check] = result
    return tuple(kept.values())


def counted(checks: Iterable[CheckResult], role: Role) -> Mapping[Verdict, int]:
    """How many checks of a role came to each verdict."""
    verdicts = [one.verdict for one in counting(checks) if one.role is role]
    return {verdict: verdicts.count(verdict) for verdict in Verdict}


def troubled(record: Record) -> tuple[CheckResult, ...]:
    """Checks that neither passed nor were only observed: required ones first, the worst first."""
    order = (Verdict.FAIL, Verdict.BENCH_FAULT, Verdict.UNDECIDED, Verdict.NOT_RUN)
    kept = [one for one in counting(record.checks) if one.verdict in order]
    return tuple(
        sorted(kept, key=lambda one: (one.role is not Role.REQUIRED, order.index(one.verdict)))
    )


def idle(result: CheckResult) -> bool:
    """Whether a check was not run and did not have to be."""
    return result.verdict is Verdict.NOT_RUN and result.role is not Role.REQUIRED
