"""Copies of archives: backed up, put back, handed on, taken in."""

import stat
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
import sqlalchemy as sa
from archive_examples import check, counts
from archive_runs import END, of_board, write
from postgres_server import PostgresServer
from test_archive_chain import derived, tamper

from rungbench.archive import schema
from rungbench.archive.backup import back_up, put_back
from rungbench.archive.errors import ArchiveError
from rungbench.archive.expiry import expire
from rungbench.archive.handing_on import Handed, hand_on, take_in
from rungbench.archive.record import RunVerdict
from rungbench.archive.search import Search
from rungbench.archive.store import Archive, open_archive
from rungbench.archive.verify import verify
from rungbench.paths import Place

pytest_plugins = ("archive_places",)

RUNS = ("first-bbbbb", "secnd-bbbbb", "third-bbbbb", "forth-bbbbb")


@pytest.fixture
def archive(archive_place: Place) -> Iterator[Archive]:
    with open_archive(archive_place, simulated=False) as made:
        for run_id in RUNS:
            write(made, run_id)
        yield made


@pytest.fixture
def other(tmp_path: Path) -> Iterator[Archive]:
    with open_archive(tmp_path / "other.sqlite", simulated=False) as made:
        yield made


@pytest.fixture
def in_file(tmp_path: Path) -> Iterator[Archive]:
    with open_archive(tmp_path / "archive.sqlite", simulated=False) as made:
        for run_id in RUNS:
            write(made, run_id)
        yield made


def ids(archive: Archive) -> list[str]:
    return [one.run_id for one in reversed(archive.find(Search()))]


def rows(archive: Archive) -> dict[str, int]:
    with archive.reading() as connection:
        return {
            name: int(connection.scalar(sa.select(sa.func.count()).select_from(table)) or 0)
            for name, table in schema.metadata.tables.items()
        }


# Backup -------------------------------------------------------------------------------------------


def test_a_backup_holds_all_and_only_its_owner_reads_it(in_file: Archive, tmp_path: Path) -> None:
    copy = tmp_path / "copy.sqlite"
    in_file.begin(of_board("later-bbbbb"))
    found = back_up(in_file, copy)
    assert found.sound
    assert stat.S_IMODE(copy.stat().st_mode) == 0o600
    with open_archive(copy, simulated=False) as made:
        assert rows(made) == rows(in_file)
        assert [made.load(one) for one in RUNS] == [in_file.load(one) for one in RUNS]


def test_put_back_keeps_what_was_there(in_file: Archive, tmp_path: Path) -> None:
    copy = tmp_path / "copy.sqlite"
    back_up(in_file, copy)
    write(in_file, "later-bbbbb")
    with pytest.raises(ArchiveError, match="state --replace"):
        put_back(copy, in_file.path, False, replace=False)
    old = put_back(copy, in_file.path, False, replace=True)
    assert old == tmp_path / "archive-before-1.sqlite"
    # Whoever has it open sees the copy at once.
    assert ids(in_file) == list(RUNS)
    with open_archive(old, simulated=False) as before:
        assert ids(before) == [*RUNS, "later-bbbbb"]
    write(in_file, "newer-bbbbb")
    assert verify(in_file).sound
    assert put_back(copy, tmp_path / "new" / "a.sqlite", None, replace=False) is None
    assert stat.S_IMODE((tmp_path / "new" / "a.sqlite").stat().st_mode) == 0o600


def test_what_is_not_sound_is_not_put_back(in_file: Archive, tmp_path: Path) -> None:
    copy = tmp_path / "copy.sqlite"
    back_up(in_file, copy)
    with open_archive(copy, simulated=False) as changed:
        tamper(changed, "UPDATE runs SET serial = 'DEMO-0002' WHERE number = 2")
    with pytest.raises(ArchiveError, match="record secnd-bbbbb: the record was changed"):
        put_back(copy, in_file.path, False, replace=True)
    with pytest.raises(ArchiveError, match="is the archive itself"):
        put_back(in_file.path, in_file.path, False, replace=True)
    with pytest.raises(ArchiveError, match="archive of real runs"):
        put_back(in_file.path, tmp_path / "demo.sqlite", True, replace=True)
    with pytest.raises(ArchiveError, match="exists already"):
        back_up(in_file, copy)
    assert ids(in_file) == list(RUNS)


def test_a_server_is_copied_by_its_own_tools(postgres: PostgresServer, tmp_path: Path) -> None:
    with (
        open_archive(postgres.new_database(), simulated=False) as archive,
        pytest.raises(ArchiveError, match=r"whose own tools copy it whole \(pg_dump\)"),
    ):
        back_up(archive, tmp_path / "copy.sqlite")
    assert not (tmp_path / "copy.sqlite").exists()


# Handing on ---------------------------------------------------------------------------------------


def test_a_part_verifies_as_a_part(archive: Archive, tmp_path: Path) -> None:
    file = tmp_path / "part.sqlite"
    assert hand_on(archive, [RUNS[1], RUNS[2]], file).copied == 2
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    with open_archive(file, create=False) as part:
        found = verify(part, head=verify(archive).chains[0].head)
        assert found.sound
        (chain,) = found.chains
        assert (chain.own, chain.first, chain.last) == (False, 3, 8)
        assert (chain.records, chain.elsewhere) == (2, 1)
        assert found.captures == 2
        assert part.load(RUNS[1]) == archive.load(RUNS[1])
        tamper(part, "UPDATE runs SET serial = 'DEMO-0002' WHERE number = 1")
        assert "secnd-bbbbb: the record was changed" in verify(part).breaks[0].why


