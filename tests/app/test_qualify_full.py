"""The full plan on chargers that conform: what passes, what cannot be judged, and what is said."""

import math
import time
from dataclasses import replace

import pytest
from matrix_run import SAE, TETHERED, Job, full_record
from plan_sections import CHARGING, UNPLUGGED, section
from qualify_runs import having, last

from pilotsignal.standard import load_profile
from rungbench.archive.record import Record, Role, RunVerdict
from rungbench.errors import WrongUse
from rungbench.link.messages import Identity
from rungbench.qualify.order import Order, check_holds
from rungbench.qualify.plan import Do, Plan
from rungbench.qualify.plan_file import load_plan
from rungbench.qualify.scope import NOT_MADE

SOCKET = replace(TETHERED, outlet="socket")
# Nobody can cause these on a tethered charger that waits for nobody and shows no state F.
NEVER_SEEN = {
    *("no-mains-unauthorised", "plateau-b1-waiting", "no-mains-digital", "pwm-off"),
    *("f-duration-open-loop", "f-duration-short", "f-duration-missing-diode"),
}


@pytest.fixture(scope="module")
def sound() -> tuple[Record, float]:
    """A sound charger through the full plan, and the seconds of computing that it took."""
    start = time.process_time()
    record = full_record(Job(""))
    return record, time.process_time() - start


def test_a_sound_charger_passes(sound: tuple[Record, float]) -> None:
    record, _ = sound
    deciding = {r.check for r in record.checks if r.role is not Role.INDICATIVE}
    assert record.verdict is RunVerdict.PASS
    assert having(record, "pass") & deciding == deciding - NEVER_SEEN
    assert having(record, "observed") & deciding == NEVER_SEEN
    assert set(last(record)) == set(record.header.planned)


def test_it_takes_less_than_half_a_minute(sound: tuple[Record, float]) -> None:
    assert sound[1] < 30.0


def test_the_record_says_what_cannot_be_made(sound: tuple[Record, float]) -> None:
    gone = dict(sound[0].header.left_out)
    assert {name for name, _ in NOT_MADE} < set(gone)
    assert {"ramp of 0.01 V/s", "superimposed high frequency", "opening under load"} < set(gone)
    assert all(why.endswith(".") for name, why in NOT_MADE)
    assert "socket" in gone["cable-code-open"]


def test_captures_say_what_they_are(sound: tuple[Record, float]) -> None:
    names = dict(sound[0].capture_names)
    assert {"B-1 samples", "B to C-1 edges", "set currents-1 (before 6 A, part 1) edges"} < set(
        names
    )
    assert {"set currents-1 (13 A, part 3) samples", "recovery from short-1 (part 1) edges"} < set(
        names
    )
    used = {key for result in sound[0].checks for key in result.captures}
    assert used <= set(names.values())


def test_every_figure_has_an_uncertainty_that_is_a_number(sound: tuple[Record, float]) -> None:
    for result in sound[0].checks:
        for quantity in result.quantities:
            assert math.isfinite(quantity.value), result.check
            assert math.isfinite(quantity.expanded()), result.check


def test_set_points_have_a_table_and_a_line(sound: tuple[Record, float]) -> None:
    results = last(sound[0])
    table = results["set-points"].observations
    assert list(table) == ["set 6 A", "set 10 A", "set 13 A", "set 16 A"]
    assert "advertised 5.99" in table["set 6 A"]
    assert "us" in table["set 6 A"]
    fit = {one.name: one.value for one in results["set-point-fit"].quantities}
    # IEC 61851-1:2017 Table A.7: what is set is what is offered.
    assert fit["set_point_slope"] == pytest.approx(1.0, abs=0.001)
    assert fit["set_point_offset_a"] == pytest.approx(0.0, abs=0.02)
    # 6 A on three phases at 230 V: 4140 W (common practice: about 4.1 kW).
    powers = {one.name: one.value for one in results["lowest-power-live"].quantities}
    assert powers["lowest_power_3_phase_w"] == pytest.approx(4140.0, abs=15.0)
    assert powers["lowest_power_1_phase_w"] == pytest.approx(1380.0, abs=5.0)
    assert results["lowest-power-live"].observations["changes phases"] == "no"


@pytest.mark.parametrize("phases", ["", "one_phase_below_a=10"])
def test_how_low_a_charger_goes(phases: str) -> None:
    """The solar question: 1380 W on one phase, 4140 W on three (common practice)."""
    plan = section("B", "lowest current with mains")
    result = last(full_record(Job(phases), plan))["lowest-power-live"]
    changes = result.observations["changes phases"]
    assert changes == ("yes: 1 at 6 A, 3 at 16 A" if phases else "no")
    said = "on 1 phase at 230 V, so it can go" if phases else "on 3 phases at 230 V, so it cannot"
    assert said in result.why


