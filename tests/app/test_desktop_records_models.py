"""The Records view without Qt: pages, differences, traces, export."""

import csv
import json
import math
from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from archive_examples import check, header, quantity
from qualify_runs import Run
from records_examples import fill, serial_of, verdict_of
from report_examples import captures, levels, record

from pilotsignal.capture import Capture
from pilotsignal.judge import Verdict
from rungbench.archive.errors import NoSuchRecord
from rungbench.archive.record import Record, RunVerdict
from rungbench.archive.store import Archive, open_archive
from rungbench.desktop.errands import Cancel
from rungbench.desktop.paging import ROWS, Page, Turn
from rungbench.desktop.records_compare import compare, difference
from rungbench.desktop.records_export import export_fitting, export_ids
from rungbench.desktop.records_facts import budget_cells, facts, lines_of, name_words
from rungbench.desktop.records_pages import Wanted, page, page_text
from rungbench.desktop.records_traces import NO_CAPTURE, trace_of, trace_of_check, traces_of
from rungbench.errors import Interrupted, RungbenchError, WrongUse

RUNS = 437


@pytest.fixture(scope="module")
def many(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return fill(tmp_path_factory.mktemp("many") / "archive.sqlite", RUNS)


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> tuple[Run, Record, Record]:
    """Two whole runs on the simulated bench: a sound charger and one with a wrong resistor."""
    folder = tmp_path_factory.mktemp("whole")
    good, bad = Run(folder), Run(folder, "source_ohm=1100")
    return good, good.record(), bad.record()


def walk(archive: Archive, wanted: Wanted, turns: tuple[Turn, Turn]) -> list[list[int]]:
    """Numbers of all pages in one direction."""
    first, step = turns
    pages = [page(archive, wanted, first)]
    while pages[-1].older if step is Turn.NEXT else pages[-1].newer:
        pages.append(page(archive, wanted, step, pages[-1]))
    return [[row.number for row in one.rows] for one in pages]


# Pages ------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("wanted", "fits"),
    [
        (Wanted(), lambda _: True),
        (Wanted(verdict=RunVerdict.FAIL), lambda n: verdict_of(n) is RunVerdict.FAIL),
        (Wanted(maker="EXAMPLE ag"), lambda n: n % 4 == 2),
        (Wanted(text="demo-0003"), lambda n: serial_of(n).startswith("DEMO-0003")),
        (Wanted(maker="demo works", verdict=RunVerdict.FAIL), lambda n: n % 4 == 0 and n % 23 == 0),
    ],
)
def test_pages_hold_every_run_once_in_both_directions(
    many: Path, wanted: Wanted, fits: Callable[[int], bool]
) -> None:
    expected = [number for number in range(RUNS, 0, -1) if fits(number)]
    with open_archive(many, False) as archive:
        forth = walk(archive, wanted, (Turn.FIRST, Turn.NEXT))
        back = walk(archive, wanted, (Turn.LAST, Turn.BACK))
    assert [number for one in forth for number in one] == expected
    seen = [number for one in back for number in one]
    assert set(seen) == set(expected)
    assert all(one == sorted(one, reverse=True) for one in back)
    assert all(len(one) <= ROWS for one in (*forth, *back))


def test_the_last_page_is_a_full_one(many: Path) -> None:
    with open_archive(many, False) as archive:
        last = page(archive, Wanted(), Turn.LAST)
        assert [row.number for row in last.rows] == list(range(ROWS, 0, -1))
        assert (last.newer, last.older, last.total) == (True, False, RUNS)
        again = page(archive, Wanted(), Turn.NEXT, last)
        assert again.rows == last.rows


def test_days_bound_a_search_both_included(many: Path) -> None:
    with open_archive(many, False) as archive:
        found = page(archive, Wanted(since="2024-01-02", until="2024-01-02"), Turn.FIRST)
        assert {f"{row.started:%Y-%m-%d}" for row in found.rows} == {"2024-01-02"}
        with pytest.raises(WrongUse, match="no day"):
            page(archive, Wanted(since="yesterday"), Turn.FIRST)


