"""Speed of a lot's statistics in an archive of 100,000 records with 40 quantities each.

``python -m pytest tests/benchmarks/test_lot_statistics.py -q -s`` prints the figures.  The archive
is made once in a temporary folder (2 GB).  The best of several rounds of process time counts, so
that other work on the machine does not decide; nothing waits for a disk, since all is warm.
"""

import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from statistics import median

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "app"))

import large_archive
from archive_examples import header
from postgres_server import postgres_server

from rungbench.archive.store import Archive, open_archive
from rungbench.lots.failures import failures_in
from rungbench.lots.store import Lots
from rungbench.lots.variables import summaries_in, trend_in, variables_in

LIMIT_S = 0.300
ROUNDS = 7
QUANTITY = "check-05:quantity_10_v"
FIRST, LARGE = "L1", f"L{large_archive.LOTS}"


@pytest.fixture(scope="module")
def file(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Path]:
    path = tmp_path_factory.mktemp("large") / "archive.sqlite"
    started = time.monotonic()
    large_archive.make(path, header())
    print(f"\nmade in {time.monotonic() - started:.0f} s, {path.stat().st_size / 1e9:.2f} GB")
    yield path
    path.unlink()


@pytest.fixture(scope="module", params=["file", "server"])
def archive(request: pytest.FixtureRequest, file: Path) -> Iterator[Archive]:
    if request.param == "file":
        with open_archive(file, simulated=False) as made:
            assert made.count() == large_archive.RUNS
            yield made
        return
    with postgres_server(large_archive.SERVER) as server:
        address = server.new_database()
        large_archive.copy_to_server(file, address)
        with open_archive(address, simulated=False) as made:
            yield made


def took(archive: Archive, name: str, what: Callable[[], object]) -> float:
    """Least processor time of `what`, warm, in seconds; the wall clock is printed beside it."""
    what()
    wall, busy = [], []
    for _ in range(ROUNDS):
        at, before = time.perf_counter(), time.process_time()
        what()
        busy.append(time.process_time() - before)
        wall.append(time.perf_counter() - at)
    print(
        f"{name}: {1e3 * min(busy):.1f} ms of one processor (median {1e3 * median(busy):.1f}; by "
        f"the clock {1e3 * min(wall):.1f} to {1e3 * max(wall):.1f})"
    )
    # What a server works is not in the time of this process.
    return min(busy if isinstance(archive.place, Path) else wall)


def test_statistics_of_a_lot(archive: Archive) -> None:
    lots = Lots(archive)

    def everything(name: str) -> int:
        state = lots.state(name)
        return len(failures_in(archive, state)) + len(summaries_in(archive, [state]))

    assert everything(FIRST) >= large_archive.QUANTITIES
    assert took(archive, "decision of 50 units", lambda: lots.state(FIRST)) < LIMIT_S
    assert took(archive, "decision of 500 units", lambda: lots.state(LARGE)) < LIMIT_S
    assert took(archive, "all 40 quantities of 50 units", lambda: everything(FIRST)) < LIMIT_S
    assert took(archive, "all 40 quantities of 500 units", lambda: everything(LARGE)) < LIMIT_S


def test_one_quantity(archive: Archive) -> None:
    lots = Lots(archive)

    def one(name: str) -> int:
        found = variables_in(archive, [lots.state(name)], QUANTITY)
        assert found.control is not None
        return len(found.series.values)

    assert (one(FIRST), one(LARGE)) == (50, 500)
    assert took(archive, "one quantity of 50 units", lambda: one(FIRST)) < LIMIT_S
    assert took(archive, "one quantity of 500 units", lambda: one(LARGE)) < LIMIT_S


def test_a_supplier(archive: Archive) -> None:
    lots = Lots(archive)
    supplier = large_archive.SUPPLIERS[0]

    def trend() -> int:
        return len(trend_in(archive, lots.states(supplier), QUANTITY).whole.series.values)

    # Ten runs of lot 7 ended in a bench fault and do not count.
    assert trend() == 50 * large_archive.OF_FIRST_SUPPLIER - 10
    assert took(archive, "list of all 100 lots", lots.states) < 1.0
    assert took(archive, "one quantity of 40 lots, 2000 units", trend) < 1.0
