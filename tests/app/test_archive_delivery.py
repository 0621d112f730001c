"""Runs whose archive failed are kept, and delivered later: in order, each once."""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from archive_examples import check, counts
from archive_runs import END, of_board, write
from postgres_server import PostgresServer, postgres_server
from test_archive_chain import derived

from rungbench.archive.chain import Kind
from rungbench.archive.delivery import Delivered, deliver
from rungbench.archive.errors import ArchiveError
from rungbench.archive.kept import kept_file, kept_files, mark_delivered
from rungbench.archive.links import chains_of, links_of
from rungbench.archive.record import RunVerdict
from rungbench.archive.store import Archive, open_archive
from rungbench.archive.verify import verify
from rungbench.archive.writer import open_for_run
from rungbench.paths import Place, Server

pytest_plugins = ("archive_places",)


@pytest.fixture
def target(archive_place: Place) -> Iterator[Archive]:
    with open_archive(archive_place, simulated=False) as made:
        yield made


@pytest.fixture
def kept(tmp_path: Path) -> Iterator[Archive]:
    with open_archive(tmp_path / "kept.sqlite", simulated=False) as made:
        yield made


@pytest.fixture
def own_server() -> Iterator[PostgresServer]:
    """A server that may be stopped without harm to other tests."""
    with postgres_server() as server:
        yield server


def test_delivered_whole_and_once(kept: Archive, target: Archive) -> None:
    write(kept, "first-bbbbb")
    write(kept, "secnd-bbbbb")
    kept.add_derived(derived(kept.load("secnd-bbbbb"), serial="DEMO-0099"))
    assert list(deliver(kept, target)) == [
        Delivered("first-bbbbb", 2, True),
        Delivered("secnd-bbbbb", 2, True),
        Delivered("fixed-bbbbb", 2, True),
    ]
    assert [one.checks for one in deliver(kept, target)] == [0, 0, 0]
    for name in ("first-bbbbb", "secnd-bbbbb", "fixed-bbbbb"):
        assert target.load(name) == kept.load(name)
    found = verify(target)
    assert (found.sound, found.chains[0].last) == (True, 5)


def test_a_check_that_is_another_one_there_is_refused(kept: Archive, target: Archive) -> None:
    write(kept, "first-bbbbb")
    target.begin(of_board("first-bbbbb"))
    key = target.add_capture("first-bbbbb", counts(seed=len("first-bbbbb")), "samples")
    target.add_check("first-bbbbb", replace(check(), captures=(key,)))
    with pytest.raises(ArchiveError, match="is another one in the archive"):
        list(deliver(kept, target))


def test_a_delivery_that_broke_off_goes_on(kept: Archive, target: Archive) -> None:
    write(kept, "first-bbbbb")
    record = kept.load("first-bbbbb")
    target.begin(record.header)
    for name, key in record.capture_names:
        target.add_capture("first-bbbbb", kept.load_capture(key), name)
    target.add_check("first-bbbbb", record.checks[0])
    # Meanwhile the bench went on.
    write(target, "after-bbbbb")
    assert list(deliver(kept, target)) == [Delivered("first-bbbbb", 1, True)]
    assert target.load("first-bbbbb") == record
    assert verify(target).sound
    with target.reading() as connection:
        (chain,) = chains_of(connection)
        last = [(link.record, link.kind) for link, _ in links_of(connection, chain)][-1]
    assert last == ("first-bbbbb", Kind.ENDED)


def test_a_run_in_progress_is_delivered_as_far_as_it_is(kept: Archive, target: Archive) -> None:
    write(kept, "first-bbbbb", ends=False)
    assert list(deliver(kept, target)) == [Delivered("first-bbbbb", 2, False)]
    kept.add_check("first-bbbbb", check("late"))
    kept.finish("first-bbbbb", RunVerdict.PASS, END)
    assert list(deliver(kept, target)) == [Delivered("first-bbbbb", 1, True)]
    assert target.load("first-bbbbb") == kept.load("first-bbbbb")


def test_another_run_of_the_same_id_is_refused(kept: Archive, target: Archive) -> None:
    write(kept, "first-bbbbb")
    target.begin(replace(of_board("first-bbbbb"), plan="other"))
    with pytest.raises(ArchiveError, match="is another one in the archive than here"):
        list(deliver(kept, target))
    assert target.load("first-bbbbb").checks == ()


def test_names_of_kept_runs_count_upwards_whatever_the_clock(tmp_path: Path) -> None:
    for name in ("bbbbb-bbbbb", "aaaaa-bbbbb", "ccccc-bbbbb"):
        kept_file(tmp_path, name).write_bytes(b"")
    (tmp_path / "rungbench-notes.sqlite").write_bytes(b"")
    waiting = kept_files([tmp_path, tmp_path / "missing"])
    assert [path.name[15:20] for path in waiting] == ["bbbbb", "aaaaa", "ccccc"]
    assert mark_delivered(waiting[2]).exists()
    assert len(kept_files([tmp_path])) == 2


def test_a_server_that_stops_during_a_run(own_server: PostgresServer, tmp_path: Path) -> None:
    place = Server(own_server.new_database())
    folder = tmp_path / "kept"
    with open_for_run(place, simulated=False, folders=(folder,)) as archive:
        archive.begin(of_board("first-bbbbb"))
        archive.add_capture("first-bbbbb", counts(), "samples")
        archive.add_check("first-bbbbb", check())
        own_server.stop()
        archive.add_check("first-bbbbb", check("late"))
        archive.finish("first-bbbbb", RunVerdict.PASS, END)
        assert archive.problem is not None
        assert "does not answer; check that it runs" in archive.problem
        assert "The run is kept in" in archive.problem
        assert "records push" in archive.problem
        whole = archive.load("first-bbbbb")
    with pytest.raises(ArchiveError, match="does not answer"):
        open_archive(place, simulated=False)
    own_server.start()
    (file,) = kept_files([folder])
    with open_archive(file) as source, open_archive(place) as target:
        assert [one.check for one in target.load("first-bbbbb").checks] == ["frequency"]
        assert list(deliver(source, target)) == [Delivered("first-bbbbb", 1, True)]
        assert target.load("first-bbbbb") == whole
        assert verify(target).sound
