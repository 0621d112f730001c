"""Which values of a lot are looked at, and what is made of them."""

from collections.abc import Iterator
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from archive_examples import check, header, limit, quantity
from lot_examples import SHEET, order, write_run

from pilotsignal.judge import Judgement, Verdict
from rungbench.archive.record import RunVerdict, utc_now
from rungbench.archive.store import Archive, open_archive
from rungbench.lots.control import control_chart
from rungbench.lots.errors import LotRefused
from rungbench.lots.failures import failures_in
from rungbench.lots.lot import Lot
from rungbench.lots.store import Lots
from rungbench.lots.values import Name, name_of
from rungbench.lots.variables import Variables, summaries_in, trend_in, variables_in


@pytest.fixture
def archive(tmp_path: Path) -> Iterator[Archive]:
    with open_archive(tmp_path / "archive.sqlite", simulated=False) as made:
        yield made


def filled(archive: Archive, name: str, values: list[float]) -> Lot:
    lots = Lots(archive)
    lot = lots.make(order(name))
    for unit, value in zip(lots.state(name).units, values, strict=False):
        write_run(archive, unit.serial, value=value, lot=(lot, ""))
    return lot


def seen(archive: Archive, name: str = "frequency", lot: str = "L1") -> Variables:
    return variables_in(archive, [Lots(archive).state(lot)], name)


def test_values_with_their_units_limits_and_uncertainty(archive: Archive) -> None:
    values = [1000.0 + number / 10 for number in range(13)]
    filled(archive, "L1", values)
    found = seen(archive)
    series = found.series
    assert series.name == Name("frequency", "frequency_hz", judged=True)
    assert (series.unit, series.low, series.high, series.note) == ("Hz", 995.0, 1005.0, "")
    np.testing.assert_array_equal(series.numbers, values)
    assert series.bench_uncertainty() == 0.0306
    units = Lots(archive).state("L1").units
    assert [one.serial for one in series.values] == [unit.serial for unit in units]
    assert found.spread is not None
    assert found.performance is not None
    deviation = float(np.std(values, ddof=1))
    assert found.performance.ppk == pytest.approx((1005.0 - 1000.6) / (3 * deviation))
    assert found.control is not None
    assert found.control.centre == pytest.approx(1000.6)


def test_a_run_that_does_not_count_gives_no_value(archive: Archive) -> None:
    lots = Lots(archive)
    lot = lots.make(order())
    first, second = (unit.serial for unit in lots.state("L1").units[:2])
    write_run(archive, first, RunVerdict.BENCH_FAULT, value=1.0, lot=(lot, ""))
    write_run(archive, first, RunVerdict.PASS, value=1000.1, lot=(lot, "the cable"))
    write_run(archive, second, RunVerdict.PASS, value=1000.2, lot=(lot, ""))
    write_run(archive, second, RunVerdict.FAIL, value=2.0, lot=(lot, "to see it twice"))
    write_run(archive, "D-0001", value=1003.0)
    assert seen(archive).series.numbers.tolist() == [1000.1, 1000.2]


def test_of_several_attempts_the_last_one_is_taken(archive: Archive) -> None:
    lots = Lots(archive)
    lot = lots.make(order())
    serial = lots.state("L1").units[0].serial
    run_id = write_run(archive, serial, None, lot=(lot, ""))
    for attempt, value in ((1, 995.001), (2, 1000.3)):
        measured = quantity("frequency_hz", value)
        judged = Judgement(Verdict.PASS, "", measured, limit(), None)
        shown = Judgement(Verdict.OBSERVED, "", measured, replace(limit(), high=1020.0), None)
        result = replace(check("frequency", attempt=attempt), quantities=(measured,))
        archive.add_check(run_id, replace(result, judgements=(judged, shown)))
    archive.finish(run_id, RunVerdict.PASS, utc_now() + timedelta(seconds=9))
    series = seen(archive).series
    assert series.numbers.tolist() == [1000.3]
    assert series.high == 1005.0, "the judgement that decides, not the one that is shown"


