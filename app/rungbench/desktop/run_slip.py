"""The hold slip: what goes on a charger that is not to leave the bench as good; no Qt."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from pilotsignal.judge import Verdict
from rungbench.archive.record import CheckResult, Record, Role, RunVerdict
from rungbench.qualify.findings import NO_EXPLANATION, Explanation
from rungbench.qualify.scope import NO_CERTIFICATION
from rungbench.report.verdicts import counting, meaning

TITLE: Final = "Hold"
SIMULATED: Final = "SIMULATED: no charger was tested."
_MOST: Final = 12


@dataclass(frozen=True, slots=True)
class Slip:
    """What the slip says, in rows of name and text; hostile text is text."""

    serial: str
    verdict: str
    meaning: str
    simulated: bool
    rows: tuple[tuple[str, str], ...]
    foot: str

    def text(self) -> str:
        """The slip as plain text, one row a line."""
        head = [f"{TITLE.upper()}  {self.serial}", f"{self.verdict}: {self.meaning}"]
        mark = [SIMULATED] if self.simulated else []
        body = [f"{name}: {text}" if name else text for name, text in self.rows]
        return "\n".join([*mark, *head, "", *body, "", self.foot, ""])


def slip_of(record: Record, explanations: Sequence[Explanation]) -> Slip | None:
    """The slip of a run that did not pass; ``None`` for one that did."""
    if record.verdict is RunVerdict.PASS:
        return None
    header = record.header
    return Slip(
        serial=header.charger.serial,
        verdict=record.verdict.value,
        meaning=meaning(record.verdict),
        simulated=header.simulated,
        rows=tuple(_rows(record, explanations)),
        foot=NO_CERTIFICATION,
    )


def _rows(record: Record, explanations: Sequence[Explanation]) -> Iterator[tuple[str, str]]:
    header, charger = record.header, record.header.charger
    yield "Charger", f"{charger.maker} {charger.model}"
    yield "Serial", charger.serial
    yield "Record", record.run_id
    yield "Tested", f"{header.started:%Y-%m-%d %H:%M} UTC, {header.operator or 'nobody named'}"
    if record.interrupted:
        yield "Interrupted", record.interrupted
    reasons = tuple(_reasons(record))
    for result in reasons[:_MOST]:
        yield f"{result.verdict.value}", f"{result.title}. {result.why}".strip()
    if len(reasons) > _MOST:
        yield "", f"and {len(reasons) - _MOST} more; the inspection report has them all"
    yield from _cause(explanations)


def _reasons(record: Record) -> Iterator[CheckResult]:
    """Required checks that stand against the charger, those of the run's own verdict first."""
    wanted = (Verdict.FAIL, Verdict.BENCH_FAULT, Verdict.UNDECIDED, Verdict.NOT_RUN)
    once = [one for one in counting(record.checks) if one.role is Role.REQUIRED]
    for verdict in wanted:
        yield from (one for one in once if one.verdict is verdict)


def _cause(explanations: Sequence[Explanation]) -> Iterator[tuple[str, str]]:
    if not explanations:
        yield "Finding", NO_EXPLANATION
        return
    best = explanations[0]
    yield "Finding", f"{best.cause} ({best.weight.name.lower()})"
    yield "Where", best.where
    yield "Next", best.next
