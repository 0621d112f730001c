"""The Lots view without Qt: words, pages of the list, the draft of a lot, files."""

import csv
import io
import itertools
import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import lots_shelf
import pytest
from lot_examples import SHEET, order, serials, write_run

from pilotsignal.standard import load_profile
from rungbench.archive.record import RunVerdict
from rungbench.archive.store import Archive, open_archive
from rungbench.desktop import lots_pages, paging
from rungbench.desktop.errands import Cancel
from rungbench.desktop.lots_draft import Draft, against, make, preview, serials_of
from rungbench.desktop.lots_export import COLUMNS, export_lot
from rungbench.desktop.lots_opened import open_lot, supplier_views
from rungbench.desktop.lots_pages import Stage, Wanted, lot_cells, page, page_text
from rungbench.desktop.lots_words import (
    both_countings,
    lot_pairs,
    next_text,
    remains,
    run_cells,
    standing_text,
    unit_text,
    unit_word,
)
from rungbench.desktop.paging import Page, Turn
from rungbench.desktop.run_choice import Model
from rungbench.errors import Interrupted, WrongUse
from rungbench.lots.decision import LotDecision, Tally, decide
from rungbench.lots.errors import LotRefused, NoSuchLot
from rungbench.lots.lot import LotState
from rungbench.lots.sampling import Severity, plan_for
from rungbench.lots.store import Lots
from rungbench.qualify.plan_file import load_plan
from rungbench.qualify.sheet import INVENTED


@pytest.fixture
def archive(tmp_path: Path) -> Iterator[Archive]:
    with open_archive(tmp_path / "demo.sqlite", simulated=True) as made:
        yield made


def draft(**changes: Any) -> Draft:
    """A lot of 40 at AQL 4.0, its serial numbers listed."""
    whole = Draft(
        name="N-1",
        supplier="Northern Imports",
        model=Model("invented", replace(INVENTED, serial_pattern="D-[0-9]{4}")),
        plan=load_plan("quick"),
        profile=load_profile(),
        size="40",
        aql=4.0,
        serials="\n".join(serials(40)),
    )
    return replace(whole, **changes)


# What remains -------------------------------------------------------------------------------------


def tallies(total: int) -> Iterator[Tally]:
    for failed, undecided, untested in itertools.product(range(4), range(4), range(total + 1)):
        if failed + undecided + untested <= total:
            yield Tally(total - failed - undecided - untested, failed, undecided, untested)


def fewest(tally: Tally, *, passing: bool, wanted: LotDecision) -> int | None:
    """How many of the units that are left must pass (or fail) until the lot is decided so."""
    plan = plan_for(40, 4.0)
    for count in range(1, tally.untested + 1):
        more = {"passed": tally.passed + count} if passing else {"failed": tally.failed + count}
        if decide(plan, replace(tally, untested=tally.untested - count, **more)).decision is wanted:
            return count
    return None


@pytest.mark.parametrize("tally", list(tallies(13)))
def test_what_remains_is_what_decides(tally: Tally) -> None:
    plan = plan_for(40, 4.0)
    assert (plan.sample_size, plan.accept) == (13, 1)
    text = remains(plan, tally)
    if decide(plan, tally).decision is not LotDecision.OPEN:
        assert text == ""
        return
    passes = fewest(tally, passing=True, wanted=LotDecision.ACCEPT)
    fails = fewest(tally, passing=False, wanted=LotDecision.REJECT)
    expected = {
        None: "stays open",
        1: "Accept if the next unit passes",
    }.get(passes, f"Accept if the next {passes} units pass")
    assert expected in text
    if fails is None:
        assert "reject as soon" not in text
    else:
        assert f"reject as soon as {fails} more fail" in text


def test_undecided_units_are_counted_both_ways() -> None:
    plan = plan_for(40, 4.0)
    passed, failed = both_countings(plan, Tally(11, 0, 2, 0))
    assert passed == "2 undecided counted as passed: 0 failed, accept."
    assert failed == "2 undecided counted as failed: 2 failed, reject."
    assert both_countings(plan, Tally(12, 1, 0, 0)) == ()


# Words of units and runs --------------------------------------------------------------------------


