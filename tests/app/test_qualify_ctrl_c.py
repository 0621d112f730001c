"""Ctrl-C pressed more than once: the record still gets its end, and the stand-in its `open`."""

import signal
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pytest
from qualify_runs import Run, last

from rungbench.archive.record import RunVerdict
from rungbench.archive.search import Search
from rungbench.archive.store import open_archive
from rungbench.errors import Interrupted
from rungbench.qualify.progress import CheckDone, MakingSafe, Told
from rungbench.qualify.stop import Stop, on_ctrl_c


def test_each_later_ctrl_c_only_insists_while_a_run_is_waited_for() -> None:
    stop = Stop()
    with on_ctrl_c(stop), stop.patiently():
        stop.hurry()
        signal.raise_signal(signal.SIGINT)
        stop.hurry()
        with pytest.raises(Interrupted):
            stop.check()
        for _ in range(5):
            signal.raise_signal(signal.SIGINT)
        with pytest.raises(KeyboardInterrupt):
            stop.hurry()


def test_the_second_interrupts_at_once_where_no_run_goes_on() -> None:
    stop = Stop()
    with on_ctrl_c(stop):
        with stop.patiently():
            signal.raise_signal(signal.SIGINT)
        with pytest.raises(KeyboardInterrupt):
            signal.raise_signal(signal.SIGINT)


@pytest.mark.parametrize("when", ["in a check", "while it is watched", "after every check"])
def test_hammering_ctrl_c(when: str, tmp_path: Path) -> None:
    """The end of the record is written whenever the second, third and tenth Ctrl-C come."""
    run = Run(tmp_path)

    class Hammering(list[Told]):
        def append(self, told: Told) -> None:
            in_check = isinstance(told, CheckDone) and told.result.check == "frequency-b"
            late = isinstance(told, MakingSafe)
            every = isinstance(told, CheckDone) and run.stop.wished
            if in_check or (when == "while it is watched" and late):
                for _ in range(1 if when == "after every check" else 10):
                    signal.raise_signal(signal.SIGINT)
            if when == "after every check" and every:
                signal.raise_signal(signal.SIGINT)
            super().append(told)

    run.told = Hammering()
    with on_ctrl_c(run.stop), run.stop.patiently():
        record = run.record()
    assert record.finished is not None
    assert record.interrupted == "Stopped by Ctrl-C."
    assert record.verdict is RunVerdict.INCOMPLETE
    assert set(last(record)) == set(record.header.planned)
    assert "cut short by a second Ctrl-C" in record.make_safe["problem"]
    assert last(record)["outlet-dead"].verdict == "not run"
    assert run.presents_nothing()


def three_times(archive: Path, after_s: float) -> int:
    """The program with the full plan, sent three Ctrl-Cs within 0.3 s; its exit status."""
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
        for _ in range(3):
            program.send_signal(signal.SIGINT)
            time.sleep(0.1)
        program.stdout.read()
    assert first.startswith("Record "), first
    return program.returncode


def examine(archive: Path) -> None:
    """Every record has an end, and its verdict comes from what was measured."""
    with open_archive(archive, simulated=True) as kept:
        records = [kept.load(one.run_id) for one in kept.find(Search())]
    assert records
    for record in records:
        assert record.finished is not None
        assert record.interrupted == "Stopped by Ctrl-C."
        assert record.verdict is RunVerdict.INCOMPLETE
        assert set(last(record)) == set(record.header.planned)


@pytest.mark.skipif(sys.platform == "win32", reason="signals are sent otherwise there")
def test_three_within_a_third_of_a_second(tmp_path: Path) -> None:
    assert three_times(tmp_path / "demo.sqlite", 0.6) == 3
    examine(tmp_path / "demo.sqlite")


@pytest.mark.slow
@pytest.mark.skipif(sys.platform == "win32", reason="signals are sent otherwise there")
def test_three_within_a_third_of_a_second_at_ten_moments(tmp_path: Path) -> None:
    for after_s in np.random.default_rng(11).uniform(0.0, 3.0, 10):
        assert three_times(tmp_path / "demo.sqlite", float(after_s)) == 3
    examine(tmp_path / "demo.sqlite")