def test_limits_that_differ_are_not_drawn(archive: Archive) -> None:
    lots = Lots(archive)
    lot = lots.make(order())
    for unit, high in zip(lots.state("L1").units, (1005.0, 1006.0), strict=False):
        run_id = write_run(archive, unit.serial, None, lot=(lot, ""))
        measured = quantity()
        judged = Judgement(Verdict.PASS, "", measured, replace(limit(), high=high), None)
        result = replace(check(), quantities=(measured,), judgements=(judged,))
        archive.add_check(run_id, result)
        archive.finish(run_id, RunVerdict.PASS, utc_now() + timedelta(seconds=9))
    found = seen(archive)
    assert (found.series.low, found.series.high) == (None, None)
    assert "differ from run to run" in found.series.note
    assert found.performance is None


def test_names() -> None:
    known = [
        Name("plateau-b", "high_plateau_v", judged=True),
        Name("plateau-b", "noise_v"),
        Name("plateau-c", "high_plateau_v", judged=True),
        Name("two", "a_v", judged=True),
        Name("two", "b_v", judged=True),
    ]
    assert name_of(known, "plateau-b:noise_v") is known[1]
    assert name_of(known, " plateau-c ") is known[2]
    assert name_of(known, "noise_v") is known[1]
    for wanted, sentence in (
        ("high_plateau_v", "may be any of plateau-b:high_plateau_v, plateau-c:high_plateau_v"),
        ("two", "may be any of two:a_v, two:b_v; name one"),
        ("duty", "There is no quantity 'duty'; those are plateau-b:high_plateau_v, "),
    ):
        with pytest.raises(LotRefused, match=sentence):
            name_of(known, wanted)
    with pytest.raises(LotRefused, match="No run of the lot counts yet"):
        name_of([], "x")


def test_a_line_for_every_judged_quantity(archive: Archive) -> None:
    lot = filled(archive, "L1", [1000.0, 1001.0])
    serial = Lots(archive).state("L1").units[2].serial
    write_run(archive, serial, RunVerdict.FAIL, value=1010.0, lot=(lot, ""))
    (summary,) = summaries_in(archive, [Lots(archive).state("L1")])
    assert summary.series.name.text == "frequency:frequency_hz"
    assert (len(summary.series.values), summary.outside) == (3, 1)
    assert summary.spread is not None
    assert summary.spread.mean == pytest.approx(3011.0 / 3)


def test_what_failed_is_counted_by_unit(archive: Archive) -> None:
    lots = Lots(archive)
    lot = lots.make(order())
    serials = [unit.serial for unit in lots.state("L1").units]
    write_run(archive, serials[0], RunVerdict.FAIL, lot=(lot, ""))
    write_run(archive, serials[1], RunVerdict.PASS, lot=(lot, ""))
    write_run(archive, serials[2], RunVerdict.BENCH_FAULT, lot=(lot, ""))
    write_run(archive, serials[2], RunVerdict.FAIL, lot=(lot, "cable"))
    (failure,) = failures_in(archive, lots.state("L1"))
    assert (failure.check, failure.serials) == ("frequency", (serials[0], serials[2]))


def test_a_supplier_over_time(archive: Archive) -> None:
    """Nine lots, the mean of the last one moved: no lot shows it by itself."""
    rng = np.random.default_rng(3)
    for number in range(9):
        centre = 1000.0 + (3.0 if number == 8 else 0.0)
        filled(archive, f"L{number}", list(centre + rng.normal(0, 0.3, 13)))
    found = trend_in(archive, Lots(archive).states(), "frequency")
    assert [point.lot for point in found.lots] == [f"L{number}" for number in range(9)]
    assert {point.count for point in found.lots} == {13}
    means = [point.spread.mean for point in found.lots if point.spread is not None]
    whole = found.whole.series.numbers
    assert means == pytest.approx([float(part.mean()) for part in np.split(whole, 9)])
    assert found.between is not None
    assert found.between.beyond == (8,)
    alone = control_chart(whole[:13])
    assert alone is not None
    assert found.whole.performance is not None


def test_a_trend_is_of_one_model(archive: Archive) -> None:
    lots = Lots(archive)
    with pytest.raises(LotRefused, match="That supplier has no lots"):
        trend_in(archive, lots.states("nobody"), "frequency")
    lots.make(order("L1"))
    lots.make(replace(order("L2"), sheet=replace(SHEET, model="Sample 22")))
    with pytest.raises(LotRefused, match="lots of Sample 11, Sample 22; say which with --model"):
        trend_in(archive, lots.states(), "frequency")
    assert header().charger.model == "Sample 11"
