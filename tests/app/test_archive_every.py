"""All runs of an archive, batch by batch: the same as one by one, each once, the oldest first."""

from collections.abc import Iterator
from dataclasses import replace

import pytest
from archive_runs import write
from test_archive_chain import derived

from rungbench.archive.chain import record_hash
from rungbench.archive.errors import NoSuchRecord
from rungbench.archive.expiry import expire
from rungbench.archive.reading import load_records
from rungbench.archive.record import RunVerdict, utc_now
from rungbench.archive.search import Search
from rungbench.archive.store import Archive, open_archive
from rungbench.paths import Place

pytest_plugins = ("archive_places",)

RUNS = tuple(f"run{number}x-bbbbb" for number in range(5))


@pytest.fixture
def archive(archive_place: Place) -> Iterator[Archive]:
    """Five runs, the last without an end; the second was corrected; captures have expired."""
    with open_archive(archive_place, simulated=False) as made:
        for run_id in RUNS:
            write(made, run_id, ends=run_id != RUNS[-1])
        made.add_derived(derived(made.load(RUNS[1]), serial="DEMO-0099"))
        expire(made, utc_now())
        yield made


@pytest.mark.parametrize("batch", [1, 2, 3, 6, 100])
def test_batches_hold_what_one_by_one_gives(archive: Archive, batch: int) -> None:
    found = list(archive.every(Search(), batch))
    names = [*RUNS, "fixed-bbbbb"]
    assert [one.record for one in found] == [archive.load(name) for name in names]
    assert found[1].record.followed_by == ("fixed-bbbbb",)
    assert found[5].record.header.origin is not None
    assert found[0].record.expired
    for one in found:
        # What has no end yet is vouched for by its header only.
        assert one.sha256 == ("" if one.record.run_id == RUNS[-1] else record_hash(one.record))


def test_a_search_narrows_them(archive: Archive) -> None:
    for search, expected in (
        (Search(verdict=RunVerdict.INCOMPLETE), [RUNS[-1]]),
        (Search(serial="DEMO-0099"), ["fixed-bbbbb"]),
        (Search(maker="nobody"), []),
    ):
        assert [one.record.run_id for one in archive.every(search, 1)] == expected


def test_what_begins_meanwhile_does_not_disturb(archive: Archive) -> None:
    found = archive.every(Search(), 2)
    seen = [next(found).record.run_id for _ in range(3)]
    write(archive, "later-bbbbb")
    seen += [one.record.run_id for one in found]
    assert seen == [*RUNS, "fixed-bbbbb", "later-bbbbb"]


def test_records_come_in_the_order_asked_for(archive: Archive) -> None:
    with archive.reading() as connection:
        found = load_records(connection, [3, 1, 2])
        assert [one.run_id for one in found] == [RUNS[2], RUNS[0], RUNS[1]]
        with pytest.raises(NoSuchRecord, match="There is no run of the number 99"):
            load_records(connection, [1, 99])


def test_the_hash_in_an_export_is_that_of_the_chain(archive: Archive) -> None:
    from rungbench.report.digest import known_hash

    (first, *_) = archive.every(Search())
    assert known_hash(first) == known_hash(first.record)
    assert known_hash(replace(first, sha256="f" * 64))[1] == "f" * 64
