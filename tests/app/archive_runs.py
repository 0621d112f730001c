"""Runs written whole into an archive, for tests of what becomes of them later."""

from dataclasses import replace
from datetime import UTC, datetime

from archive_examples import check, counts, edges, header

from pilotsignal.judge import Verdict
from rungbench.archive.record import RunHeader, RunVerdict
from rungbench.archive.store import Archive

END = datetime(2025, 7, 11, 14, 23, tzinfo=UTC)


def of_board(run_id: str, board: str = "17", *, simulated: bool = False) -> RunHeader:
    return replace(header(run_id, simulated=simulated), board={"board_id": board})


def write(archive: Archive, run_id: str, board: str = "17", *, ends: bool = True) -> None:
    """A run with two captures and two checks."""
    archive.begin(of_board(run_id, board, simulated=archive.simulated))
    keys = (
        archive.add_capture(run_id, counts(seed=len(run_id)), "samples"),
        archive.add_capture(run_id, edges(), "edges"),
    )
    archive.add_check(run_id, replace(check(), captures=keys))
    archive.add_check(run_id, check("level", Verdict.OBSERVED))
    if ends:
        archive.finish(run_id, RunVerdict.PASS, END, None, {"mains": "off"})
