"""A lot to a file: everything as JSON, its runs as CSV, the lot's report as PDF; no Qt."""

import csv
import io
import json
from collections.abc import Iterator
from pathlib import Path
from typing import Final

from rungbench.archive.store import Archive
from rungbench.desktop.errands import Cancel
from rungbench.errors import WrongUse
from rungbench.lots.document import lot_document
from rungbench.lots.failures import failures_in
from rungbench.lots.lot import LotState
from rungbench.lots.store import Lots
from rungbench.lots.variables import summaries_in
from rungbench.report.export_csv import MARK, defused
from rungbench.report.files import write_whole

KINDS: Final = ("csv", "json", "pdf")
COLUMNS: Final = (
    *("lot", "simulated", "supplier", "maker", "model", "lot_size", "sample_size", "accept"),
    *("decision", "unit", "serial", "outcome", "record", "started_utc", "verdict", "counts"),
    *("retest_reason", "interrupted", "operator"),
)
"""One row a run, and one for each unit without a run; columns never change, new ones come last."""


def export_lot(archive: Archive, name: str, file: Path, cancel: Cancel) -> Path:
    """Write a lot to a file, by its ending; returns the file.

    Raises
    ------
    WrongUse : the file's name ends in nothing that can be written.
    NoSuchLot : there is no such lot.
    RungbenchError : it cannot be written; nothing of it is left behind.
    Interrupted : it was cancelled; the same.
    """
    kind = file.suffix.lower().removeprefix(".")
    if kind not in KINDS:
        raise WrongUse(f"{file.name!r} ends in none of {', '.join(KINDS)}; name it so.")
    chunks = {"csv": _csv, "json": _json, "pdf": _pdf}[kind](archive, name)
    cancel.check()
    write_whole(file, _until(chunks, cancel), replace=True)
    return file


def _until(chunks: Iterator[bytes], cancel: Cancel) -> Iterator[bytes]:
    for count, chunk in enumerate(chunks):
        cancel.check()
        cancel.done = count  # the first is the heading
        yield chunk


def _json(archive: Archive, name: str) -> Iterator[bytes]:
    state = Lots(archive).state(name)
    document = lot_document(state, failures_in(archive, state), summaries_in(archive, [state]))
    yield f"{json.dumps(document, indent=2, ensure_ascii=False)}\n".encode()


def _pdf(archive: Archive, name: str) -> Iterator[bytes]:
    # Late: what draws PDF takes half a second to load.
    from rungbench.report.lot_pdf import lot_report

    yield lot_report(archive, name)


def _csv(archive: Archive, name: str) -> Iterator[bytes]:
    state = Lots(archive).state(name)
    yield (MARK + _line(COLUMNS)).encode()
    for row in lot_rows(state):
        yield _line(tuple(defused(cell) for cell in row)).encode()


def lot_rows(state: LotState) -> Iterator[tuple[str, ...]]:
    """The cells of `COLUMNS`, unit by unit, runs in the order of joining."""
    lot, plan = state.lot, state.lot.plan
    decision = state.standing.decision if state.end is None else state.end.decision
    head = (
        lot.name,
        "yes" if lot.simulated else "no",
        lot.supplier,
        lot.sheet.maker or "",
        lot.sheet.model or "",
        f"{plan.lot_size}",
        f"{plan.sample_size}",
        f"{plan.accept}",
        decision.value,
    )
    for unit in state.units:
        of_unit = (f"{unit.number}", unit.serial, unit.outcome.value)
        if not unit.runs:
            yield *head, *of_unit, *[""] * (len(COLUMNS) - len(head) - len(of_unit))
        for run in unit.runs:
            yield (
                *head,
                *of_unit,
                run.run_id,
                f"{run.started:%Y-%m-%d %H:%M:%S}",
                run.verdict.value,
                "yes" if run is unit.counts else "no",
                run.reason,
                run.interrupted or "",
                run.operator,
            )


def _line(cells: tuple[str, ...]) -> str:
    stream = io.StringIO()
    csv.writer(stream, lineterminator="\r\n").writerow(cells)
    return stream.getvalue()
