"""Lots in an archive: what may join, what counts, what is refused, and that nothing is lost."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa
from archive_examples import header
from lot_examples import SHEET, fill, order, serials, tightened, write_run

from rungbench.archive.errors import ArchiveError, NoSuchRecord
from rungbench.archive.record import NOT_FINISHED, RunVerdict
from rungbench.archive.store import Archive, open_archive
from rungbench.archive.writer import open_for_run
from rungbench.errors import InputError, WrongUse
from rungbench.lots.basis import basis_of_run, require_same
from rungbench.lots.decision import LotDecision, Tally
from rungbench.lots.drawing import draw
from rungbench.lots.errors import LotRefused, NoSuchLot
from rungbench.lots.lot import Lot
from rungbench.lots.sampling import Severity, plan_for
from rungbench.lots.serials import list_hash, read_serials
from rungbench.lots.store import Lots


@pytest.fixture
def archive(tmp_path: Path) -> Iterator[Archive]:
    with open_archive(tmp_path / "archive.sqlite", simulated=False) as made:
        yield made


@pytest.fixture
def lots(archive: Archive) -> Lots:
    return Lots(archive)


# Making -----------------------------------------------------------------------------------------


def test_a_lot_comes_back_equal(lots: Lots) -> None:
    wanted = replace(order(), notes="pallet 7", operator="R. Example")
    made = lots.make(wanted)
    found = lots.find(" l1 ")
    assert found == made
    assert (found.sheet, found.basis, found.plan) == (SHEET, wanted.basis, wanted.plan)
    assert (found.seed, found.seed_given) == ("a-seed", True)
    assert found.list_sha256 == list_hash(serials(40))
    assert (found.notes, found.operator, found.simulated) == ("pallet 7", "R. Example", False)
    state = lots.state("L1")
    assert tuple(unit.number for unit in state.units) == draw("a-seed", 40, 13)
    assert all(unit.serial == f"D-{unit.number:04}" for unit in state.units)
    assert state.standing.tally == Tally(0, 0, 0, 13)


def test_a_seed_is_made_and_recorded(lots: Lots) -> None:
    first, second = (lots.make(replace(order(name), seed="")) for name in ("a", "b"))
    assert not first.seed_given
    assert first.seed != second.seed
    units = [unit.number for unit in lots.state("a").units]
    assert tuple(units) == draw(first.seed, 40, 13)


def test_a_name_is_taken_once(lots: Lots) -> None:
    lots.make(order())
    with pytest.raises(LotRefused, match="There is a lot 'l1' already; choose another name"):
        lots.make(order("l1"))
    assert len(lots.states()) == 1


@pytest.mark.parametrize("name", ["", "  ", "a\nb", "x" * 81, "\x1b[31m"])
def test_names_of_no_use(lots: Lots, name: str) -> None:
    with pytest.raises(LotRefused, match="The name of the lot .* is of no use"):
        lots.make(order(name))
    with pytest.raises(LotRefused, match="The name of the supplier"):
        lots.make(replace(order(), supplier=name))


def test_what_cannot_be_a_lot(lots: Lots) -> None:
    with pytest.raises(LotRefused, match="The list has 39 serial numbers for a lot of 40"):
        lots.make(replace(order(), serials=serials(39)))
    with pytest.raises(LotRefused, match="must state the model"):
        lots.make(replace(order(), sheet=replace(SHEET, model=None)))
    with pytest.raises(LotRefused, match="The seed 'a b' is of no use"):
        lots.make(replace(order(), seed="a b"))
    with pytest.raises(NoSuchLot, match="There is no lot 'L1'; `rungbench lot list`"):
        lots.find("L1")
    assert lots.states() == ()


def test_lists_of_serial_numbers(tmp_path: Path) -> None:
    file = tmp_path / "serials.txt"
    file.write_text("\ufeffD-0001\r\n\r\n  D-0002  \nD-0003", encoding="utf-8")
    assert read_serials(file, SHEET) == ("D-0001", "D-0002", "D-0003")
    file.write_text("D-0001\nD-0002\nd-0001\n", encoding="utf-8")
    with pytest.raises(LotRefused, match=r"line 3: serial 'd-0001' stands in line 1 already"):
        read_serials(file, replace(SHEET, serial_pattern=None))
    with pytest.raises(LotRefused, match=r"line 3: Serial 'd-0001' does not fit the model sheet"):
        read_serials(file, SHEET)
    file.write_text("D-0001\nD-\x1b[2J\n", encoding="utf-8")
    with pytest.raises(LotRefused, match=r"line 2: Serial 'D-\\x1b\[2J' is no serial number"):
        read_serials(file, SHEET)
    file.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(InputError, match="is no UTF-8 text"):
        read_serials(file, SHEET)
    with pytest.raises(InputError, match="cannot be read"):
        read_serials(tmp_path / "missing.txt", SHEET)


# Joining ----------------------------------------------------------------------------------------


def sampled(lots: Lots, at: int = 0, name: str = "L1") -> str:
    return lots.state(name).units[at].serial


def test_a_run_joins_as_it_begins(archive: Archive, lots: Lots) -> None:
    lot = lots.make(order())
    serial = sampled(lots)
    run_id = write_run(archive, serial, None, lot=(lot, ""))
    unit = lots.state("L1").units[0]
    (run,) = unit.runs
    # Killed right after it began: it is listed, and the unit is not tested.
    assert (run.run_id, run.verdict, run.interrupted) == (
        run_id,
        RunVerdict.INCOMPLETE,
        NOT_FINISHED,
    )
    assert unit.counts is None


def test_a_run_that_may_not_join_does_not_begin(archive: Archive, lots: Lots) -> None:
    lot = lots.make(order())
    with pytest.raises(LotRefused):
        write_run(archive, "D-9999", lot=(lot, ""))
    assert archive.count() == 0


def test_scans_that_are_refused(archive: Archive, lots: Lots) -> None:
    lot = lots.make(order())
    drawn = [unit.number for unit in lots.state("L1").units]
    other = next(number for number in range(1, 41) if number not in drawn)
    for serial, sentence in (
        ("X-1", "does not fit the model sheet's pattern 'D-"),
        ("", "is no serial number"),
        ("D-0041", "Serial 'D-0041' is not in the list of lot 'L1'"),
        (f"D-{other:04}", f"unit {other} was not drawn from lot 'L1'"),
    ):
        with pytest.raises(WrongUse, match=sentence):
            lots.admit(lot, serial)
    serial = sampled(lots)
    with pytest.raises(LotRefused, match="was not tested before in lot 'L1'; leave --retest out"):
        lots.admit(lot, serial, "because")
    assert lots.admit(lot, f"  {serial.lower().upper()} ") == drawn[0]
    run_id = write_run(archive, serial, lot=(lot, ""))
    sentence = f"was tested before in lot 'L1' .record {run_id}, pass.; scan the next one"
    with pytest.raises(LotRefused, match=sentence):
        lots.admit(lot, serial)
    assert lots.admit(lot, serial, "the plug was loose") == drawn[0]


def test_a_retest_takes_the_place_of_a_bench_fault_only(archive: Archive, lots: Lots) -> None:
    lot = lots.make(order())
    first, second = sampled(lots), sampled(lots, 1)
    write_run(archive, first, RunVerdict.FAIL, lot=(lot, ""))
    write_run(archive, first, RunVerdict.PASS, lot=(lot, "hoping"))
    write_run(archive, second, RunVerdict.BENCH_FAULT, lot=(lot, ""))
    write_run(archive, second, RunVerdict.PASS, lot=(lot, "the cable was pulled"))
    state = lots.state("L1")
    assert state.standing.tally == Tally(1, 1, 0, 11)
    assert [run.reason for run in state.units[0].runs] == ["", "hoping"]
    counting = state.units[1].counts
    assert counting is not None
    assert counting.reason == "the cable was pulled"


def test_places_get_their_serial_numbers_as_they_are_tested(archive: Archive, lots: Lots) -> None:
    lot = lots.make(order(listed=False))
    assert not lot.listed
    units = [unit.number for unit in lots.state("L1").units]
    write_run(archive, "D-0500", lot=(lot, ""))
    assert lots.state("L1").units[0].serial == "D-0500"
    lots.scan(lot, units[2], "D-0700")
    write_run(archive, "D-0700", lot=(lot, ""))
    write_run(archive, "D-0600", lot=(lot, ""))
    found = [unit.serial for unit in lots.state("L1").units]
    assert found == ["D-0500", "D-0600", "D-0700", *[""] * 10]
    for unit, serial, sentence in (
        (units[3], "d-0700", "does not fit"),
        (units[3], "D-0700", f"was scanned before: it is unit {units[2]} of lot 'L1'"),
        (units[2], "D-0800", f"Unit {units[2]} of lot 'L1' has the serial number 'D-0700'"),
        (41, "D-0800", "unit 41 was not drawn"),
    ):
        with pytest.raises(WrongUse, match=sentence):
            lots.scan(lot, unit, serial)


def test_no_more_serial_numbers_than_units(archive: Archive, lots: Lots) -> None:
    lot = lots.make(order(size=8, aql=4.0, listed=False))
    for serial in ("D-0001", "D-0002", "D-0003"):
        write_run(archive, serial, lot=(lot, ""))
    with pytest.raises(LotRefused, match="whose 3 units all have their serial numbers"):
        lots.admit(lot, "D-0004")


def test_a_recorded_run_may_join_later(archive: Archive, lots: Lots) -> None:
    lot = lots.make(order())
    run_id = write_run(archive, sampled(lots))
    assert lots.add(lot, run_id[:5]) == run_id
    assert lots.state("L1").standing.tally.passed == 1
    with pytest.raises(LotRefused, match=f"Record {run_id} is in lot 'L1' already"):
        lots.add(lot, run_id)
    with pytest.raises(NoSuchRecord):
        lots.add(lot, "zzz")


def test_nobody_picks_the_run_that_passed(archive: Archive, lots: Lots) -> None:
    """Tested twice outside the lot: the first of the two must join first."""
    lot = lots.make(order())
    serial = sampled(lots)
    failed = write_run(archive, serial, RunVerdict.FAIL)
    passed = write_run(archive, serial, RunVerdict.PASS)
    for attempt in (lambda: lots.add(lot, passed), lambda: lots.admit(lot, serial)):
        with pytest.raises(LotRefused, match=f"outside lot 'L1' first .record {failed}."):
            attempt()
    lots.add(lot, failed)
    lots.add(lot, passed, "again")
    assert lots.state("L1").standing.tally.failed == 1


def test_a_run_from_before_the_drawing_does_not_join(archive: Archive, lots: Lots) -> None:
    old = replace(header("old00-aaaaa"), charger=replace(header().charger, serial="D-0001"))
    archive.begin(old)
    lot = lots.make(order(size=8, aql=0.65))
    assert old.started < lot.made - timedelta(days=1)
    with pytest.raises(LotRefused, match="made before the sample of lot 'L1' was drawn"):
        lots.add(lot, "old00")


def test_all_units_are_judged_alike(lots: Lots) -> None:
    lot = lots.make(order())
    charger, basis = header().charger, basis_of_run(header())
    require_same(lot, replace(charger, maker="demo works "), basis)
    for other, judged, sentence in (
        (replace(charger, model="Sample 22"), basis, "its model is 'Sample 22', that of the lot's"),
        (replace(charger, rated_current_a=32.0), basis, "its rated_current_a is 32.0, that of"),
        (charger, replace(basis, plan="other"), r"its plan is other \(5678cdef\), that of the lot"),
        (charger, replace(basis, plan_hash="ffff"), r"its plan is quick \(ffff\)"),
        (charger, replace(basis, profile_hash="ffff"), "its profile is iec-61851-1-2017"),
        (
            charger,
            replace(basis, planned=("frequency",)),
            r"not the same checks apply \(open-level",
        ),
    ):
        with pytest.raises(LotRefused, match=sentence):
            require_same(lot, other, judged)


def test_simulated_runs_never_join_a_real_lot(archive: Archive, lots: Lots, tmp_path: Path) -> None:
    lot = lots.make(order())
    with open_archive(tmp_path / "demo.sqlite", simulated=True) as demo:
        run_id = write_run(demo, "D-0001")
        with pytest.raises(NoSuchRecord):
            lots.add(lot, run_id)
        assert Lots(demo).make(order()).simulated
    with pytest.raises(ArchiveError, match="is an archive of real runs"):
        archive.begin(header(simulated=True), lots.joining(lot, sampled(lots)))
    assert lots.state("L1").standing.tally.untested == 13


def test_a_run_that_is_kept_elsewhere_stays_listed(archive: Archive, lots: Lots) -> None:
    """The archive fails after the run began: the lot still knows that the unit was on the bench."""
    lot = lots.make(order())
    serial = sampled(lots)
    elsewhere = archive.path.parent / "elsewhere"
    with open_for_run(archive.path, simulated=False, folders=(elsewhere,)) as running:
        running.beside = lots.joining(lot, serial)
        write_run(running, serial, None)
        with running.writing() as connection:
            refused = "BEGIN SELECT RAISE(ABORT, 'no room'); END"
            connection.execute(sa.text(f"CREATE TRIGGER no BEFORE INSERT ON run_ends {refused}"))
        running.finish("r0001-rbbbb", RunVerdict.INCOMPLETE, header().started)
    assert [run.run_id for run in lots.state("L1").units[0].runs] == ["r0001-rbbbb"]


# Ending -----------------------------------------------------------------------------------------


def test_accepted_as_soon_as_it_is_certain(archive: Archive, lots: Lots) -> None:
    lot = lots.make(order())
    fill(archive, lot, "p" * 11)
    assert lots.state("L1").standing.decision is LotDecision.OPEN
    write_run(archive, sampled(lots, 11), lot=(lot, ""))
    state = lots.state("L1")
    # One of 13 may fail, and one is left.
    assert state.standing.decision is LotDecision.ACCEPT
    assert state.next_unit is None
    end = lots.close(lot, operator="R. Example")
    assert (end.decision, end.tally, end.operator) == (
        LotDecision.ACCEPT,
        Tally(12, 0, 0, 1),
        "R. Example",
    )
    assert lots.state("L1").end == end
    for late in (lambda: lots.close(lot), lambda: lots.admit(lot, sampled(lots, 12))):
        with pytest.raises(LotRefused, match=r"Lot 'L1' is closed \(accept\)"):
            late()


def test_rejected_as_soon_as_it_is_certain(archive: Archive, lots: Lots) -> None:
    lot = lots.make(order())
    fill(archive, lot, "pfpf")
    assert lots.state("L1").standing.decision is LotDecision.REJECT
    assert lots.close(lot).decision is LotDecision.REJECT


def test_doubt_keeps_a_lot_open_where_it_matters(archive: Archive, lots: Lots) -> None:
    first, second = lots.make(order("L1")), lots.make(order("L2"))
    fill(archive, first, "u" + "p" * 12)
    assert lots.state("L1").standing.decision is LotDecision.ACCEPT
    fill(archive, second, "uu" + "p" * 11)
    state = lots.state("L2")
    assert (state.standing.decision, state.next_unit) == (LotDecision.OPEN, None)
    with pytest.raises(LotRefused, match="state why it is closed without a decision"):
        lots.close(second)
    end = lots.close(second, "the calibration has run out")
    assert (end.decision, end.reason) == (LotDecision.OPEN, "the calibration has run out")


def test_a_rejected_lot_is_presented_again_once(archive: Archive, lots: Lots) -> None:
    old = lots.make(order("L1"))
    again = replace(order("L1-again"), resubmits="l1", serials=serials(40))
    with pytest.raises(LotRefused, match="'L1' cannot be presented again: it was not closed as"):
        lots.make(again)
    fill(archive, old, "ff")
    lots.close(old)
    for wrong, sentence in (
        (replace(again, supplier="Others"), "its supplier and model are others"),
        (replace(again, plan=plan_for(41, 4.0), serials=()), "it had 40 units, fewer than 41"),
    ):
        with pytest.raises(LotRefused, match=sentence):
            lots.make(wrong)
    made = lots.make(again)
    assert made.resubmits == "L1"
    assert lots.state("L1").again == ("L1-again",)
    # A new inspection: what was tested before is tested again.
    assert lots.state("L1-again").standing.tally.untested == 13
    with pytest.raises(LotRefused, match="it was already, as 'L1-again'"):
        lots.make(replace(again, name="L1-third"))


def test_advice_over_the_lots_of_a_supplier(archive: Archive, lots: Lots) -> None:
    def inspect(name: str, letters: str, resubmits: str = "") -> Lot:
        lot = lots.make(replace(order(name), resubmits=resubmits))
        fill(archive, lot, letters)
        lots.close(lot)
        return lot

    inspect("L1", "ff")
    inspect("L2", "ff", resubmits="L1")
    assert lots.advice(order("x")).severity is Severity.NORMAL, "presented again does not count"
    inspect("L3", "ff")
    advice = lots.advice(order("x"))
    assert (advice.severity, advice.why) == (
        Severity.TIGHTENED,
        "2 of the last 2 lots were not accepted (L1, L3).",
    )
    assert lots.make(order("L4")).advice == advice
    assert lots.advice(replace(order("x"), supplier="Others")).severity is Severity.NORMAL
    assert lots.advice(order("x", aql=2.5)).severity is Severity.NORMAL
    other_model = replace(order("x"), sheet=replace(SHEET, model="Sample 22"))
    assert lots.advice(other_model).severity is Severity.NORMAL
    assert lots.advice(tightened(order("x"))).severity is Severity.TIGHTENED
    assert [state.lot.name for state in lots.states("northern imports")] == ["L1", "L2", "L3", "L4"]


def test_two_benches_never_take_one_place(archive: Archive, lots: Lots) -> None:
    """Both looked, both were admitted; the second to begin is told what the first did."""
    lot = lots.make(order(size=8, aql=4.0, listed=False))
    with open_archive(archive.path, simulated=False) as other:
        assert lots.admit(lot, "D-0001") == Lots(other).admit(lot, "D-0002")
        write_run(archive, "D-0001", lot=(lot, ""))
        write_run(other, "D-0002", lot=(lot, ""))
        with pytest.raises(LotRefused, match="was tested before"):
            write_run(other, "D-0001", lot=(lot, ""))
    assert [unit.serial for unit in lots.state("L1").units] == ["D-0001", "D-0002", ""]
