"""Runs that had joined a lot as a unit that they are not of: corrected by a new entry."""

from collections.abc import Iterator
from dataclasses import replace

import pytest
from lot_examples import fill, order, write_run

from rungbench.archive.record import RunVerdict
from rungbench.archive.store import Archive, open_archive
from rungbench.archive.verify import verify
from rungbench.lots.admission import Correction
from rungbench.lots.audit import audit
from rungbench.lots.decision import LotDecision, Outcome
from rungbench.lots.errors import LotRefused
from rungbench.lots.lot import Lot, LotState
from rungbench.lots.store import Lots
from rungbench.paths import Place

pytest_plugins = ("archive_places",)


@pytest.fixture
def archive(archive_place: Place) -> Iterator[Archive]:
    with open_archive(archive_place, simulated=False) as made:
        yield made


@pytest.fixture
def lots(archive: Archive) -> Lots:
    return Lots(archive)


@pytest.fixture
def listed(archive: Archive, lots: Lots) -> Lot:
    """A lot from a list, the first unit of the sample failed."""
    lot = lots.make(order())
    fill(archive, lot, "f")
    return lot


@pytest.fixture
def placed(archive: Archive, lots: Lots) -> Lot:
    """A lot by places, three units tested: pass, fail, pass."""
    lot = lots.make(order(listed=False))
    for number, verdict in enumerate((RunVerdict.PASS, RunVerdict.FAIL, RunVerdict.PASS), 501):
        write_run(archive, f"D-{number:04}", verdict, lot=(lot, ""))
    return lot


def outcomes(state: LotState, *places: int) -> list[Outcome]:
    return [state.units[at].outcome for at in places]


def because(unit: int | None) -> Correction:
    return Correction(unit, "the wrong label was scanned", "R. Example")


def test_a_run_of_a_listed_lot_is_of_another_unit(lots: Lots, listed: Lot) -> None:
    units = lots.state("L1").units
    (run,) = units[0].runs
    assert lots.move(listed, run.run_id[:5], because(units[4].number)) == run.run_id
    state = lots.state("L1")
    assert outcomes(state, 0, 4) == [Outcome.UNTESTED, Outcome.FAIL]
    assert state.units[4].runs == (replace(run, unit=units[4].number),)
    # Serial numbers of a list stay where they are.
    assert [unit.serial for unit in state.units] == [unit.serial for unit in units]
    (move,) = state.moves
    assert (move.run_id, move.before, move.unit) == (run.run_id, units[0].number, units[4].number)
    assert (move.reason, move.operator, move.serial) == (because(1).reason, "R. Example", None)


def test_a_run_is_taken_out_and_put_back(lots: Lots, listed: Lot) -> None:
    unit = lots.state("L1").units[0]
    (run,) = unit.runs
    lots.move(listed, run.run_id, because(None))
    state = lots.state("L1")
    assert state.standing.tally.failed == 0
    assert state.next_unit is not None
    assert state.next_unit.number == unit.number
    lots.move(listed, run.run_id, because(unit.number))
    state = lots.state("L1")
    assert state.units[0].runs == (run,)
    assert [(one.before, one.unit) for one in state.moves] == [
        (unit.number, None),
        (None, unit.number),
    ]


def test_in_a_lot_by_places_the_serial_number_goes_along(
    archive: Archive, lots: Lots, placed: Lot
) -> None:
    units = lots.state("L1").units
    wrong, right = units[1].number, units[7].number
    lots.move(placed, units[1].runs[0].run_id, because(right))
    state = lots.state("L1")
    assert (state.units[1].serial, state.units[7].serial) == ("", "D-0502")
    assert outcomes(state, 1, 7) == [Outcome.UNTESTED, Outcome.FAIL]
    # The place that became free takes the next new serial number.
    write_run(archive, "D-0600", lot=(placed, ""))
    state = lots.state("L1")
    assert (state.units[1].number, state.units[1].serial) == (wrong, "D-0600")
    assert outcomes(state, 1) == [Outcome.PASS]
    # And the moved one is known by its place: a second run needs a reason.
    with pytest.raises(LotRefused, match="was tested before"):
        write_run(archive, "D-0502", lot=(placed, ""))