def test_a_record_is_found_by_its_id(many: Path) -> None:
    with open_archive(many, False) as archive:
        wanted = page(archive, Wanted(), Turn.FIRST).rows[7]
        found = page(archive, Wanted(text=wanted.run_id[:8]), Turn.FIRST)
        assert [row.number for row in found.rows] == [wanted.number]


def test_what_is_shown_is_told_in_words() -> None:
    assert "run a charger first" in page_text(Page(), Wanted())
    assert page_text(Page(total=3), Wanted(text="x")) == "No record fits."


# Differences ------------------------------------------------------------------------------------


def test_a_shared_input_cancels_in_a_difference() -> None:
    """GUM 5.2.2: with one shared input and equal sensitivities its contribution to b - a is 0."""
    one, other = quantity("high_plateau_v", 9.0, "V"), quantity("high_plateau_v", 9.2, "V")
    shared = replace(one.rows[1], id="gain@CAL", sensitivity=10.0, u=0.001)
    first = replace(one, rows=(replace(one.rows[0], id="scatter@1"), shared))
    second = replace(other, rows=(replace(other.rows[0], id="scatter@2"), shared))
    u = math.hypot(0.01, 0.01)
    first, second = replace(first, u=u), replace(second, u=u)
    found = difference(first, second)
    assert found is not None
    assert found.value == pytest.approx(0.2)
    assert found.u == pytest.approx(math.hypot(0.01, 0.01))  # both scatters, no gain
    assert "share" in found.method


def test_without_a_whole_budget_values_are_taken_as_independent() -> None:
    one = replace(quantity(), rows=(), u=3.0, dof=9.0)
    found = difference(one, replace(one, value=one.value + 5.0, u=4.0))
    assert found is not None
    assert found.value == pytest.approx(5.0)
    assert found.u == pytest.approx(5.0)
    assert found.dof == 9.0
    assert "independent" in found.method


def test_nothing_is_subtracted_from_nothing_or_from_another_unit() -> None:
    assert difference(None, quantity()) is None
    assert difference(quantity(unit="Hz"), quantity(unit="V")) is None


def test_two_chargers_differ_where_they_do(whole: tuple[Run, Record, Record]) -> None:
    _, good, bad = whole
    rows = {(row.check, row.name): row for row in compare((good, bad))}
    resistance = rows["source-resistance", "source_resistance_ohm"]
    (found,) = resistance.differences
    assert found is not None
    # Made with 1100 ohm and 1004 ohm (default of the key); parts and calibration are the same.
    assert found.value == pytest.approx(96.0, abs=found.expanded())
    assert found.expanded() < min(one.expanded() for one in resistance.values if one is not None)
    assert resistance.differs
    assert resistance.verdicts == ("pass", "fail")
    frequency = rows["frequency-b", "frequency_hz"]
    assert not frequency.differs
    assert frequency.differences[0] is not None
    assert frequency.values[0] is not None
    assert frequency.differences[0].u < frequency.values[0].u  # the crystal is the same


def test_a_check_that_one_record_lacks_stays_in_the_table() -> None:
    rows = compare((record(check("a")), record(check("a"), check("b", Verdict.NOT_RUN))))
    only = [row for row in rows if row.check == "b"]
    assert only
    assert all(row.verdicts == ("", "not run") for row in only)
    assert all(row.differences == (None,) for row in only)


# Traces -----------------------------------------------------------------------------------------


def test_a_stored_period_is_laid_over_with_its_limits(whole: tuple[Run, Record, Record]) -> None:
    run, good, _ = whole
    with open_archive(run.archive, simulated=True) as archive:
        traces = {one.title: one for one in traces_of(good, archive.load_capture)}
        result = next(one for one in good.checks if one.check == "plateau-b")
        of_check = trace_of_check(result, good, archive.load_capture)
    trace = traces["B"]
    assert trace.periodic
    assert trace.mask.high is not None
    # 16 A is 26.67 % of 1 ms (IEC 61851-1:2017, Table A.7), 9 V and -12 V the levels of state B.
    high = trace.mean_v[(trace.x > 50.0) & (trace.x < 240.0)]
    low = trace.mean_v[(trace.x > 300.0) & (trace.x < 950.0)]
    assert np.allclose(high, 9.0, atol=0.2)
    assert np.allclose(low, -12.0, atol=0.2)
    assert np.all(trace.least_v <= trace.most_v)
    assert np.array_equal(of_check.x, trace.x)
    assert not traces["open"].periodic


