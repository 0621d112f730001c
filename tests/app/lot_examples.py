"""Lots made up for tests: invented names, runs that are written without any bench."""

from collections.abc import Sequence
from dataclasses import replace
from datetime import datetime, timedelta

from archive_examples import check, header, limit, quantity

from pilotsignal.judge import Judgement, Verdict
from rungbench.archive.record import CheckResult, RunVerdict, utc_now
from rungbench.archive.store import Archive
from rungbench.lots.basis import basis_of_run
from rungbench.lots.lot import Lot, LotOrder
from rungbench.lots.sampling import Severity, plan_for
from rungbench.lots.store import Lots
from rungbench.qualify.sheet import Sheet

SHEET = Sheet(
    maker="Demo Works",
    model="Sample 11",
    rated_current_a=16.0,
    phases=3,
    outlet="cable",
    serial_pattern="D-[0-9]{4}",
)
_CHECKS = {
    RunVerdict.PASS: Verdict.PASS,
    RunVerdict.FAIL: Verdict.FAIL,
    RunVerdict.UNDECIDED: Verdict.UNDECIDED,
    RunVerdict.BENCH_FAULT: Verdict.BENCH_FAULT,
    RunVerdict.INCOMPLETE: Verdict.NOT_RUN,
}


def serials(count: int) -> tuple[str, ...]:
    """Serial numbers that fit the sheet, the first is D-0001."""
    return tuple(f"D-{number:04}" for number in range(1, count + 1))


def order(name: str = "L1", size: int = 40, aql: float = 4.0, *, listed: bool = True) -> LotOrder:
    """13 of 40 units at AQL 4.0, one may fail, unless told otherwise."""
    return LotOrder(
        name=name,
        supplier="Northern Imports",
        sheet=SHEET,
        basis=basis_of_run(header()),
        plan=plan_for(size, aql),
        serials=serials(size) if listed else (),
        seed="a-seed",
    )


def tightened(one: LotOrder) -> LotOrder:
    plan = one.plan
    return replace(one, plan=plan_for(plan.lot_size, plan.aql, severity=Severity.TIGHTENED))


def write_run(
    archive: Archive,
    serial: str,
    verdict: RunVerdict | None = RunVerdict.PASS,
    value: float = 1000.2,
    lot: tuple[Lot, str] | None = None,
) -> str:
    """A run as a bench writes it, joining a lot (with a reason) if asked to; returns its id.

    Without a verdict it has no end, as after a kill.
    """
    number = archive.count() + 1
    run_id = f"r{number:04}-{'s' if archive.simulated else 'r'}bbbb"
    head = header(run_id, simulated=archive.simulated)
    head = replace(head, charger=replace(head.charger, serial=serial), started=_moment(number))
    beside = None if lot is None else Lots(archive).joining(lot[0], serial, lot[1])
    archive.begin(head, beside)
    if verdict is None:
        return run_id
    for result in _results(verdict, value):
        archive.add_check(run_id, result)
    archive.finish(run_id, verdict, head.started + timedelta(seconds=30))
    return run_id


def _moment(number: int) -> datetime:
    return utc_now() + timedelta(seconds=number)


def _results(verdict: RunVerdict, value: float) -> Sequence[CheckResult]:
    measured = quantity("frequency_hz", value)
    judged = Judgement(_CHECKS[verdict], "as the test wants it", measured, limit(), 0.9)
    first = replace(
        check("frequency", _CHECKS[verdict]), quantities=(measured,), judgements=(judged,)
    )
    return (first,)


def fill(archive: Archive, lot: Lot, verdicts: str) -> None:
    """Runs of the units of the sample in order: p pass, f fail, u undecided, b bench fault."""
    words = {
        "p": RunVerdict.PASS,
        "f": RunVerdict.FAIL,
        "u": RunVerdict.UNDECIDED,
        "b": RunVerdict.BENCH_FAULT,
        "i": RunVerdict.INCOMPLETE,
    }
    units = Lots(archive).state(lot.name).units
    for unit, letter in zip(units, verdicts, strict=False):
        write_run(archive, unit.serial, words[letter], lot=(lot, ""))
