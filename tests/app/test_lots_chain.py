"""Lots in the chain of lots: what is noticed a year later, and what an attacker has to do besides.

A person with all rights to the tables may change anything; the tests do, and ask who notices.
"""

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
import sqlalchemy as sa
from lot_examples import fill, order, serials
from test_archive_chain import tamper

from rungbench.archive import schema
from rungbench.archive.chain import Kind
from rungbench.archive.errors import ArchiveError
from rungbench.archive.handing_on import hand_on, take_in
from rungbench.archive.links import chains_of, links_of
from rungbench.archive.lot_events import adopt_lots, is_lots
from rungbench.archive.store import Archive, open_archive
from rungbench.archive.verify import verify
from rungbench.archive.witness import heads_file, renew, witness_breaks
from rungbench.lots.audit import audit
from rungbench.lots.document import lot_document
from rungbench.lots.errors import LotRefused
from rungbench.lots.lot import Lot
from rungbench.lots.store import Lots
from rungbench.paths import Place

pytest_plugins = ("archive_places",)

TABLES = ("lot_ends", "lot_moves", "lot_runs", "lot_serials", "lot_sample", "lots")


@pytest.fixture
def archive(archive_place: Place) -> Iterator[Archive]:
    """A lot from a list, decided and closed, and one by places that is open."""
    with open_archive(archive_place, simulated=False) as made:
        lots = Lots(made)
        fill(made, lots.make(order()), "pfpppppppppp" + "p")
        lots.close(lots.find("L1"), operator="R. Example")
        places = lots.make(replace(order("L2", listed=False)))
        for unit, serial in zip(lots.state("L2").units[:3], serials(900)[-3:], strict=True):
            lots.scan(places, unit.number, serial)
        yield made


def of_lots(archive: Archive) -> list[Kind]:
    with archive.reading() as connection:
        (chain,) = (one for one in chains_of(connection) if is_lots(one))
        return [link.kind for link, _ in links_of(connection, chain)]


def test_all_that_happens_to_lots_is_entered(archive: Archive) -> None:
    kinds = of_lots(archive)
    assert kinds == [
        Kind.LOT_MADE,
        *[Kind.LOT_RUN] * 13,
        Kind.LOT_CLOSED,
        Kind.LOT_MADE,
        *[Kind.LOT_SERIAL] * 3,
    ]
    found = verify(archive)
    assert found.sound
    assert sorted(one.lots for one in found.chains) == [0, 2]
    assert audit(archive) == ()


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ("UPDATE lots SET supplier = 'Others' WHERE number = 1", "how it was made was changed"),
        ("UPDATE lots SET accept = 2 WHERE number = 1", "how it was made was changed"),
        ("UPDATE lots SET seed = 'better' WHERE number = 1", "how it was made was changed"),
        ("UPDATE lot_sample SET unit = 40 WHERE lot = 2 AND unit = {free}", "how it was made"),
        ("UPDATE lot_runs SET reason = 'so' WHERE run = 2", "a run that joined it was changed"),
        ("UPDATE lot_runs SET unit = {other} WHERE run = 2", "a run that joined it was changed"),
        ("DELETE FROM lot_runs WHERE run = 2", "a run that joined it was changed or removed"),
        ("UPDATE lot_ends SET decision = 'reject'", "how it was closed was changed"),
        ("UPDATE lot_ends SET operator = 'X'", "how it was closed was changed"),
        ("DELETE FROM lot_ends", "how it was closed was changed or removed"),
        (
            "UPDATE lot_serials SET serial = 'D-0001' WHERE lot = 2 AND serial = 'D-0899'",
            "the serial number of a unit was changed",
        ),
    ],
)
def test_a_change_of_a_lot_is_named(archive: Archive, change: str, why: str) -> None:
    units = [unit.number for unit in Lots(archive).state("L1").units]
    free = [unit.number for unit in Lots(archive).state("L2").units][-1]
    tamper(archive, change.format(other=units[5], free=free))
    found = verify(archive)
    assert why in found.breaks[0].why
    assert found.breaks[0].why.startswith("Chain of lots, entry ")


def test_a_lot_that_vanishes_is_missed(archive: Archive) -> None:
    for table in TABLES:
        column = "number" if table == "lots" else "lot"
        tamper(archive, f"DELETE FROM {table} WHERE {column} = 1")
    assert "the lot is missing" in verify(archive).breaks[0].why