def test_every_state_of_a_unit_has_its_word(archive: Archive) -> None:
    lots_shelf.retested(archive)
    state = Lots(archive).state("R-1")
    words = [unit_word(unit) for unit in state.units]
    assert words[:5] == ["pass", "pass", "pass", "fail", "incomplete"]
    assert set(words[5:]) == {"not tested"}
    first, second = state.units[:2]
    counting, doubted = (run_cells(first, run)[1] for run in first.runs)
    assert counting.endswith("; counts")
    assert counting.startswith(first.runs[0].run_id)
    assert "tested again: <script>doubt</script>" in doubted
    assert doubted.endswith("does not count: an earlier run does")
    faulty, again = (run_cells(second, run) for run in second.runs)
    assert (faulty[0], again[0]) == ("bench fault", "pass")
    assert faulty[1].endswith("does not count: it says nothing of the charger")
    assert again[1].endswith("; counts")
    assert unit_text(first).endswith("pass, 2 runs")
    assert "its last run was incomplete" in next_text(state)


def test_a_bench_fault_stands_there_until_a_run_counts(archive: Archive) -> None:
    lots_shelf.inspected(archive, "L", "b")
    unit = Lots(archive).state("L").units[0]
    assert unit_word(unit) == "bench fault"


def test_an_undecided_lot_says_both_countings(archive: Archive) -> None:
    lots_shelf.undecided(archive)
    state = Lots(archive).state("U-1")
    assert "counted as passed: 0 failed, accept" in standing_text(state)
    assert "without a decision" in next_text(state)


def test_the_facts_name_seed_and_list(archive: Archive) -> None:
    lots_shelf.rejected(archive)
    state = Lots(archive).state("B-1")
    facts = dict(lot_pairs(state))
    assert facts["Seed"].startswith("a-seed, chosen")
    assert facts["List, SHA-256"] == state.lot.list_sha256
    assert "from memory" in facts["When it was made"]


# The list -----------------------------------------------------------------------------------------


def test_pages_go_through_all_lots_and_back(
    archive: Archive, monkeypatch: pytest.MonkeyPatch
) -> None:
    rows = 4
    for module in (lots_pages, paging):
        monkeypatch.setattr(module, "ROWS", rows)
    lots = Lots(archive)
    names = [f"P-{number:03}" for number in range(2 * rows + 3)]
    for name in names:
        lots.make(order(name, listed=False))
    wanted, seen = Wanted(), []
    found: Page[LotState] = Page()
    for turn in (Turn.FIRST, Turn.NEXT, Turn.NEXT, Turn.NEXT):
        found = page(archive, wanted, turn, found)
        seen.append([state.lot.name for state in found.rows])
    assert [name for shown in seen[:3] for name in shown] == names[::-1]
    assert seen[3] == seen[2]
    assert not found.older
    assert found.newer
    before = page(archive, wanted, Turn.BACK, found)
    assert [state.lot.name for state in before.rows] == seen[1]
    last = page(archive, wanted, Turn.LAST)
    assert [state.lot.name for state in last.rows] == names[:rows][::-1]
    assert page_text(last, wanted) == f"{rows} shown (oldest); {len(names)} in the archive"


def test_a_search_is_the_beginning_of_lot_or_supplier(archive: Archive) -> None:
    lots_shelf.shelf(archive, drifts=2)
    found = page(archive, Wanted("drift"), Turn.FIRST)
    assert len(found.rows) == 2
    assert [state.lot.name for state in page(archive, Wanted("b-"), Turn.FIRST).rows] == ["B-1"]
    assert page(archive, Wanted("%"), Turn.FIRST).rows == ()
    assert page_text(page(archive, Wanted("%"), Turn.FIRST), Wanted("%")) == "No lot fits."


def test_lots_are_found_by_their_stage(archive: Archive) -> None:
    lots_shelf.shelf(archive, drifts=2)
    Lots(archive).close(lots_shelf.undecided(archive, "W-1"), "no more chargers")
    for stage, names in (
        (Stage.IN_HAND, {"U-1", "R-1", lots_shelf.HOSTILE_LOT}),
        (Stage.REJECTED, {"B-1"}),
        (Stage.WITHOUT, {"W-1"}),
        (Stage.ACCEPTED, {"D-01", "D-02"}),
    ):
        found = page(archive, Wanted(stage=stage), Turn.FIRST)
        assert {state.lot.name for state in found.rows} == names


