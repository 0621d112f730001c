"""What a run writes down as it goes: checks and captures, each in a transaction of its own."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Final

from pilotsignal.judge import Verdict
from rungbench.archive.record import CheckResult, Role
from rungbench.archive.store import Archive
from rungbench.qualify.case import Finding, without
from rungbench.qualify.checks import CHECK_KINDS
from rungbench.qualify.evidence import Evidence
from rungbench.qualify.plan import Plan, PlannedCheck, Step
from rungbench.qualify.progress import CheckDone, Listener
from rungbench.standin.record import BoardRecord

_TROUBLED: Final = (Verdict.FAIL, Verdict.UNDECIDED, Verdict.NOT_RUN)


@dataclass(slots=True)
class Book:
    """The pages of one run; `left_out` are checks that cannot apply, which have none."""

    archive: Archive
    run_id: str
    tell: Listener
    left_out: Mapping[str, str]
    results: list[CheckResult] = field(default_factory=list)

    def keep(self, result: CheckResult) -> None:
        """Store one result and tell of it."""
        self.archive.add_check(self.run_id, result)
        self.results.append(result)
        self.tell(CheckDone(result))

    def found(self, check: PlannedCheck, finding: Finding, evidence: Evidence) -> None:
        """Store what a check found in evidence."""
        record = evidence.record
        self.keep(
            CheckResult(
                check=check.id,
                title=_title(check, evidence.step),
                role=check.role,
                verdict=finding.verdict,
                judgements=finding.judgements,
                quantities=finding.measured,
                observations=finding.observations,
                why=finding.why,
                captures=evidence.captures,
                start_tick=record.start_tick,
                end_tick=record.end_tick,
                attempt=evidence.attempt,
            )
        )

    def nothing(
        self, check: PlannedCheck, step: Step, verdict: Verdict, why: str, attempt: int = 1
    ) -> None:
        """Store that there was nothing to judge by, and why."""
        finding = without(verdict, why)
        self.keep(
            CheckResult(
                check=check.id,
                title=_title(check, step),
                role=check.role,
                verdict=finding.verdict,
                why=finding.why,
                attempt=attempt,
            )
        )

    def captures(self, evidence: Evidence) -> Evidence:
        """Store all that was recorded; the evidence then names it."""
        keys: list[str] = []
        for part, record in evidence.parts:
            which = f" ({part})" if part else ""
            keys += self._record(record, f"{evidence.step.name}-{evidence.attempt}{which}")
        return evidence.with_captures(tuple(keys))

    def _record(self, record: BoardRecord, name: str) -> list[str]:
        parts = ((record.edges, "edges"), (record.capture, "samples"))
        return [
            self.archive.add_capture(self.run_id, part, f"{name} {kind}")
            for part, kind in parts
            if part is not None
        ]

    def attempts(self, step: Step) -> int:
        """How often the checks of a step were judged already, at most."""
        ids = {check.id for check in step.checks}
        return max((one.attempt for one in self.results if one.check in ids), default=0)

    @property
    def blames_bench(self) -> bool:
        """Whether a check that decides came to a bench fault."""
        faults = (one for one in self.results if one.verdict is Verdict.BENCH_FAULT)
        return any(one.role is Role.REQUIRED for one in faults)

    def rest(self, plan: Plan, why: str, trouble: str = "") -> None:
        """Say of every check that was not reached why it was not.

        With `trouble` of the bench that came between two steps, the first of them that decides is
        a bench fault: it was the bench that kept it from being made.
        """
        done = {result.check for result in self.results} | set(self.left_out)
        for step in plan.steps:
            for check in step.checks:
                if check.id in done:
                    continue
                blame = trouble and check.role is Role.REQUIRED and not self.blames_bench
                verdict = Verdict.BENCH_FAULT if blame else Verdict.NOT_RUN
                self.nothing(check, step, verdict, trouble if blame else why)


def _title(check: PlannedCheck, step: Step) -> str:
    return f"{CHECK_KINDS[check.kind].title} ({step.name})"


def after_losses(finding: Finding, evidence: Evidence, *, absence: bool) -> Finding:
    """A record with losses accuses nobody, and proves no absence."""
    losses = evidence.losses
    if not losses or finding.certain:
        return finding
    spoiled = finding.verdict in _TROUBLED or (absence and finding.verdict is Verdict.PASS)
    if not spoiled:
        return finding
    why = f"The record is not whole ({losses.text()}); check cable and board, and run again."
    return Finding(
        quantities=tuple(j.quantity for j in finding.judgements if j.quantity is not None),
        observations=finding.observations,
        verdict=Verdict.BENCH_FAULT,
        why=why,
    )