def test_a_list_that_was_changed_is_not_the_one_that_was_drawn_from(archive: Archive) -> None:
    tamper(archive, "UPDATE lot_serials SET serial = 'D-9999' WHERE lot = 1 AND unit = 1")
    assert verify(archive).sound, "its hash is in the chain, not the list"
    assert "its list of serial numbers is not" in audit(archive)[0].why


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ("UPDATE lots SET accept = 3 WHERE number = 1", "not that of the standard's tables"),
        ("UPDATE lots SET seed = 'better' WHERE number = 1", "not the one that its seed draws"),
        (
            'UPDATE lot_ends SET tally = \'{"passed": 13, "failed": 0, "undecided": 0, '
            '"untested": 0}\'',
            "are not what its runs come to",
        ),
        ("UPDATE lot_ends SET decision = 'reject'", "its counts give accept"),
    ],
)
def test_whoever_makes_the_chain_anew_is_caught_by_the_rules_or_by_the_notes(
    archive: Archive, change: str, why: str
) -> None:
    """All entries of lots are thrown away and made again from the changed tables."""
    tamper(archive, change)
    tamper(
        archive,
        "DELETE FROM entries WHERE chain = "
        "(SELECT number FROM chains WHERE bench = 'lots of this archive')",
    )
    with archive.writing() as connection:
        adopt_lots(connection)
    assert verify(archive).sound
    assert any(why in one.why for one in audit(archive))
    with archive.reading() as connection:
        (gone,) = witness_breaks(connection, archive.place)
    assert "is gone or another one" in gone.why


def test_records_cut_off_the_end_are_missed_by_the_notes(archive: Archive) -> None:
    """The last run with its entries, as if it had never been: no chain can tell."""
    lot = Lots(archive).find("L2")
    fill(archive, lot, "f")
    with archive.reading() as connection:
        last = connection.scalar(sa.select(sa.func.max(schema.runs.c.number)))
        assert list(witness_breaks(connection, archive.place)) == []
    name = f"SELECT run_id FROM runs WHERE number = {last}"
    checks = f"SELECT number FROM checks WHERE run = {last}"
    joined = "(SELECT max(position) FROM entries WHERE kind = 'lot run')"
    tamper(
        archive,
        f"DELETE FROM lot_runs WHERE run = {last}",
        f"DELETE FROM run_ends WHERE run = {last}",
        *(
            f'DELETE FROM {table} WHERE "check" IN ({checks})'
            for table in ("judgements", "budgets", "quantities")
        ),
        f"DELETE FROM checks WHERE run = {last}",
        f"DELETE FROM entries WHERE record = ({name})",
        f"DELETE FROM runs WHERE number = {last}",
        f"DELETE FROM entries WHERE kind = 'lot run' AND position = {joined}",
    )
    assert verify(archive).sound
    with archive.reading() as connection:
        benches = {one.bench for one in witness_breaks(connection, archive.place)}
        assert benches == {"unnamed", "lots of this archive"}
        assert len(renew(connection, archive.place)) == 2
        assert list(witness_breaks(connection, archive.place)) == []


def test_the_notes_are_for_their_owner_only_and_hold_no_password(archive: Archive) -> None:
    assert f'"{archive.place}"' in heads_file().read_text(encoding="utf-8")
    text = heads_file().read_text(encoding="utf-8")
    assert heads_file().stat().st_mode & 0o077 == 0
    assert "@" not in text


def test_notes_that_cannot_be_read_are_no_reason_to_stop(archive: Archive) -> None:
    heads_file().write_text("[1", encoding="utf-8")
    fill(archive, Lots(archive).find("L2"), "p")
    with archive.reading() as connection:
        assert list(witness_breaks(connection, archive.place)) == []
    assert verify(archive).sound


def test_records_in_another_order_are_named(archive: Archive) -> None:
    tamper(
        archive,
        "UPDATE runs SET number = 100 WHERE number = 3",
        *(
            f"UPDATE {table} SET run = 100 WHERE run = 3"
            for table in ("run_ends", "checks", "quantities", "lot_runs")
        ),
    )
    assert any("the order of the records" in one.why for one in verify(archive).breaks)