@pytest.mark.slow
def test_a_charger_that_conforms_to_the_other_standard() -> None:
    record = full_record(Job("", profile=SAE))
    assert record.verdict is RunVerdict.PASS, having(record, "undecided")
    assert last(record)["pwm-off"].verdict == "pass"
    assert "f-duration-short" in dict(record.header.left_out)


def test_a_charger_that_nobody_authorises_is_not_run() -> None:
    plan = section(*CHARGING, "first B", "C while it waits", "B while it waits")
    record = full_record(Job("authorised=no"), plan)
    assert having(record, "fail") == set()
    assert record.verdict is RunVerdict.INCOMPLETE
    assert {"frequency-b", "pulse-width-b", "mains-on", "phases"} <= having(record, "not run")
    assert {"no-mains-unauthorised", "plateau-b1-waiting"} <= having(record, "pass")


DIGITAL_PLAN = section(*CHARGING, *UNPLUGGED, "B before toggling", "to and fro", "set currents")


@pytest.mark.parametrize("keys", ["", "pulse_offset_us=7"])
def test_five_percent_is_judged_as_digital_communication(keys: str) -> None:
    """Nobody communicates, so mains does not come, and that is right."""
    record = full_record(Job("&".join(filter(None, ("digital=yes", keys)))), DIGITAL_PLAN)
    widths = {"pulse-width-b", "pulse-width-c"}
    assert having(record, "fail") == (widths if keys else set())
    assert having(record, "bench fault") == set()
    results = last(record)
    assert widths <= having(record, "fail" if keys else "pass")
    assert "5 %" in results["pulse-width-b"].observations["judged as"]
    for check in ("advertised-current", "least-current", "mains-on"):
        assert results[check].verdict == "not run"
        assert "digital communication" in results[check].why
    assert {"phases", "mains-off-b", "mains-off-unplug", "session-kept"} <= having(
        record, "not run"
    )
    assert results["no-mains-digital"].verdict == "pass"


def test_where_mains_never_came_no_session_can_be_lost() -> None:
    plan = section("B", "B to C", "C to B", "B before toggling", "to and fro")
    results = last(full_record(Job("close_s=never"), plan))
    assert results["mains-on"].verdict == "fail"
    assert results["session-kept"].verdict == "not run"


@pytest.mark.parametrize("keys", ["", "offers_without_code=yes"])
def test_a_socket_is_shown_a_plug_without_a_code(keys: str) -> None:
    """Elsewhere a cable is pretended that is good for the rating; here there is none."""
    plan = section("B", "unplugged before cable code open", "cable code open", "C")
    job = Job("&".join(filter(None, ("outlet=socket", keys))), SOCKET)
    results = last(full_record(job, plan))
    assert results["cable-code-open"].verdict == ("fail" if keys else "pass")
    assert results["frequency-b"].verdict == "pass"


def test_b_with_the_low_ladder_may_be_c_to_a_charger() -> None:
    """7.47 V lie between 7 and 8 V: mains there is no fault, and ends nothing."""
    plan = section(
        "B", "C", "B, low ladder", "C, low ladder", checks=("plateau-b", "recognised-b-low")
    )
    record = full_record(Job("voc_high_v=11.15&border_bc_v=7.7"), plan)
    result = last(record)["recognised-b-low"]
    assert "L1, L2, L3" in result.why
    assert result.verdict == "pass"
    assert record.interrupted is None
    assert last(record)["outlet-dead"].verdict == "pass"


def energising(plan: Plan) -> list[str]:
    return [step.name for step in plan.steps if step.setting.energising]


@pytest.mark.parametrize("name", ["quick", "full", "pilot-only", "edges", "soak"])
def test_no_step_stays_longer_than_the_board_lets_it(name: str) -> None:
    plan = load_plan(name)
    assert energising(plan)
    check_holds(Order(plan, TETHERED, load_profile(), armed=True), Identity("1", "b"))


def test_a_plan_that_would_stay_too_long_is_refused_before_anything_happens() -> None:
    plan = load_plan("full")
    long = tuple(
        replace(step, request=replace(step.request, answer_s=200.0))
        if step.request is not None and step.do is Do.ASK
        else step
        for step in plan.steps
    )
    order = Order(replace(plan, steps=long), TETHERED, load_profile(), armed=True)
    with pytest.raises(WrongUse, match=r"'withdrawn in C' .* rung C for 21\d s, .* after 60 s"):
        check_holds(order, Identity("1", "b"))
    check_holds(replace(order, armed=False), Identity("1", "b"))
