"""The other shipped plans on the simulated bench."""

import re
from dataclasses import replace

import pytest
from matrix_levels import load, rail_for
from matrix_run import IEC, SAE, TETHERED, Job, full_record
from plan_sections import section
from qualify_runs import having, last

from pilotsignal.standard import load_profile
from rungbench.archive.record import RunVerdict
from rungbench.link.words import CableCode, LadderSet
from rungbench.qualify.amend import with_length
from rungbench.qualify.checks import CHECK_KINDS
from rungbench.qualify.checks.recognition import cable_limit
from rungbench.qualify.order import Order, left_out
from rungbench.qualify.plan import Plan
from rungbench.qualify.plan_file import load_plan

SOURCES = ("source-resistance", "source-resistance-c")


def soak(length_s: float, every_s: float = 10.0) -> Plan:
    plan = with_length(load_plan("soak"), length_s)
    return replace(plan, steps=tuple(replace(step, every_s=every_s) for step in plan.steps))


def test_without_a_row_for_edges_their_checks_are_taken_out() -> None:
    """SAE J1772 OCT2017 sets no edge times at the connector, IEC 61851-1:2017 does (A.11)."""
    edges = {f"{way}-time-{state}" for way in ("rise", "fall") for state in "bc"}
    for profile, gone in ((SAE, edges), (IEC, set())):
        order = Order(load_plan("full"), TETHERED, load_profile(profile), armed=True)
        reasons = left_out(order)
        assert edges & set(reasons) == gone
        assert all("SAE J1772 OCT2017 has no row" in reasons[check] for check in gone)


@pytest.mark.parametrize("profile", [IEC, SAE])
def test_every_limit_that_the_plan_judges_by_names_its_edition(profile: str) -> None:
    """Cable codes are those of IEC 61851-1:2017, Table B.2, whatever else is judged by."""
    limits = load_profile(profile)
    code = cable_limit(limits, CableCode.A13)
    assert code.clause.startswith(
        "IEC 61851-1:2017, Table B.2, cable of 13 A, plus 0.3 A for +5 us"
    )
    assert limits.edition in code.clause
    assert code.high == pytest.approx(13.3)
    for key in {name for name, _ in limits.limits}:
        state = next((s for s in (None, "A", "B", "C", "D") if limits.has(key, s)), None)
        assert re.search(r"IEC 61851-1:20|SAE J1772 ", limits.limit(key, state).clause), key


def test_the_source_is_worked_out_again_from_each_rung() -> None:
    """Levels of more rungs say more of the source; a rail that sags in C fits no resistor."""
    plan = section("open", "B", "B to C", "C", "C to B", checks=SOURCES)
    sound = last(full_record(Job("source_ohm=1010"), plan))
    for check in SOURCES:
        ohm = sound[check].quantities[0]
        assert sound[check].verdict == "pass"
        assert ohm.value == pytest.approx(1010.0, abs=ohm.expanded())
    wider, closer = (sound[check].quantities[0].expanded() for check in SOURCES)
    assert closer <= wider
    sagging = last(full_record(Job("high_sag_c_v=0.4"), plan))
    assert sagging["source-resistance"].verdict == "pass"
    assert sagging["source-resistance-c"].verdict == "undecided"
    assert "do not fit" in sagging["source-resistance-c"].why


def test_pilot_only_uses_no_senses_and_energises() -> None:
    plan = load_plan("pilot-only")
    assert not any(CHECK_KINDS[check.kind].senses_mains for check in plan.checks)
    assert plan.energises
    record = full_record(Job(""), plan)
    assert record.verdict is RunVerdict.PASS
    assert last(record)["outlet-dead"].verdict == "pass"


# The level at the low ladder lies in the window of B, where the charger may not take it for C;
# or between the windows, where it may.
@pytest.mark.parametrize(
    ("level_v", "verdict"), [(8.10, "fail"), (7.80, "pass")], ids=["in the window", "between"]
)
def test_edges_are_required_only_inside_a_window(level_v: float, verdict: str) -> None:
    rail = rail_for(level_v, load("B", LadderSet.LOW))
    record = full_record(Job(f"border_bc_v=8.2&voc_high_v={rail:.4f}"), load_plan("edges"))
    result = last(record)["recognised-b-low"]
    assert result.verdict == verdict
    assert ("either is right" in result.why) == (verdict == "pass")
    assert having(record, "fail") == ({"recognised-b-low"} if verdict == "fail" else set())


def test_a_sound_charger_recognises_the_edges() -> None:
    record = full_record(Job(""), load_plan("edges"))
    assert record.verdict is RunVerdict.PASS


def test_a_charger_that_offers_nothing_is_not_blamed_at_the_edges() -> None:
    record = full_record(Job("offers=no"), load_plan("edges"))
    recognised = {check.id for check in load_plan("edges").checks if check.kind == "recognised"}
    assert having(record, "fail") == set()
    assert recognised - {"recognised-d-low", "recognised-d-high"} <= having(record, "not run")


def test_a_soak_stays_longer_than_the_board_holds_a_rung() -> None:
    record = full_record(Job(""), soak(75.0, 25.0))
    assert record.verdict is RunVerdict.PASS
    stays = last(record)["soak-mains"]
    assert stays.start_tick is not None
    looks = last(record)["soak-looks"].quantities[0]
    assert looks.value == 3


def test_a_drift_shows_in_a_soak_and_not_before() -> None:
    """25 ppm a second: 0.2 Hz in the first seconds, and beyond 1005 Hz after 200 s."""
    drifting = Job("frequency_hz=1000.3&drift_ppm_per_s=25")
    record = full_record(drifting, soak(230.0, 60.0))
    assert having(record, "fail") == {"soak-frequency"}
    assert last(record)["frequency-b"].verdict == "pass"
    drift = {one.name: one for one in last(record)["soak-frequency"].quantities}
    # Three minutes from the first look to the last.
    assert drift["drift_frequency_hz"].value == pytest.approx(25e-6 * 1000.3 * 180.0, rel=0.05)
