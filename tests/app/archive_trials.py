"""Faults that an archive must survive, each tried so often, and what came of it in figures.

``python tests/app/archive_trials.py`` prints all of them; it takes some minutes, and more is tried
as root, who alone may mount a small disk.
"""

import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from unittest.mock import patch

import numpy as np
from archive_examples import CALIBRATION, check, counts, header
from archive_writer import CHECKS
from postgres_server import PostgresServer, available, postgres_server

from pilotsignal.capture import Capture
from rungbench.archive import links
from rungbench.archive.delivery import deliver
from rungbench.archive.errors import ArchiveError
from rungbench.archive.kept import kept_files
from rungbench.archive.record import RunVerdict, utc_now
from rungbench.archive.search import Search
from rungbench.archive.store import Archive, open_archive
from rungbench.archive.verify import verify
from rungbench.archive.writer import open_for_run
from rungbench.paths import Place, Server

Checks = list[tuple[str, str]]
NOBODY = 65534


@dataclass(frozen=True)
class Figures:
    """`completed` checks were reported as stored; of them some may be `lost` or `doubled`."""

    fault: str
    times: int
    completed: int
    stored: int
    lost: int
    doubled: int
    sound: bool
    note: str = ""

    def line(self) -> str:
        sound = "chains sound" if self.sound else "CHAINS BROKEN"
        note = f"; {self.note}" if self.note else ""
        return (
            f"{self.fault}: {self.times} times, {self.completed} checks completed, "
            f"{self.stored} stored, {self.lost} lost, {self.doubled} doubled, {sound}{note}"
        )

    @property
    def good(self) -> bool:
        return self.sound and not self.lost and not self.doubled and self.completed > 0


def figures(fault: str, times: int, reported: Checks, place: Place, note: str = "") -> Figures:
    """Compare what was reported as completed with what the archive holds."""
    with open_archive(place) as archive:
        stored = stored_checks(archive)
        sound = verify(archive).sound
    return Figures(
        fault,
        times,
        len(reported),
        len(stored),
        len(set(reported) - set(stored)),
        len(stored) - len(set(stored)),
        sound,
        note,
    )


def stored_checks(archive: Archive) -> Checks:
    found: Checks = []
    for summary in archive.find(Search(limit=100_000)):
        record = archive.load(summary.run_id)
        found += [(record.run_id, one.check) for one in record.checks]
        for result in record.checks:
            # Nothing by halves: all that belongs to a check came with it.
            assert len(result.judgements) == 3
            assert len(result.quantities) == 2
    return found


# Killed -------------------------------------------------------------------------------------------


def killed(place: Place, times: int, seed: int) -> Figures:
    """A writer killed with signal 9 at random moments, over and over on one archive."""
    random = np.random.default_rng(seed)
    reported: Checks = []
    for number in range(times):
        with writer(place, number * 100, number) as process:
            assert process.stdout is not None
            lines = [process.stdout.readline()]
            time.sleep(float(random.uniform(0.0, 0.15)))
            process.kill()
            lines += process.stdout.readlines()
        # The last line may be cut by the kill.
        reported += checks_of(line for line in lines if line.endswith("\n"))
    return figures(f"kill -9, {_where(place)}", times, reported, place)


def killed_at_birth(folder: Path, times: int, seed: int) -> int:
    """Killed while file and tables are being made; returns how many archives can be opened."""
    random = np.random.default_rng(seed)
    opened = 0
    for number in range(times):
        path = folder / f"young-{number}.sqlite"
        with writer(path, 0, number) as process:
            while not path.exists() and process.poll() is None:
                time.sleep(0.001)
            time.sleep(float(random.uniform(0.0, 0.4)))
            process.kill()
        with open_archive(path, simulated=True) as archive:
            opened += verify(archive).sound
    return opened


def writer(place: Place, first: int, seed: int, *more: str) -> subprocess.Popen[str]:
    address = place.url if isinstance(place, Server) else str(place)
    program = [sys.executable, str(Path(__file__).with_name("archive_writer.py"))]
    return subprocess.Popen(
        [*program, address, str(first), str(seed), *more],
        stdout=subprocess.PIPE,
        text=True,
        env={"PYTHONPATH": os.pathsep.join(sys.path)},
    )


def checks_of(lines: Iterator[str]) -> Checks:
    return [(run, f"check-{at}") for run, at in (line.split() for line in lines)]