def test_a_line_has_decision_plan_and_what_is_left(archive: Archive) -> None:
    lots_shelf.rejected(archive)
    cells = lot_cells(Lots(archive).state("B-1"))
    assert cells[:9] == (
        *("reject, closed", "B-1", "Northern Imports", "Demo Works Sample 11", "40"),
        *("13 / 1 / 2", "6", "7", "2"),
    )


def test_without_lots_the_list_says_what_to_do(archive: Archive) -> None:
    assert "Ctrl+N" in page_text(page(archive, Wanted(), Turn.FIRST), Wanted())


# A new lot ----------------------------------------------------------------------------------------


def test_the_preview_is_the_published_plan(archive: Archive) -> None:
    # MIL-STD-105E, code letter L, AQL 1.5: 200/7 normal, 200/5 tightened (as ISO 2859-1).
    wanted = draft(size="5000", aql=1.5, serials="")
    found = preview(archive, wanted, Cancel())
    assert (found.plan.sample_size, found.plan.accept, found.plan.reject) == (200, 7, 8)
    found = preview(archive, replace(wanted, severity=Severity.TIGHTENED), Cancel())
    assert (found.plan.sample_size, found.plan.accept) == (200, 5)
    assert found.wanting == ""


def test_a_preview_stores_nothing(archive: Archive) -> None:
    preview(archive, draft(), Cancel())
    preview(None, draft(), Cancel())
    assert page(archive, Wanted(), Turn.FIRST).total == 0


def test_a_lot_is_made_as_it_was_previewed(archive: Archive) -> None:
    found = preview(archive, draft(seed="abc"), Cancel())
    state = make(archive, draft(seed="abc"), Cancel())
    assert state.lot.plan == found.plan
    assert state.lot.seed == "abc"
    assert state.lot.listed
    assert all(unit.serial == f"D-{unit.number:04}" for unit in state.units)


@pytest.mark.parametrize(
    ("changes", "told"),
    [
        ({"name": " "}, "needs a name"),
        ({"supplier": ""}, "needs its supplier"),
        ({"model": None}, "no model sheet"),
        ({"size": "41"}, "40 serial numbers for a lot of 41"),
        ({"seed": "a b"}, "is of no use"),
        ({"serials": "D-0001\nD-0001"}, "line 2: 'D-0001'"),
        ({"serials": "X"}, "does not fit the model sheet"),
    ],
)
def test_what_stands_in_the_way_is_told(
    archive: Archive, changes: dict[str, Any], told: str
) -> None:
    found = preview(archive, draft(**changes), Cancel())
    assert told in found.wanting
    assert found.plan.lot_size in (40, 41)
    with pytest.raises(WrongUse):
        make(archive, draft(**changes), Cancel())
    assert page(archive, Wanted(), Turn.FIRST).total == 0


@pytest.mark.parametrize("size", ["", "forty", "-3", "1", "9" * 30, "²"])
def test_a_size_that_is_none_is_told(archive: Archive, size: str) -> None:
    with pytest.raises(WrongUse):
        preview(archive, draft(size=size), Cancel())


def test_a_list_may_be_pasted_from_a_table() -> None:
    text = "D-0001\tD-0002\r\n\r\n  D-0003  \n"
    assert serials_of(text, SHEET, Cancel()) == ("D-0001", "D-0002", "D-0003")


def test_reading_a_long_list_can_be_cancelled() -> None:
    cancel = Cancel()
    cancel.request()
    with pytest.raises(Interrupted):
        serials_of("\n".join(serials(5000)), SHEET, cancel)


def judged_lots(archive: Archive, decisions: str) -> None:
    """Lots like those of `draft`, closed as accepted (a) or rejected (r), in this order."""
    lots = Lots(archive)
    for number, letter in enumerate(decisions):
        name = f"S-{number}"
        lot = make(archive, draft(name=name, severity=Severity.NORMAL), Cancel()).lot
        for unit in lots.state(name).units[: 13 if letter == "a" else 2]:
            verdict = RunVerdict.PASS if letter == "a" else RunVerdict.FAIL
            write_run(archive, unit.serial, verdict, lot=(lot, ""))
        lots.close(lot)


