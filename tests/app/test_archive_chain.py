"""Chains of hashes: what they notice, and what may happen without breaking them."""

import sqlite3
from collections.abc import Iterator
from contextlib import closing
from dataclasses import fields, replace
from datetime import timedelta
from pathlib import Path
from typing import Any

import pytest
import sqlalchemy as sa
from archive_examples import check, header
from archive_runs import END, of_board, write

from rungbench.archive import schema
from rungbench.archive.chain import Kind, header_hash, record_hash
from rungbench.archive.errors import ArchiveError
from rungbench.archive.links import chains_of, links_of
from rungbench.archive.record import Derivation, Origin, Record, RunVerdict
from rungbench.archive.store import Archive, open_archive
from rungbench.archive.verified import Break
from rungbench.archive.verify import verify
from rungbench.paths import Place

pytest_plugins = ("archive_places",)

RUNS = tuple(f"run{number}x-bbbbb" for number in range(4))


@pytest.fixture
def archive(archive_place: Place) -> Iterator[Archive]:
    with open_archive(archive_place, simulated=False) as made:
        for run_id in RUNS:
            write(made, run_id)
        yield made


def tamper(archive: Archive, *statements: str) -> None:
    """As somebody who has all rights: the guards are taken off first."""
    with archive.writing() as connection:
        if connection.dialect.name == "postgresql":
            connection.execute(sa.text("SET session_replication_role = replica"))
        else:
            for table in schema.metadata.tables:
                for event in ("update", "delete"):
                    connection.execute(sa.text(f"DROP TRIGGER IF EXISTS keep_{table}_{event}"))
            connection.execute(sa.text("PRAGMA defer_foreign_keys=ON"))
        for statement in statements:
            connection.exec_driver_sql(statement)
        if connection.dialect.name == "postgresql":
            connection.execute(sa.text("SET session_replication_role = DEFAULT"))


def first_break(archive: Archive) -> Break:
    found = verify(archive)
    assert not found.sound
    return found.breaks[0]


def kinds(archive: Archive) -> list[tuple[str, Kind]]:
    with archive.reading() as connection:
        (chain,) = chains_of(connection)
        return [(link.record, link.kind) for link, _ in links_of(connection, chain)]


def test_an_archive_as_it_was_written_is_sound(archive: Archive) -> None:
    seen: list[str] = []
    found = verify(archive, progress=seen.append)
    assert found.sound
    (chain,) = found.chains
    assert (chain.bench, chain.own, chain.first, chain.last) == ("17", True, 1, 2 * len(RUNS))
    assert (chain.records, chain.elsewhere, chain.open) == (len(RUNS), 0, 0)
    assert (found.captures, found.expired) == (2, 0)
    assert seen == list(RUNS)
    assert verify(archive, head=chain.head[:12]).sound
    # As it stands on a report or a label.
    assert verify(archive, head=record_hash(archive.load(RUNS[0]))).sound
    assert not verify(archive, head="f" * 64).sound


@pytest.mark.parametrize(
    "change",
    [
        "UPDATE runs SET serial = 'DEMO-0002' WHERE number = 2",
        "UPDATE runs SET operator = '' WHERE number = 2",
        "UPDATE checks SET verdict = 'fail' WHERE number = 3",
        "UPDATE checks SET why = 'nothing' WHERE number = 3",
        "UPDATE quantities SET value = value + 0.000001 WHERE run = 2 AND position = 0",
        "UPDATE quantities SET u = 0 WHERE run = 2 AND position = 1",
        'UPDATE judgements SET high = 1006.0 WHERE "check" = 3 AND position = 0',
        "UPDATE budgets SET rows = '[]' WHERE \"check\" = 3 AND position = 0",
        "UPDATE run_ends SET finished = '2025-07-12 00:00:00' WHERE run = 2",
        'DELETE FROM judgements WHERE "check" = 3 AND position = 2',
        'DELETE FROM check_captures WHERE "check" = 3 AND position = 1',
    ],
)
def test_a_change_of_a_record_is_named(archive: Archive, change: str) -> None:
    tamper(archive, change)
    found = first_break(archive)
    assert (found.position, found.record) == (4, RUNS[1])
    assert found.why.endswith("the record was changed.")
    assert len(verify(archive).breaks) == 1