def test_taken_in_elsewhere_without_doubles(
    archive: Archive, other: Archive, tmp_path: Path
) -> None:
    write(other, "local-bbbbb", "99")
    for number, names in enumerate(([RUNS[2]], [RUNS[1], RUNS[2]], list(RUNS)), 1):
        file = tmp_path / f"part-{number}.sqlite"
        hand_on(archive, names, file)
        handed = take_in(other, file)
        assert (handed.copied, handed.known) == (
            len(names) - min(number - 1, 2),
            min(number - 1, 2),
        )
        assert verify(other).sound
        before = rows(other)
        assert take_in(other, file).copied == 0
        assert rows(other) == before
    assert sorted(ids(other)) == sorted([*RUNS, "local-bbbbb"])
    for name in RUNS:
        assert other.load(name) == archive.load(name)
    # What has come from elsewhere goes on growing there, and this bench keeps a chain of its own.
    write(archive, "later-bbbbb")
    hand_on(archive, ["later-bbbbb"], tmp_path / "later.sqlite")
    assert take_in(other, tmp_path / "later.sqlite").copied == 1
    write(other, "here1-bbbbb", "17")
    found = verify(other)
    assert found.sound
    assert [(one.bench, one.own) for one in found.chains] == [
        ("99", True),
        ("17", False),
        ("17", True),
    ]


def test_a_file_taken_in_on_a_server(archive: Archive, other: Archive) -> None:
    """From a file to a server and back: nothing is rounded, nothing sorted anew."""
    write(other, "local-bbbbb", "99")
    assert take_in(archive, other.path).copied == 1
    assert archive.load("local-bbbbb") == other.load("local-bbbbb")
    assert verify(archive).sound


def test_what_is_another_record_or_chain_is_refused(
    archive: Archive, other: Archive, tmp_path: Path
) -> None:
    file = tmp_path / "part.sqlite"
    hand_on(archive, RUNS, file)
    write(other, RUNS[0], "99")
    before = rows(other)
    with pytest.raises(ArchiveError, match="Record first-bbbbb is another one here"):
        take_in(other, file)
    assert rows(other) == before
    with open_archive(file, simulated=False) as part:
        tamper(part, "UPDATE checks SET why = 'nothing' WHERE number = 1")
    with pytest.raises(ArchiveError, match="the record was changed"):
        take_in(archive, file)
    assert take_in_own(archive, tmp_path).known == 1


def take_in_own(archive: Archive, folder: Path) -> Handed:
    hand_on(archive, RUNS[:1], folder / "own.sqlite")
    return take_in(archive, folder / "own.sqlite")


def test_a_run_without_end_waits(archive: Archive, tmp_path: Path) -> None:
    write(archive, "open1-bbbbb", ends=False)
    handed = hand_on(archive, [RUNS[0], "open1-bbbbb"], tmp_path / "part.sqlite")
    assert (handed.copied, handed.without_end) == (1, ("open1-bbbbb",))


def test_nothing_is_left_of_a_file_that_could_not_be_made(archive: Archive, tmp_path: Path) -> None:
    file = tmp_path / "part.sqlite"
    file.write_text("mine")
    with pytest.raises(ArchiveError, match="exists already"):
        hand_on(archive, RUNS, file)
    assert file.read_text() == "mine"


# Expiry -------------------------------------------------------------------------------------------


def test_captures_expire_and_records_say_so(archive: Archive, tmp_path: Path) -> None:
    later = replace(of_board("later-bbbbb"), started=END.replace(year=2026))
    archive.begin(later)
    kept = archive.add_capture("later-bbbbb", counts(seed=11), "samples")
    archive.add_check("later-bbbbb", replace(check(), captures=(kept,)))
    archive.finish("later-bbbbb", RunVerdict.PASS, END.replace(year=2026))
    before = archive.load(RUNS[0])
    assert expire(archive, END.replace(year=2026, month=1), rehearse=True).captures == 1
    assert archive.load(RUNS[0]).expired == ()
    gone = expire(archive, END.replace(year=2026, month=1))
    # The samples are also those of the later run; only the edges were of the old ones alone.
    assert (gone.captures, gone.bytes > 0) == (1, True)
    assert expire(archive, END.replace(year=2026, month=1)).captures == 0
    archive.shrink()
    record = archive.load(RUNS[0])
    ((key, moment),) = record.expired
    assert replace(record, expired=()) == before
    assert moment.tzinfo is not None
    archive.load_capture(kept)
    with pytest.raises(ArchiveError, match="its hash stays in the record"):
        archive.load_capture(key)
    found = verify(archive)
    assert (found.sound, found.captures, found.expired) == (True, 1, 1)
    file = tmp_path / "part.sqlite"
    hand_on(archive, RUNS[:1], file)
    with open_archive(file, create=False) as part:
        assert verify(part).expired == 1
        assert part.load(RUNS[0]) == record
    # The same edges, recorded again, are there again.
    write(archive, "again-bbbbb")
    archive.load_capture(key)
    assert archive.load(RUNS[0]).expired == ()


def test_a_derived_record_is_handed_on_with_the_old_one(archive: Archive, tmp_path: Path) -> None:
    archive.add_derived(derived(archive.load(RUNS[1]), serial="DEMO-0099"))
    file = tmp_path / "part.sqlite"
    hand_on(archive, [RUNS[1], "fixed-bbbbb"], file)
    with open_archive(file, create=False) as part:
        assert verify(part).sound
        assert part.load("fixed-bbbbb") == archive.load("fixed-bbbbb")
        assert part.load(RUNS[1]).followed_by == ("fixed-bbbbb",)