def test_two_that_were_mixed_up_change_places(lots: Lots, placed: Lot) -> None:
    first, second = lots.state("L1").units[:2]
    with pytest.raises(LotRefused, match="has the serial number 'D-0502'; move that one first"):
        lots.move(placed, first.runs[0].run_id, because(second.number))
    lots.move(placed, first.runs[0].run_id, because(None))
    lots.move(placed, second.runs[0].run_id, because(first.number))
    lots.move(placed, first.runs[0].run_id, because(second.number))
    state = lots.state("L1")
    assert [unit.serial for unit in state.units[:3]] == ["D-0502", "D-0501", "D-0503"]
    assert outcomes(state, 0, 1, 2) == [Outcome.FAIL, Outcome.PASS, Outcome.PASS]


def test_all_runs_of_a_unit_go_along(archive: Archive, lots: Lots, placed: Lot) -> None:
    write_run(archive, "D-0501", RunVerdict.PASS, lot=(placed, "looked at again"))
    units = lots.state("L1").units
    lots.move(placed, units[0].runs[1].run_id, because(units[9].number))
    state = lots.state("L1")
    assert len(state.units[9].runs) == 2
    assert state.units[0].runs == ()


@pytest.mark.parametrize("lot", ["listed", "placed"])
def test_a_charger_is_not_tested_until_it_passes(
    archive: Archive, lots: Lots, lot: str, request: pytest.FixtureRequest
) -> None:
    """Taken out, it comes in again only with a reason, which then stands there."""
    made: Lot = request.getfixturevalue(lot)
    unit = next(unit for unit in lots.state("L1").units if unit.outcome is Outcome.FAIL)
    lots.move(made, unit.runs[0].run_id, because(None))
    with pytest.raises(LotRefused, match="taken out of the lot.*state why it is tested again"):
        write_run(archive, unit.serial, RunVerdict.PASS, lot=(made, ""))
    write_run(archive, unit.serial, RunVerdict.PASS, lot=(made, "the label was that of another"))
    runs = [run for one in lots.state("L1").units for run in one.runs]
    assert [run.reason for run in runs if run.reason] == ["the label was that of another"]


def test_a_correction_can_change_the_decision_and_stands_in_the_chain(
    archive: Archive, lots: Lots, listed: Lot
) -> None:
    fill(archive, listed, "")
    units = lots.state("L1").units
    write_run(archive, units[1].serial, RunVerdict.FAIL, lot=(listed, ""))
    assert lots.state("L1").standing.decision is LotDecision.REJECT
    lots.move(listed, lots.state("L1").units[1].runs[0].run_id, because(units[0].number))
    assert lots.state("L1").standing.decision is LotDecision.OPEN
    assert verify(archive).sound
    assert audit(archive) == ()


@pytest.mark.parametrize(
    ("unit", "reason", "why"),
    [
        ("same", "so", "is of unit .* already"),
        ("other", "  ", "State why the run is of another unit"),
        ("none", "so", "was not drawn from lot"),
    ],
)
def test_moves_that_are_refused(lots: Lots, listed: Lot, unit: str, reason: str, why: str) -> None:
    drawn = [one.number for one in lots.state("L1").units]
    missing = next(number for number in range(1, 41) if number not in drawn)
    wanted = {"same": drawn[0], "other": drawn[3], "none": missing}[unit]
    run = lots.state("L1").units[0].runs[0].run_id
    with pytest.raises(LotRefused, match=why):
        lots.move(listed, run, Correction(wanted, reason))
    assert lots.state("L1").moves == ()


def test_a_run_of_no_lot_and_a_closed_lot(archive: Archive, lots: Lots, listed: Lot) -> None:
    alone = write_run(archive, "D-0039")
    unit = lots.state("L1").units[4].number
    with pytest.raises(LotRefused, match="is not of lot 'L1'"):
        lots.move(listed, alone, because(unit))
    run = lots.state("L1").units[0].runs[0].run_id
    lots.close(listed, "enough")
    with pytest.raises(LotRefused, match="is closed"):
        lots.move(listed, run, because(unit))