def test_tightened_is_proposed_after_two_of_five_and_may_be_overruled(archive: Archive) -> None:
    judged_lots(archive, "arar")
    found = preview(archive, draft(), Cancel())
    assert found.advice is not None
    assert found.plan.severity is Severity.TIGHTENED
    assert against(draft(), found) == ""
    own = draft(severity=Severity.NORMAL)
    found = preview(archive, own, Cancel())
    assert found.plan.severity is Severity.NORMAL
    assert "ask for tightened inspection" in against(own, found)
    assert make(archive, draft(), Cancel()).lot.plan.severity is Severity.TIGHTENED


def test_a_rejected_lot_is_presented_again_once(archive: Archive) -> None:
    judged_lots(archive, "r")
    state = make(archive, draft(resubmits="S-0"), Cancel())
    assert state.lot.resubmits == "S-0"
    with pytest.raises(LotRefused, match="already"):
        make(archive, draft(name="N-2", resubmits="S-0"), Cancel())


# An opened lot ------------------------------------------------------------------------------------


def test_an_opened_lot_has_failures_and_quantities(archive: Archive) -> None:
    lots_shelf.rejected(archive)
    opened = open_lot(archive, "b-1", Cancel())
    assert [len(one.serials) for one in opened.failures] == [2]
    assert [one.series.name.text for one in opened.summaries] == ["frequency:frequency_hz"]
    assert opened.names[0].judged
    with pytest.raises(NoSuchLot):
        open_lot(archive, "none", Cancel())


def test_opening_can_be_cancelled(archive: Archive) -> None:
    lots_shelf.rejected(archive)
    cancel = Cancel()
    cancel.request()
    with pytest.raises(Interrupted):
        open_lot(archive, "B-1", cancel)


def test_a_supplier_has_only_lots_of_the_same_model(archive: Archive) -> None:
    lots_shelf.rejected(archive)
    other = replace(order("O-1"), sheet=replace(SHEET, model="Another"))
    Lots(archive).make(other)
    lot = Lots(archive).find("B-1")
    views = supplier_views(archive, lot, "frequency:frequency_hz", Cancel())
    assert [state.lot.name for state in views.states] == ["B-1"]
    assert views.trend is not None
    assert supplier_views(archive, lot, "no such", Cancel()).why != ""


# Files --------------------------------------------------------------------------------------------


def test_the_csv_has_a_row_a_run_and_runs_nothing(archive: Archive, tmp_path: Path) -> None:
    lots_shelf.hostile(archive)
    file = export_lot(archive, lots_shelf.HOSTILE_LOT, tmp_path / "lot.csv", Cancel())
    text = file.read_text(encoding="utf-8-sig")
    rows = list(csv.DictReader(io.StringIO(text)))
    assert tuple(rows[0]) == COLUMNS
    assert len(rows) == 13
    assert sum(row["record"] != "" for row in rows) == 3
    assert all(cell[:1] not in "=+-@" for row in rows for cell in row.values() if cell)
    assert rows[0]["lot"] == f"'{lots_shelf.HOSTILE_LOT}"
    assert rows[0]["supplier"] == lots_shelf.HOSTILE_SUPPLIER


def test_the_json_is_the_lots_document(archive: Archive, tmp_path: Path) -> None:
    lots_shelf.retested(archive)
    file = export_lot(archive, "R-1", tmp_path / "lot.json", Cancel())
    read = json.loads(file.read_text(encoding="utf-8"))
    assert read["schema"] == "rungbench.lot/1"
    assert read["simulated"] is True
    assert sum(len(unit["runs"]) for unit in read["units"]) == 7


def test_another_ending_and_a_wish_to_stop_leave_no_file(archive: Archive, tmp_path: Path) -> None:
    lots_shelf.retested(archive)
    with pytest.raises(WrongUse, match="csv, json, pdf"):
        export_lot(archive, "R-1", tmp_path / "lot.txt", Cancel())
    cancel = Cancel()
    cancel.request()
    with pytest.raises(Interrupted):
        export_lot(archive, "R-1", tmp_path / "lot.csv", cancel)
    assert list(tmp_path.glob("lot*")) == []
