"""Parts of checks against figures that come from elsewhere."""

import math
from dataclasses import replace
from datetime import date
from typing import Any

import pytest
from qualify_runs import DEMO

from pilotsignal.budget import combine, half_width
from pilotsignal.calibration import KnownPart
from pilotsignal.judge import Verdict, judge, withheld
from pilotsignal.standard import load_profile
from rungbench.errors import WrongUse
from rungbench.link.messages import Identity
from rungbench.link.words import LadderSet, Rung, Setting
from rungbench.qualify.bench import calibration_for, is_simulated
from rungbench.qualify.case import Bench, Finding, found
from rungbench.qualify.checks.source import as_quantity
from rungbench.qualify.checks.timing import rating_limit
from rungbench.qualify.counting import counted, exactly, phases_text
from rungbench.qualify.ladder_limit import ladder_limit, referred_to_ladder
from rungbench.qualify.order import Order, check_charger, left_out
from rungbench.qualify.plan_file import load_plan
from rungbench.qualify.safety import ALARM, Safety, outlet_check
from rungbench.standin.calibration import BenchCalibration, uncalibrated

PROFILE = load_profile()
BOARD = Identity(firmware="1", board_id="b")


def with_parts(diode_v: float = 0.70) -> BenchCalibration:
    """The nominal ladder of IEC 61851-1:2017 Table A.3 with exact parts."""
    parts = {
        "permanent": KnownPart("permanent", 2740.0, 0.0, "ohm"),
        "switched_c": KnownPart("switched_c", 1300.0, 0.0, "ohm"),
        "switched_d": KnownPart("switched_d", 270.0, 0.0, "ohm"),
        "diode_drop": KnownPart("diode_drop", diode_v, 0.0, "V"),
    }
    bare = uncalibrated(BOARD)
    return BenchCalibration("x", bare.volts, 10, bare.time_base, bare.width_bias, parts)


@pytest.mark.parametrize(
    ("rung", "low", "high"),
    [(Rung.B, 8.477, 9.489), (Rung.C, 5.636, 6.367), (Rung.D, 2.763, 3.107)],
)
def test_window_of_the_exact_ladder(rung: Rung, low: float, high: float) -> None:
    """Recomputed from IEC 61851-1:2017: rails and source of Table A.2, parts of Table A.3.

    (11.4 - 0.7) R / (R + 1030) + 0.7 and (12.6 - 0.7) R / (R + 970) + 0.7, with R 2740 ohm,
    2740 || 1300 and 2740 || 270. The figures were worked out with these rounded to 882 and 246 ohm,
    which is worth 2 mV.
    """
    limit = ladder_limit(PROFILE, with_parts(), Setting(rung))
    assert limit is not None
    assert limit.low == pytest.approx(low, abs=2e-3)
    assert limit.high == pytest.approx(high, abs=2e-3)


@pytest.mark.parametrize(
    ("ladder", "low", "high"),
    [(LadderSet.LOW, 7.60, 8.54), (LadderSet.HIGH, 9.45, 10.53)],
)
def test_each_set_has_a_window_of_its_own(ladder: LadderSet, low: float, high: float) -> None:
    """Recomputed for 1870 and 4610 ohm of IEC 61851-1:2017 Table A.9 and sources of Table A.2.

    (11.4 - 0.7) R / (R + 1030) + 0.7 and (12.6 - 0.7) R / (R + 970) + 0.7.
    """
    bench = calibration_for("sim://sound")(BOARD)
    limit = ladder_limit(PROFILE, bench, Setting(Rung.B, ladder))
    assert limit is not None
    assert (limit.low, limit.high) == pytest.approx((low, high), abs=6e-3)
    # Without the diode, or with the return open, it is another circuit.
    for setting in (Setting(Rung.B, ladder, diode_in=False), Setting(Rung.B, pe_closed=False)):
        assert ladder_limit(PROFILE, bench, setting) is None


def test_unknown_parts_give_no_window() -> None:
    assert ladder_limit(PROFILE, uncalibrated(BOARD), Setting(Rung.B)) is None


def test_doubt_of_the_parts_enters_the_level() -> None:
    level = combine("high_plateau_v", "V", 9.0, "m", [half_width("x", "x", 0.001, "V")])
    bench = calibration_for("sim://sound")(BOARD)
    referred = referred_to_ladder(level, PROFILE, bench, Setting(Rung.C))
    names = {row.id for row in referred.rows}
    assert any(name.startswith("switched_c") for name in names)
    assert any(name.startswith("diode_drop_c") for name in names)
    assert referred.u > level.u


