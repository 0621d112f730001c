"""The full plan, broken off at random moments: on open, recorded, and the next run starts clean.

The ordinary run takes one moment of each kind and a plan whose checks need no long computing;
``-m slow`` ten of each and the plan as it ships.
"""

import signal
import subprocess
import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from plan_sections import section
from qualify_runs import Run, last

from rungbench.archive.record import NOT_FINISHED, Record, RunVerdict
from rungbench.archive.search import Search
from rungbench.archive.store import open_archive
from rungbench.qualify.case import Case, Finding
from rungbench.qualify.checks import CHECK_KINDS
from rungbench.qualify.checks.kind import CheckKind
from rungbench.qualify.plan import Plan
from rungbench.qualify.plan_file import load_plan
from rungbench.qualify.stop import Stop, on_ctrl_c

FULL = load_plan("full")
# Board seconds and messages of the whole plan on a sound charger, roughly.
BOARD_S, MESSAGES = 280.0, 68_000
FEW = [(kind, 10) for kind in ("link", "ctrl-c", "check")]
MANY = [(kind, number) for kind in ("link", "ctrl-c", "check") for number in range(10)]


class Mishap(RuntimeError):
    """Something that nobody foresaw."""


def light() -> Plan:
    """The full plan with the checks only that need mains senses."""
    kept = tuple(one.id for one in FULL.checks if CHECK_KINDS[one.kind].senses_mains)
    return section(*(step.name for step in FULL.steps), checks=kept)


class StopAt(Stop):
    """Ctrl-C while the stand-in waits for a certain message."""

    def __init__(self, number: int) -> None:
        super().__init__()
        self._left = number

    def check(self) -> None:
        self._left -= 1
        if self._left == 0:
            signal.raise_signal(signal.SIGINT)
        super().check()


def trip_at(number: int, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let the check that is judged as number `number` raise what nobody foresaw."""
    left = [number]

    def tripping(kind: CheckKind) -> CheckKind:
        def judged(case: Case) -> Finding:
            left[0] -= 1
            if left[0] == 0:
                raise Mishap("of a kind")
            return kind.judge(case)

        return replace(kind, judge=judged)

    for name, kind in list(CHECK_KINDS.items()):
        monkeypatch.setitem(CHECK_KINDS, name, tripping(kind))


def records_in(archive: Path) -> list[Record]:
    with open_archive(archive, simulated=True) as kept:
        return [kept.load(one.run_id) for one in kept.find(Search())]


def broken_off(kind: str, number: int, run: Run, monkeypatch: pytest.MonkeyPatch) -> None:
    """Run until the trouble of this kind, at a moment that belongs to the number."""
    moment = float(np.random.default_rng((5, number, ord(kind[0]))).uniform(0.02, 0.95))
    if kind == "link":
        run.keys = f"unplug_after_s={moment * BOARD_S:.3f}"
        run.record()
    elif kind == "ctrl-c":
        run.stop = StopAt(round(moment * MESSAGES))
        with on_ctrl_c(run.stop):
            run.record()
    else:
        with monkeypatch.context() as patched:
            trip_at(max(1, round(moment * len(run.plan.checks) * 0.9)), patched)
            with pytest.raises(Mishap):
                run.record()


def examine(kind: str, run: Run) -> None:
    """On open, recorded as interrupted, nobody accused; and the next run is as if nothing was."""
    (record,) = records_in(run.archive)
    assert record.interrupted is not None
    said = {"link": "USB", "ctrl-c": "Stopped by Ctrl-C.", "check": "Mishap: of a kind"}[kind]
    assert said in record.interrupted
    assert record.finished is not None
    assert set(last(record)) == set(record.header.planned), "each check says what became of it"
    assert not any(result.verdict == "fail" for result in record.checks)
    assert record.verdict in (RunVerdict.INCOMPLETE, RunVerdict.BENCH_FAULT)
    if kind == "link":
        assert run.bench is not None
        run.bench.advance(1.5)  # without keep-alive the board opens within a second
    else:
        assert last(record)["outlet-dead"].verdict == "pass"
        assert record.make_safe["watched_s"] >= 5.0
    assert run.presents_nothing()
    follows(run)


def follows(run: Run) -> None:
    """Another charger on the same archive."""
    before = {record.run_id for record in records_in(run.archive)}
    plan = section("open", "B", checks=("no-mains-open", "no-mains-b", "frequency-b"))
    record = Run(run.folder, plan=plan).record()
    assert record.verdict is RunVerdict.PASS
    assert {one.run_id for one in records_in(run.archive)} == before | {record.run_id}


@pytest.mark.parametrize(("kind", "number"), FEW)
def test_a_run_that_breaks_off(
    kind: str, number: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run = Run(tmp_path, plan=light(), helped=True)
    broken_off(kind, number, run, monkeypatch)
    examine(kind, run)


@pytest.mark.slow
@pytest.mark.parametrize(("kind", "number"), MANY)
def test_the_full_plan_breaks_off(
    kind: str, number: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    run = Run(tmp_path, plan=FULL, helped=True)
    broken_off(kind, number, run, monkeypatch)
    examine(kind, run)


def killed(archive: Path, after_s: float) -> None:
    """The program with the full plan, killed some time after it began its record."""
    words = ("qualify", "--bench", "sim://sound?speed=max", "--plan", "full")
    program = subprocess.Popen(
        [sys.executable, "-m", "rungbench", *words, "--archive", str(archive)],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
    )
    with program:
        assert program.stdout is not None
        first = program.stdout.readline()
        time.sleep(after_s)
        program.kill()
        program.stdout.read()
    assert first.startswith("Record "), first
    assert program.returncode == -signal.SIGKILL


def examine_kills(run: Run, kills: int) -> None:
    """Each kill left its record, which had no end; its board is gone with it."""
    records = records_in(run.archive)
    assert len(records) == kills
    for record in records:
        assert record.finished is None
        assert record.interrupted == NOT_FINISHED
        assert record.verdict is RunVerdict.INCOMPLETE
        assert not any(result.verdict in ("fail", "bench fault") for result in record.checks)
    follows(run)


@pytest.mark.skipif(sys.platform == "win32", reason="there is no SIGKILL")
def test_a_program_that_is_killed(tmp_path: Path) -> None:
    run = Run(tmp_path)
    killed(run.archive, 0.7)
    examine_kills(run, 1)


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="there is no SIGKILL")
def test_ten_programs_that_are_killed(tmp_path: Path) -> None:
    run = Run(tmp_path)
    for after_s in np.random.default_rng(9).uniform(0.0, 4.0, 10):
        killed(run.archive, float(after_s))
    examine_kills(run, 10)
    with_checks = [record for record in records_in(run.archive) if len(record.checks) > 5]
    assert with_checks, "none was killed late enough to have measured anything"