# Together -----------------------------------------------------------------------------------------


def together(place: Place, runs: int) -> Figures:
    """Two benches write at once, each from a process of its own."""
    with ExitStack() as stack:
        benches = [
            stack.enter_context(writer(place, 0, seed, board, str(runs)))
            for seed, board in ((1, "17"), (2, "18"))
        ]
        reported: Checks = []
        for bench in benches:
            said, _ = bench.communicate()
            assert bench.returncode == 0
            reported += checks_of(iter(said.splitlines()))
    with open_archive(place) as archive:
        passed = len(archive.find(Search(verdict=RunVerdict.PASS, limit=10_000)))
        chains = sorted((one.bench, one.records) for one in verify(archive).chains)
    note = f"{passed} runs of {2 * runs} ended, chains {chains}"
    return figures(f"two benches at once, {_where(place)}", 1, reported, place, note)


# No room, no right --------------------------------------------------------------------------------


def full_disk(folder: Path, times: int) -> Figures | None:
    """A disk of 2 MB fills during a run; the run goes on elsewhere and is delivered once."""
    disk, kept, whole = folder / "disk", folder / "kept", folder / "whole.sqlite"
    disk.mkdir()
    reported: Checks = []
    told = 0
    if not _mounted(disk, "2m"):
        return None
    try:
        for number in range(times):
            path = disk / f"a{number}.sqlite"
            with open_for_run(path, simulated=True, folders=(kept,)) as archive:
                reported += _run(archive, f"{number:05d}-17aaa", number)
                told += archive.problem is not None
            with open_archive(whole, simulated=True) as target, open_archive(path) as rest:
                list(deliver(rest, target))
                for file in kept_files([kept]):
                    with open_archive(file) as source:
                        list(deliver(source, target))
            for file in disk.iterdir():
                file.unlink()
    finally:
        subprocess.run(["umount", str(disk)], check=True)
    note = f"{told} runs kept elsewhere and delivered later"
    return figures("full disk of 2 MB", times, reported, whole, note)


def _run(archive: Archive, run: str, seed: int) -> Checks:
    """A run with captures of noise, which nothing can compress."""
    archive.begin(replace(header(run, simulated=True), board={"board_id": "17"}))
    done: Checks = []
    for at in range(CHECKS):
        raw = np.random.default_rng(seed * 100 + at).integers(0, 65_536, 60_000, np.uint16)
        noise = Capture.from_counts(raw, 1e-5, "noise", calibration=CALIBRATION)
        key = archive.add_capture(run, noise, f"samples {at}")
        archive.add_check(run, replace(check(f"check-{at}"), captures=(key,)))
        done.append((run, f"check-{at}"))
    archive.finish(run, RunVerdict.PASS, utc_now())
    return done


def _mounted(disk: Path, size: str) -> bool:
    mount = ["mount", "-t", "tmpfs", "-o", f"size={size}", "tmpfs", str(disk)]
    if os.geteuid() != 0:
        return False
    return subprocess.run(mount, capture_output=True, check=False).returncode == 0


def read_only(folder: Path, times: int) -> Figures:
    """A folder that may not be written: nothing begins there, and what it holds can be read."""
    folder.chmod(0o755)
    path = folder / "a.sqlite"
    with open_archive(path, simulated=True) as archive:
        reported = _run(archive, "00000-17aaa", 1)
    path.chmod(0o444)
    folder.chmod(0o555)
    refused = 0
    with _nobody():
        for number in range(times):
            with open_archive(path) as archive:
                try:
                    archive.begin(header(f"{number:05d}-bbbbb", simulated=True))
                except ArchiveError as problem:
                    refused += "may not be written; get the right" in str(problem)
            try:
                open_archive(folder / "new.sqlite", simulated=True)
            except ArchiveError as problem:
                refused += "cannot be made (Permission denied)" in str(problem)
        found = figures("read-only folder", times, reported, path)
    folder.chmod(0o755)
    return replace(found, note=f"{refused} of {2 * times} attempts to write refused in a sentence")