@pytest.mark.parametrize(
    ("rated", "highest"),
    [(16.0, 16.3), (32.0, 32.3), (6.0, 6.3), (63.0, 64.25)],
)
def test_highest_advertised_current(rated: float, highest: float) -> None:
    """5 us of 1 ms are 0.5 points: 0.3 A at 0.6 A a point, 1.25 A at 2.5 A (Table A.7)."""
    limit = rating_limit(PROFILE, rated)
    assert limit.high == pytest.approx(highest)
    assert "Tables A.2 and A.7" in limit.clause


def test_a_finding_is_as_bad_as_its_worst_judgement() -> None:
    bench = Bench(DEMO, PROFILE, uncalibrated(BOARD), BOARD, date(2026, 7, 1))
    assert bench.grounds.volts is not None
    three = exactly(3, "phases", "declared")
    good = judge(counted("n", 3, "phases", "m"), three)
    bad = judge(counted("n", 1, "phases", "m"), three)
    nothing = withheld(three, Verdict.NOT_RUN, "not measured")
    assert found(good).verdict is Verdict.PASS
    assert found(good, nothing).verdict is Verdict.NOT_RUN
    assert found(nothing, bad, good).verdict is Verdict.FAIL
    assert Finding().verdict is Verdict.NOT_RUN, "an empty finding is no pass"
    assert not Finding().near_limit


@pytest.mark.parametrize(
    ("safety", "verdict"),
    [
        (Safety("open", frozenset(), 5.0), Verdict.PASS),
        (Safety("open", frozenset({2}), 5.0), Verdict.FAIL),
        (Safety("unknown", frozenset(), 0.0, "no link"), Verdict.NOT_RUN),
        (Safety("unknown", frozenset({1}), 0.0, "no link"), Verdict.FAIL),
    ],
)
def test_outlet_check(safety: Safety, verdict: Verdict) -> None:
    result = outlet_check(safety, PROFILE)
    assert result.verdict is verdict
    assert (ALARM in result.why) == (verdict is Verdict.FAIL)


def test_phases_are_named() -> None:
    assert phases_text({3, 1}, "on B") == "Mains was seen on L1, L3 on B."
    assert phases_text((), "on B") == "No mains was seen on B."


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"maker": " "}, "--maker"),
        ({"serial": ""}, "--serial"),
        ({"phases": 2}, "1 or 3 phases"),
        ({"outlet": "plug"}, "'socket' or 'cable'"),
        ({"rated_current_a": 5.0}, "rated current"),
        ({"rated_current_a": math.nan}, "rated current"),
        ({"set_current_a": 90.0}, "set current"),
        ({"set_current_a": -1.0}, "set current"),
    ],
)
def test_impossible_chargers_are_refused(change: dict[str, Any], said: str) -> None:
    with pytest.raises(WrongUse, match=said):
        check_charger(replace(DEMO, **change), PROFILE)


def test_what_a_profile_does_not_limit_is_left_out() -> None:
    plan = load_plan("quick")
    order = Order(plan, DEMO, PROFILE)
    assert left_out(order) == {}
    steps = tuple(replace(s, limit="mains_off_c1_to_b1_ms" if s.limit else "") for s in plan.steps)
    other = replace(plan, steps=steps)
    gone = left_out(replace(order, plan=other, profile=load_profile("sae-j1772-2017")))
    assert set(gone) == {"mains-on", "mains-off-b", "mains-off-unplug"}
    assert "SAE J1772" in gone["mains-on"]


def test_only_the_simulated_bench_brings_a_calibration() -> None:
    assert is_simulated("SIM://sound")
    assert not is_simulated("/dev/ttyUSB0")
    assert calibration_for("sim://sound")(BOARD).volts.described
    assert not calibration_for("socket://sim:1")(BOARD).volts.described


def test_parts_keep_their_id_as_budget_row() -> None:
    part = KnownPart("permanent@X", 2740.0, 1.4, "ohm")
    quantity = as_quantity(part)
    assert quantity.value == 2740.0
    assert quantity.u == pytest.approx(1.4)
    assert [row.id for row in quantity.rows] == ["permanent@X"]
