"""Speed of lists in an archive of 100,000 records with 40 quantities each.

``python -m pytest tests/benchmarks/test_archive_speed.py -q -s`` prints the figures: medians of 15,
warm, for the first page, one in the middle and the last, of 50 runs each, in a file and on a server
of this machine.  For the file process time counts, so that other work on the machine does not
decide; the time by the clock, which counts for the server, stands in brackets.
"""

import statistics
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "app"))

import large_archive
from archive_examples import check, header
from postgres_server import postgres_server

from rungbench.archive.record import RunVerdict
from rungbench.archive.search import RunSummary, Search
from rungbench.archive.store import Archive, open_archive

LIMIT_S = 0.100
ROUNDS = 15
# Killed runs, whose verdict stands in no column.
WITHOUT_END = 40

SEARCHES = {
    "all": Search(),
    "maker of nearly all": Search(maker="demo works"),
    "maker of 100": Search(maker="Rare Works"),
    "serial prefix of all": Search(serial="d-"),
    "serial prefix of 100": Search(serial="D-0123"),
    "verdict of 96,000": Search(verdict=RunVerdict.PASS),
    "verdict of 10": Search(verdict=RunVerdict.BENCH_FAULT),
    "verdict of those without end": Search(verdict=RunVerdict.INCOMPLETE),
    "since the last month": Search(since=datetime(2024, 11, 15, tzinfo=UTC)),
    "one week of the first year": Search(
        since=datetime(2024, 2, 1, tzinfo=UTC), until=datetime(2024, 2, 8, tzinfo=UTC)
    ),
    "maker, serial, verdict, date": Search(
        maker="demo works",
        serial="d-0",
        verdict=RunVerdict.FAIL,
        since=datetime(2024, 2, 1, tzinfo=UTC),
    ),
    "nothing fits": Search(maker="nobody", verdict=RunVerdict.FAIL),
}


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    path = tmp_path_factory.mktemp("large") / "archive.sqlite"
    started = time.monotonic()
    large_archive.make(path, header())
    print(f"\nmade in {time.monotonic() - started:.0f} s, {path.stat().st_size / 1e9:.2f} GB")
    with open_archive(path, simulated=False) as made:
        for number in range(WITHOUT_END):
            name = f"endless{number:02}-aaaaa"
            made.begin(replace(header(name), started=datetime(2024, 12, 20, tzinfo=UTC)))
            made.add_check(name, check())
    yield path
    path.unlink()


@pytest.fixture(scope="module", params=["file", "server"])
def archive(request: pytest.FixtureRequest, file: Path) -> Iterator[Archive]:
    if request.param == "file":
        with open_archive(file, simulated=False) as made:
            yield made
        return
    with postgres_server(large_archive.SERVER) as server:
        started = time.monotonic()
        address = server.new_database()
        large_archive.copy_to_server(file, address)
        print(f"\ncopied to the server in {time.monotonic() - started:.0f} s")
        with open_archive(address, simulated=False) as made:
            yield made


def took(what: Callable[[], tuple[RunSummary, ...]]) -> tuple[float, float]:
    """Median process time and time by the clock, warm."""
    what()
    worked, waited = [], []
    for _ in range(ROUNDS):
        start, clock = time.process_time(), time.perf_counter()
        what()
        worked.append(time.process_time() - start)
        waited.append(time.perf_counter() - clock)
    return statistics.median(worked), statistics.median(waited)


@pytest.mark.parametrize("name", SEARCHES)
def test_a_page(archive: Archive, name: str) -> None:
    search = SEARCHES[name]
    middle = replace(search, before=large_archive.RUNS // 2)
    last = replace(search, oldest=True)
    times = [took(partial(archive.find, page)) for page in (search, middle, last)]
    found = [len(archive.find(page)) for page in (search, middle, last)]
    told = "; ".join(
        f"{where} {1e3 * worked:.1f} ms ({1e3 * waited:.1f} ms), {count} runs"
        for where, (worked, waited), count in zip(
            ("first", "middle", "last"), times, found, strict=True
        )
    )
    print(f"{name}: {told}")
    # What a server works is not in the time of this process.
    server = not isinstance(archive.place, Path)
    assert max(waited if server else worked for worked, waited in times) < LIMIT_S
    assert (found[0] == 0) == (name == "nothing fits")


def test_pages_hold_every_run_once(archive: Archive) -> None:
    """Forwards from the newest, and backwards from the oldest."""
    search = Search(serial="D-0123", limit=30)
    down: list[int] = []
    while page := archive.find(search):
        down += [one.number for one in page]
        search = replace(search, before=page[-1].number)
    up: list[int] = []
    search = Search(serial="D-0123", limit=30, oldest=True)
    while page := archive.find(search):
        up = [one.number for one in page] + up
        search = replace(search, after=page[0].number)
    assert down == up == sorted(down, reverse=True)
    assert len(down) == 100