@pytest.mark.parametrize(
    "change",
    [
        'UPDATE judgements SET low = 1100, high = 1200 WHERE "check" = 3',
        "UPDATE checks SET verdict = 'splendid' WHERE number = 3",
        "UPDATE quantities SET u = -1 WHERE run = 2",
        "UPDATE judgements SET rule = 'none' WHERE \"check\" = 3",
    ],
)
def test_a_change_to_what_cannot_be_is_named_too(archive: Archive, change: str) -> None:
    tamper(archive, change)
    found = first_break(archive)
    assert (found.position, found.record) == (4, RUNS[1])
    assert "the record was changed, to something that cannot be" in found.why
    with pytest.raises(ArchiveError, match="records verify` names what was changed"):
        archive.load(RUNS[1])


@pytest.mark.parametrize(
    ("change", "position", "why"),
    [
        ("DELETE FROM entries WHERE position = 4", 5, "entry 4 is missing"),
        ("UPDATE entries SET sha256 = hash WHERE position = 4", 4, "the entry was changed"),
        ("UPDATE entries SET hash = previous WHERE position = 4", 4, "the entry was changed"),
        ("UPDATE entries SET record = 'other' WHERE position = 3", 3, "the entry was changed"),
    ],
)
def test_a_change_of_the_chain_is_named(
    archive: Archive, change: str, position: int, why: str
) -> None:
    tamper(archive, change)
    found = first_break(archive)
    assert found.position == position
    assert why in found.why


def test_a_record_put_in_or_taken_out_is_named(archive: Archive) -> None:
    with archive.writing() as connection:
        row = dict(connection.execute(sa.select(schema.runs)).mappings().first() or {})
        row |= {"number": 99, "run_id": "forged-bbbbb"}
        connection.execute(schema.runs.insert().values(**row))
    assert first_break(archive).why == "Record forged-bbbbb is in no chain: no bench entered it."
    for table in ("run_captures", "run_ends"):
        tamper(archive, f"DELETE FROM {table} WHERE run = 4")
    for table in ("check_captures", "judgements", "budgets", "quantities"):
        tamper(archive, f'DELETE FROM {table} WHERE "check" IN (7, 8)')
    tamper(archive, "DELETE FROM checks WHERE run = 4")
    tamper(archive, "DELETE FROM runs WHERE number = 4")
    assert "the record is missing" in first_break(archive).why


def test_an_end_that_was_cut_off_needs_a_head_that_somebody_noted(archive: Archive) -> None:
    head = verify(archive).chains[0].head
    tamper(archive, "DELETE FROM entries WHERE position > 6")
    assert "is in no chain" in first_break(archive).why
    assert any("No entry has the hash" in one.why for one in verify(archive, head).breaks)


def test_a_changed_capture_is_named(archive: Archive) -> None:
    tamper(archive, "UPDATE captures SET description = '{}' WHERE kind = 'edges'")
    assert "is not what its key says" in first_break(archive).why


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ("UPDATE contents SET data = {nothing}", "its content is gone, and nobody let it expire"),
        ("DELETE FROM contents", "its content is missing"),
        ("DELETE FROM captures", f"of record {RUNS[0]} is missing"),
    ],
)
def test_evidence_that_was_taken_away_is_named(archive: Archive, change: str, why: str) -> None:
    server = not isinstance(archive.place, Path)
    if change.startswith("DELETE") and not server:
        # A file keeps to its references even for whoever took the guards off.
        with closing(sqlite3.connect(archive.path)) as raw:
            raw.execute(f"DROP TRIGGER keep_{change.split()[-1]}_delete")
            raw.execute(change)
            raw.commit()
    else:
        tamper(archive, change.format(nothing="''::bytea" if server else "x''"))
    assert why in first_break(archive).why


@pytest.mark.parametrize(
    "change",
    ["DELETE FROM open_runs", "INSERT INTO open_runs (run) VALUES (1)"],
)
def test_runs_without_end_are_all_that_are_looked_for_as_such(
    archive: Archive, change: str
) -> None:
    write(archive, "killd-bbbbb", ends=False)
    assert verify(archive).sound
    tamper(archive, change)
    assert "is not where runs without an end are looked for" in first_break(archive).why


def test_nothing_is_changed_or_removed_by_the_way(archive: Archive) -> None:
    for table in schema.metadata.tables:
        with archive.reading() as connection:
            full = connection.scalar(sa.text(f"SELECT count(*) FROM {table}"))
        column = next(iter(schema.metadata.tables[table].columns)).name
        changes = [f"DELETE FROM {table}", f'UPDATE {table} SET "{column}" = "{column}"']
        if not full or table == "contents":
            changes = changes[:1] if full else []
        for change in changes:
            with (
                pytest.raises(ArchiveError, match="what an archive holds is never changed"),
                archive.writing() as connection,
            ):
                connection.execute(sa.text(change))
    with (
        pytest.raises(ArchiveError, match="never changed"),
        archive.writing() as connection,
    ):
        connection.execute(schema.contents.update().values(data=b"other"))
    assert verify(archive).sound