@contextmanager
def _nobody() -> Iterator[None]:
    """As somebody without rights, even if root tries."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(NOBODY)
    try:
        yield
    finally:
        os.seteuid(0)


# Clock and server ---------------------------------------------------------------------------------


def clock_back(place: Place, times: int) -> Figures:
    """The clock is an hour earlier at each entry: order and chains do not come from it."""
    now = datetime(2025, 7, 11, 14, 0, tzinfo=UTC)
    moments = iter([now - timedelta(hours=hour) for hour in range(10 * times + 10)])
    reported: Checks = []
    with (
        patch.object(links, "utc_now", lambda: next(moments)),
        open_archive(place, simulated=True) as archive,
    ):
        for number in range(times):
            run = f"{number:05d}-17aaa"
            started = now - timedelta(days=number)
            archive.begin(replace(header(run, simulated=True), started=started))
            archive.add_check(run, check("check-0"))
            reported.append((run, "check-0"))
            archive.finish(run, RunVerdict.PASS, started - timedelta(seconds=5))
        order = [one.run_id for one in archive.find(Search(limit=1000))]
    right = order == [f"{number:05d}-17aaa" for number in reversed(range(times))]
    note = f"listed in the order in which they were run: {right}"
    return figures(f"clock set back, {_where(place)}", times, reported, place, note)


def server_stops(server: PostgresServer, folder: Path, times: int, seed: int) -> Figures:
    """The server stops at a random check of a run; the run is kept, and delivered later."""
    random = np.random.default_rng(seed)
    place = Server(server.new_database())
    reported: Checks = []
    told = 0
    for number in range(times):
        run, at = f"{number:05d}-17aaa", int(random.integers(0, CHECKS))
        with open_for_run(place, simulated=True, folders=(folder,)) as archive:
            archive.begin(replace(header(run, simulated=True), board={"board_id": "17"}))
            for done in range(CHECKS):
                if done == at:
                    server.stop()
                key = archive.add_capture(run, counts(2000, number * 50 + done), f"s {done}")
                archive.add_check(run, replace(check(f"check-{done}"), captures=(key,)))
                reported.append((run, f"check-{done}"))
            archive.finish(run, RunVerdict.PASS, utc_now())
            told += "The run is kept in" in (archive.problem or "")
        server.start()
    new = 0
    for _ in range(2):
        # The second time nothing is new.
        for file in kept_files([folder]):
            with open_archive(file) as source, open_archive(place) as target:
                new += sum(one.checks for one in deliver(source, target))
    with open_archive(place) as archive:
        order = [one.run_id for one in reversed(archive.find(Search(limit=1000)))]
    note = (
        f"{told} runs kept and said so, {new} checks delivered later, "
        f"in order: {order == sorted(order)}"
    )
    return figures("PostgreSQL stopped during a run", times, reported, place, note)


def _where(place: Place) -> str:
    return "SQLite" if isinstance(place, Path) else "PostgreSQL"


# All of them --------------------------------------------------------------------------------------


def every(folder: Path, server: PostgresServer | None, share: float = 1.0) -> Iterator[Figures]:
    """All trials; `share` of the full number of times each."""

    def times(full: int) -> int:
        return max(1, round(full * share))

    def new(name: str) -> Path:
        made = folder / name
        made.mkdir()
        return made

    yield killed(folder / "killed.sqlite", times(170), 1)
    yield clock_back(folder / "clock.sqlite", times(50))
    yield together(folder / "together.sqlite", times(20))
    full = full_disk(new("full"), times(10))
    if full is not None:
        yield full
    yield read_only(new("read-only"), times(20))
    if server is not None:
        yield killed(Server(server.new_database()), times(30), 2)
        yield clock_back(Server(server.new_database()), times(50))
        yield together(Server(server.new_database()), times(20))
        yield server_stops(server, new("kept"), times(20), 3)


def main() -> int:
    bad = 0
    say = partial(print, flush=True)
    with ExitStack() as stack:
        folder = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="rungbench-trials-")))
        folder.chmod(0o755)
        server = stack.enter_context(postgres_server()) if available() else None
        opened = killed_at_birth(folder, 30, 4)
        say(f"kill -9 while the archive is being made: {opened} of 30 open and are sound")
        for found in every(folder, server):
            say(found.line())
            bad += not found.good
    if server is None:
        say("PostgreSQL is not installed: nothing was tried with it")
    say(f"{bad} trials came out wrong" if bad or opened < 30 else "all came out right")
    return int(bad > 0 or opened < 30)


if __name__ == "__main__":
    sys.exit(main())