def test_the_heads_of_the_benches_stand_in_the_end_of_a_lot(archive: Archive) -> None:
    with archive.reading() as connection:
        heads = connection.scalar(sa.select(schema.lot_ends.c.heads))
        (bench,) = (one for one in chains_of(connection) if not is_lots(one))
        last = [stored for _, stored in links_of(connection, bench)][-1]
    assert heads == {bench.chain: last}
    tamper(archive, f"UPDATE entries SET hash = 'x' WHERE hash = '{last}'")
    assert any("it is cut off" in one.why for one in audit(archive))


# Handed on --------------------------------------------------------------------------------------


def test_a_lot_is_handed_on_whole_and_verifies_there(archive: Archive, tmp_path: Path) -> None:
    file = tmp_path / "lot.sqlite"
    handed = hand_on(archive, (), file, ["L1"])
    assert (handed.copied, handed.lots) == (13, 1)
    before = lot_document(Lots(archive).state("L1"))
    with open_archive(tmp_path / "auditor.sqlite", simulated=False) as auditor:
        assert take_in(auditor, file).lots == 1
        assert take_in(auditor, file).copied == 0
        assert verify(auditor).sound
        assert audit(auditor) == ()
        assert lot_document(Lots(auditor).state("L1")) == before
        tamper(auditor, "UPDATE lot_ends SET decision = 'reject'")
        assert "how it was closed was changed" in verify(auditor).breaks[0].why


def test_a_lot_that_went_on_is_taken_in_again(archive: Archive, tmp_path: Path) -> None:
    lots = Lots(archive)
    with open_archive(tmp_path / "auditor.sqlite", simulated=False) as auditor:
        hand_on(archive, (), tmp_path / "one.sqlite", ["L2"])
        take_in(auditor, tmp_path / "one.sqlite")
        fill(archive, lots.find("L2"), "pp")
        hand_on(archive, (), tmp_path / "two.sqlite", ["L2"])
        assert take_in(auditor, tmp_path / "two.sqlite").copied == 2
        assert Lots(auditor).state("L2") == replace(
            lots.state("L2"), lot=replace(lots.find("L2"), number=1)
        ) or lot_document(Lots(auditor).state("L2")) == lot_document(lots.state("L2"))
        assert verify(auditor).sound
        # An older file adds nothing and takes nothing away.
        assert take_in(auditor, tmp_path / "one.sqlite").copied == 0
        with pytest.raises(LotRefused, match="came from another archive"):
            Lots(auditor).scan(Lots(auditor).find("L2"), lots.state("L2").units[5].number, "D-0800")


def test_another_lot_of_the_same_name_is_refused(archive: Archive, tmp_path: Path) -> None:
    hand_on(archive, (), tmp_path / "lot.sqlite", ["L1"])
    with open_archive(tmp_path / "auditor.sqlite", simulated=False) as auditor:
        Lots(auditor).make(order(size=30))
        with pytest.raises(ArchiveError, match="There is another lot 'L1'"):
            take_in(auditor, tmp_path / "lot.sqlite")
        assert auditor.count() == 0, "nothing is taken in then"


def test_a_lot_presented_again_brings_the_one_before(archive: Archive, tmp_path: Path) -> None:
    lots = Lots(archive)
    bad = lots.make(order("L3"))
    fill(archive, bad, "ff")
    lots.close(bad)
    lots.make(replace(order("L3 again"), resubmits="L3"))
    assert hand_on(archive, (), tmp_path / "lot.sqlite", ["L3 again"]).lots == 2
    with open_archive(tmp_path / "auditor.sqlite", simulated=False) as auditor:
        take_in(auditor, tmp_path / "lot.sqlite")
        assert Lots(auditor).find("L3 again").resubmits == "L3"
        assert verify(auditor).sound


def test_a_lot_with_a_run_without_end_waits(archive: Archive, tmp_path: Path) -> None:
    from lot_examples import write_run

    lot: Lot = Lots(archive).find("L2")
    serial = Lots(archive).state("L2").units[0].serial
    write_run(archive, serial, None, lot=(lot, ""))
    with pytest.raises(ArchiveError, match="has no end yet"):
        hand_on(archive, (), tmp_path / "lot.sqlite", ["L2"])
    assert not (tmp_path / "lot.sqlite").exists()