def test_a_run_without_end_is_entered_once_its_bench_goes_on(archive: Archive) -> None:
    write(archive, "killd-bbbbb", ends=False)
    found = verify(archive)
    assert found.sound
    assert (found.chains[0].records, found.chains[0].open) == (len(RUNS), 1)
    write(archive, "after-bbbbb")
    assert kinds(archive)[-4:] == [
        ("killd-bbbbb", Kind.BEGUN),
        ("killd-bbbbb", Kind.CUT),
        ("after-bbbbb", Kind.BEGUN),
        ("after-bbbbb", Kind.ENDED),
    ]
    assert verify(archive).chains[0].open == 0


def test_a_run_that_went_on_after_all_is_entered_again(archive: Archive) -> None:
    write(archive, "slow1-bbbbb", ends=False)
    write(archive, "after-bbbbb")
    archive.add_check("slow1-bbbbb", check("late"))
    assert kinds(archive)[-1] == ("slow1-bbbbb", Kind.CUT)
    assert verify(archive).sound
    archive.finish("slow1-bbbbb", RunVerdict.PASS, END)
    assert kinds(archive)[-1] == ("slow1-bbbbb", Kind.ENDED)
    assert verify(archive).sound


def test_each_bench_has_a_chain(archive: Archive) -> None:
    write(archive, "other-bbbbb", board="18")
    write(archive, "again-bbbbb")
    found = verify(archive)
    assert [(one.bench, one.last) for one in found.chains] == [("17", 10), ("18", 2)]
    assert found.sound


def test_a_clock_set_back_changes_no_order(archive: Archive) -> None:
    early = replace(of_board("early-bbbbb"), started=header().started - timedelta(days=700))
    archive.begin(early)
    archive.add_check("early-bbbbb", check())
    archive.finish("early-bbbbb", RunVerdict.PASS, early.started - timedelta(seconds=5))
    assert kinds(archive)[-1] == ("early-bbbbb", Kind.ENDED)
    assert verify(archive).sound


def derived(record: Record, serial: str) -> Record:
    origin = Origin(Derivation.CORRECTED, record.run_id, record_hash(record), "misread", END)
    charger = replace(record.header.charger, serial=serial)
    head = replace(record.header, run_id="fixed-bbbbb", charger=charger, origin=origin)
    return replace(record, header=head)


def test_a_correction_is_a_record_that_names_the_old_one(archive: Archive) -> None:
    old = archive.load(RUNS[1])
    new = derived(old, serial="DEMO-0099")
    archive.add_derived(new)
    again = archive.load("fixed-bbbbb")
    assert again == replace(new, followed_by=())
    assert archive.load(RUNS[1]) == replace(old, followed_by=("fixed-bbbbb",))
    assert again.header.origin is not None
    assert record_hash(archive.load(RUNS[1])) == again.header.origin.sha256
    assert kinds(archive)[-1] == ("fixed-bbbbb", Kind.DERIVED)
    assert verify(archive).sound


def changed_record(record: Record, name: str, value: Any) -> Record:
    return replace(record, **{name: value})


def test_the_hash_covers_every_field(archive: Archive) -> None:
    """What a record holds is in its hash, but for what others say of it later."""
    record = archive.load(RUNS[0])
    whole = record_hash(record)
    changed = {
        "header": replace(record.header, plan="other"),
        "checks": record.checks[:1],
        "verdict": RunVerdict.FAIL,
        "finished": END + timedelta(microseconds=1),
        "interrupted": "why",
        "make_safe": {"mains": "on"},
        "capture_names": record.capture_names[:1],
    }
    outside = {"expired": (("key", END),), "followed_by": ("other",)}
    assert {*changed, *outside} == {one.name for one in fields(Record)}
    for name, value in changed.items():
        assert record_hash(changed_record(record, name, value)) != whole, name
    for name, value in outside.items():
        assert record_hash(changed_record(record, name, value)) == whole, name
    assert header_hash(record.header) != header_hash(replace(record.header, plan="x"))


def test_the_hash_is_the_same_on_every_machine() -> None:
    """Frozen: a program that computes another one could verify no archive that exists."""
    record = Record(header(), (check(),), RunVerdict.PASS, END, None, {"mains": "off", "s": 5.0})
    assert record_hash(record) == (
        "bbf9053ce05adcfa0c31362498a399e60fc85248315b9ceaacd61e9021857f16"
    )
    assert record_hash(replace(record, make_safe={"s": 5, "mains": "off"})) == record_hash(record)