def test_a_capture_that_is_gone_is_told() -> None:
    def gone(key: str) -> Capture:
        raise NoSuchRecord(f"No capture begins with {key!r}.")

    trace = trace_of("B", ("x",), gone)
    assert not trace.drawn
    assert trace.about == NO_CAPTURE


def test_a_gap_is_not_closed() -> None:
    trace = trace_of("B", ("5" * 64,), captures)
    steps = np.diff(trace.x)
    assert steps.max() > 5 * np.median(steps)  # 32 samples are missing in the example


# One record -------------------------------------------------------------------------------------


def test_budget_rows_add_up_to_the_whole() -> None:
    cells = budget_cells(quantity())
    assert len(cells) == 2
    assert sum(int(row[3].split()[0]) for row in cells) == pytest.approx(100, abs=1)


@pytest.mark.parametrize(
    ("name", "words"),
    [("high_plateau_v", "high plateau"), ("mains_phases", "mains phases"), ("state", "state")],
)
def test_names_lose_the_unit_only(name: str, words: str) -> None:
    assert name_words(name) == words


def test_facts_and_lines_of_a_record() -> None:
    one = record(levels(), check("frequency", attempt=1), check("frequency", attempt=2))
    assert [line.check for line in lines_of(one)] == ["plateau-b/1", "frequency/1", "frequency/2"]
    named = dict(facts(one))
    assert any("DEMO-0001" in text for text in named.values())
    assert all(named.values())


# Export -----------------------------------------------------------------------------------------


def test_export_by_the_ending_of_the_file(
    whole: tuple[Run, Record, Record], tmp_path: Path
) -> None:
    run, good, bad = whole
    ids = [good.run_id, bad.run_id]
    with open_archive(run.archive, simulated=True) as archive:
        for ending in ("csv", "json", "pdf"):
            done = export_ids(archive, ids, tmp_path / f"out.{ending}", Cancel())
            assert done.runs == 2
        with pytest.raises(WrongUse, match="none of"):
            export_ids(archive, ids, tmp_path / "out.doc", Cancel())
    rows = list(csv.reader((tmp_path / "out.csv").read_text("utf-8-sig").splitlines()))
    assert len(rows) == 3
    document = json.loads((tmp_path / "out.json").read_text("utf-8"))
    assert [one["record"] for one in document["records"]] == ids
    assert (tmp_path / "out.pdf").read_bytes().startswith(b"%PDF")


def test_a_cancelled_export_leaves_nothing(many: Path, tmp_path: Path) -> None:
    class Late(Cancel):
        asked = 0

        def check(self) -> None:
            self.asked += 1
            if self.asked > 20:
                raise Interrupted("Cancelled.")

    with open_archive(many, False) as archive, pytest.raises(Interrupted):
        export_fitting(archive, Wanted().search(), tmp_path / "all.csv", Late())
    assert list(tmp_path.iterdir()) == []


def test_all_that_fit_are_exported_the_oldest_first(many: Path, tmp_path: Path) -> None:
    wanted = Wanted(verdict=RunVerdict.FAIL)
    with open_archive(many, False) as archive:
        done = export_fitting(archive, wanted.search(), tmp_path / "fail.csv", Cancel())
    text = (tmp_path / "fail.csv").read_text("utf-8-sig")
    expected = [number for number in range(1, RUNS + 1) if number % 23 == 0]
    assert done.runs == len(expected)
    places = [text.index(serial_of(number)) for number in expected]
    assert all(one < other for one, other in pairwise(places))


def test_an_export_to_a_full_or_missing_place_is_a_sentence(
    whole: tuple[Run, Record, Record], tmp_path: Path
) -> None:
    run, good, _ = whole
    with (
        open_archive(run.archive, simulated=True) as archive,
        pytest.raises(RungbenchError, match="cannot be written"),
    ):
        export_ids(archive, [good.run_id], tmp_path / "no" / "out.csv", Cancel())


def test_header_of_the_examples_is_what_the_pages_count_on() -> None:
    assert header().charger.serial == "DEMO-0001"
