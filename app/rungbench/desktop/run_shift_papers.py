"""The summary of a shift as a text and as CSV; no Qt."""

import csv
import io
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Final

from rungbench.archive.record import RunVerdict
from rungbench.desktop.run_shift import Share, Shift
from rungbench.report.export_csv import MARK, defused
from rungbench.report.files import write_whole

NOBODY: Final = "nobody named"
COLUMNS: Final = ("part", "name", "runs", "pass", "fail", "other")
"""One row a fact: what is counted, whose or which it is, and how many runs."""

_WIDTH: Final = 44


@dataclass(frozen=True, slots=True)
class Papers:
    """The files that were written."""

    text: Path
    table: Path


def shift_text(shift: Shift, until: datetime, *, simulated: bool) -> str:
    """The summary in lines, for a notice board or a message."""
    return "".join(f"{line}\n" for line in _lines(shift, until, simulated=simulated))


def _lines(shift: Shift, until: datetime, *, simulated: bool) -> Iterator[str]:
    if simulated:
        yield "SIMULATED: no charger was tested."
    yield f"Shift from {_moment(shift.since)} to {_moment(until)} UTC"
    yield ""
    yield _counted("Chargers tested", shift.chargers)
    yield _counted("Runs", shift.runs)
    for verdict in reversed(RunVerdict):
        yield _counted(f"  {verdict.value}", shift.count(verdict))
    yield ""
    yield "Failed checks"
    for title, count in shift.faults:
        yield _counted(f"  {_plain(title)}", count)
    if not shift.faults:
        yield "  none"
    yield ""
    yield "Operators"
    for share in shift.operators:
        yield f"  {_plain(share.name) or NOBODY}: {share_text(share)}"
    if not shift.operators:
        yield "  none"


def share_text(share: Share) -> str:
    """What one operator did, in words."""
    runs = "1 run" if share.runs == 1 else f"{share.runs} runs"
    return f"{runs}: {share.passed} pass, {share.failed} fail, {share.other} other"


def shift_csv(shift: Shift, until: datetime, *, simulated: bool) -> str:
    """The same as a table for spreadsheets, columns as in `COLUMNS`."""
    stream = io.StringIO()
    writer = csv.writer(stream, lineterminator="\r\n")
    writer.writerow(COLUMNS)
    for row in _rows(shift, until, simulated=simulated):
        writer.writerow([defused(cell) for cell in row])
    return MARK + stream.getvalue()


def _rows(shift: Shift, until: datetime, *, simulated: bool) -> Iterator[tuple[str, ...]]:
    passed, failed = shift.count(RunVerdict.PASS), shift.count(RunVerdict.FAIL)
    yield "simulated", "yes" if simulated else "no", "", "", "", ""
    yield "since_utc", f"{shift.since.astimezone(UTC):%Y-%m-%d %H:%M:%S}", "", "", "", ""
    yield "until_utc", f"{until.astimezone(UTC):%Y-%m-%d %H:%M:%S}", "", "", "", ""
    yield "chargers", "", f"{shift.chargers}", "", "", ""
    other = shift.runs - passed - failed
    yield "runs", "", f"{shift.runs}", f"{passed}", f"{failed}", f"{other}"
    for verdict in RunVerdict:
        yield "verdict", verdict.value, f"{shift.count(verdict)}", "", "", ""
    for title, count in shift.faults:
        yield "failed check", title, f"{count}", "", "", ""
    for one in shift.operators:
        yield "operator", one.name, f"{one.runs}", f"{one.passed}", f"{one.failed}", f"{one.other}"


def write_shift(shift: Shift, until: datetime, folder: Path, *, simulated: bool) -> Papers:
    """Write both into a folder, named by the beginning of the shift; older ones are replaced.

    Raises
    ------
    OSError : the folder cannot be made.
    RungbenchError : a file cannot be written.
    """
    folder.mkdir(parents=True, exist_ok=True)
    stem = f"rungbench-shift-{shift.since.astimezone(UTC):%Y-%m-%dT%H%M}"
    papers = Papers(folder / f"{stem}.txt", folder / f"{stem}.csv")
    for file, content in (
        (papers.text, shift_text(shift, until, simulated=simulated)),
        (papers.table, shift_csv(shift, until, simulated=simulated)),
    ):
        write_whole(file, [content.encode("utf-8", "backslashreplace")], replace=True)
    return papers


def _counted(text: str, count: int) -> str:
    return f"{text:<{_WIDTH}}{count:>6}"


def _moment(when: datetime) -> str:
    return f"{when.astimezone(UTC):%Y-%m-%d %H:%M}"


def _plain(text: str) -> str:
    """A text that stays in its line."""
    return "".join(one if one.isprintable() else ascii(one)[1:-1] for one in text)
