"""Speed and memory of exports from an archive of 100,000 records with 40 quantities each.

``python -m pytest tests/benchmarks/test_export_speed.py -q -s`` prints the figures, by processor
time of this process.  The archive is made once in a temporary folder (3 GB).  ``EXPORTED=100000``
exports that many runs instead of the newest 2,000.
"""

import os
import sys
import time
import tracemalloc
from collections.abc import Callable, Iterable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[1] / "app"))

import large_archive
from archive_examples import header, quantity

from rungbench.archive.search import Search
from rungbench.archive.store import Archive, Entered, open_archive
from rungbench.report.export_csv import csv_chunks
from rungbench.report.export_json import export_chunks

EXPORTED = int(os.environ.get("EXPORTED", "2000"))
# Runs a second of one processor; slower than that nobody waits for a hundred thousand.
SLOWEST = {"csv": 100.0, "json": 50.0}
# Whatever the number of runs; a batch of 100 of them is a few megabytes.
MEMORY_BYTES = 60e6

Export = Callable[[Iterable[Entered]], Iterator[bytes]]


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Archive]:
    path = tmp_path_factory.mktemp("large") / "archive.sqlite"
    budget = [row.as_dict() for row in quantity().rows]
    large_archive.make(path, header(), budget)
    print(f"\n{path.stat().st_size / 1e9:.2f} GB, {len(budget)} rows in each budget")
    with open_archive(path, simulated=False) as made:
        yield made
    path.unlink()


def newest() -> Search:
    """One run every five minutes since the beginning of 2024."""
    ago = timedelta(minutes=5) * (large_archive.RUNS - EXPORTED + 1)
    return Search(since=datetime(2024, 1, 1, tzinfo=UTC) + ago)


def exported(archive: Archive, export: Export) -> tuple[int, int]:
    """Runs and bytes."""
    seen = 0

    def counted() -> Iterator[Entered]:
        nonlocal seen
        for record in archive.every(newest()):
            seen += 1
            yield record

    size = sum(len(chunk) for chunk in export(counted()))
    return seen, size


@pytest.mark.parametrize(("name", "export"), [("csv", csv_chunks), ("json", export_chunks)])
def test_an_export(archive: Archive, name: str, export: Export) -> None:
    start, clock = time.process_time(), time.perf_counter()
    runs, size = exported(archive, export)
    busy, waited = time.process_time() - start, time.perf_counter() - clock
    told = f"{runs} runs, {size / 1e6:.1f} MB, {busy:.1f} s of one processor ({waited:.1f} s)"
    print(f"{name}: {told}, {runs / busy:.0f} runs a second")
    assert runs == EXPORTED
    assert runs / busy > SLOWEST[name]


@pytest.mark.parametrize(("name", "export"), [("csv", csv_chunks), ("json", export_chunks)])
def test_memory_does_not_grow_with_the_number_of_runs(
    archive: Archive, name: str, export: Export
) -> None:
    records = archive.every(newest())
    tracemalloc.start()
    for _ in zip(export(records), range(600), strict=False):
        pass
    _, most = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    print(f"{name}: at most {most / 1e6:.1f} MB while 600 runs go by")
    assert most < MEMORY_BYTES
