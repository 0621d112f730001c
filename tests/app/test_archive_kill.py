"""A kill at any moment loses at most the check in progress and doubles none.

The ordinary run kills 20 times; ``pytest tests/app/test_archive_kill.py -m slow`` 200 times.
"""

import os
import sqlite3
import subprocess
import sys
import time
from contextlib import closing
from pathlib import Path

import numpy as np
import pytest

from rungbench.archive.record import NOT_FINISHED, RunVerdict
from rungbench.archive.search import Search
from rungbench.archive.store import open_archive

CHECKS = 12


def test_twenty_kills(tmp_path: Path) -> None:
    _kill_often(tmp_path, kills=16, seed=1)
    _kill_at_birth(tmp_path, kills=4, seed=1)


@pytest.mark.slow
def test_many_kills(tmp_path: Path) -> None:
    _kill_often(tmp_path, kills=170, seed=2)
    _kill_at_birth(tmp_path, kills=30, seed=2)


def _kill_often(folder: Path, kills: int, seed: int) -> None:
    path = folder / "demo.sqlite"
    random = np.random.default_rng(seed)
    reported: set[tuple[str, int]] = set()
    for number in range(kills):
        reported |= _write_and_kill(path, number, float(random.uniform(0.0, 0.15)))
    assert len(reported) > kills, "the writer was killed before it wrote anything worth a test"
    _examine(path, reported)


def _kill_at_birth(folder: Path, kills: int, seed: int) -> None:
    """Kill while the file and its tables are being made; the next start goes on from there."""
    random = np.random.default_rng(seed)
    for number in range(kills):
        path = folder / f"young-{number}.sqlite"
        deadline = time.monotonic() + 30.0
        with _writer(path, 0, number) as writer:
            while not path.exists() and time.monotonic() < deadline:
                time.sleep(0.001)
            time.sleep(float(random.uniform(0.0, 0.3)))
            writer.kill()
        assert path.exists(), "the writer did not even make the file"
        with open_archive(path, simulated=True) as archive:
            assert archive.simulated


def _write_and_kill(path: Path, number: int, after_s: float) -> set[tuple[str, int]]:
    """Start the writer, kill it `after_s` after its first check; the checks that it reported."""
    with _writer(path, number * 1000, number) as writer:
        assert writer.stdout is not None
        lines = [writer.stdout.readline()]
        time.sleep(after_s)
        writer.kill()
        lines += writer.stdout.readlines()
    # The last line may be cut by the kill.
    whole = [line.split() for line in lines if line.endswith("\n")]
    return {(run, int(at)) for run, at in whole}


def _writer(path: Path, first: int, seed: int) -> subprocess.Popen[str]:
    program = [sys.executable, str(Path(__file__).with_name("archive_writer.py"))]
    return subprocess.Popen(
        [*program, str(path), str(first), str(seed)],
        stdout=subprocess.PIPE,
        text=True,
        env={"PYTHONPATH": os.pathsep.join(sys.path)},
    )


def _examine(path: Path, reported: set[tuple[str, int]]) -> None:
    stored: list[tuple[str, int]] = []
    with open_archive(path) as archive:
        for summary in archive.find(Search(limit=10_000)):
            record = archive.load(summary.run_id)
            assert (record.verdict, record.interrupted) == (RunVerdict.INCOMPLETE, NOT_FINISHED)
            for result in record.checks:
                stored.append((record.run_id, int(result.check.removeprefix("check-"))))
                assert len(result.judgements) == 3
                assert len(result.quantities) == 2
                assert len(result.captures) == 2
                # Reading checks the content against its hash.
                assert archive.load_capture(result.captures[0]).origin == "board 17, stream10"
    assert len(stored) == len(set(stored)), "a check is stored twice"
    assert reported <= set(stored), "a check that was reported as stored is missing"
    runs = {run for run, _ in stored}
    assert len(set(stored) - reported) <= len(runs), "more than the check in progress"
    _intact(path)


def _intact(path: Path) -> None:
    with closing(sqlite3.connect(path)) as plain:
        assert plain.execute("PRAGMA integrity_check").fetchone() == ("ok",)
        assert plain.execute("PRAGMA foreign_key_check").fetchall() == []
