"""Checks of the full plan that no single trait of the fault matrix turns to fail."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

import pytest
from matrix_run import TETHERED, Job, full_record
from plan_sections import section
from qualify_runs import Run, having, last

from rungbench.archive.record import CheckResult, RunVerdict
from rungbench.qualify.progress import Alarm
from rungbench.simulated.operator import Operator
from rungbench.standin.board import StandIn

OFFERS = ("advertised-current", "pulse-width-b", "least-current")


def offered(ampere: float) -> Mapping[str, CheckResult]:
    charger = replace(TETHERED, rated_current_a=63.0, set_current_a=ampere)
    plan = section("open", "B", checks=OFFERS)
    return last(full_record(Job(f"rated_a=63&set_a={ampere}", charger), plan))


@pytest.mark.parametrize(
    ("set_a", "read_a", "warned"),
    [(50.0, 50.0, False), (51.5, 50.76, True), (52.4, 50.976, True), (53.5, 53.5, False)],
)
def test_the_seam_of_the_two_formulas_is_told(set_a: float, read_a: float, warned: bool) -> None:
    """IEC 61851-1:2017, Table A.7: from 51 to 52.5 A the second formula gives 84.4 to 85 %.

    The first one reads them as less: 0.6 x (51.5 / 2.5 + 64) = 50.76 A.  The width itself is right.
    """
    results = offered(set_a)
    current = results["advertised-current"]
    assert current.quantities[0].value == pytest.approx(read_a, abs=0.05)
    assert ("51 to 52.5 A" in current.observations.get("warning", "")) == warned
    assert [results[check].verdict for check in OFFERS] == ["pass"] * 3


def test_a_level_that_sags_while_the_charger_waits() -> None:
    """1 V at the rail is 0.73 V in B: 8.27 V, below the 8.37 V of Table A.10."""
    plan = section("open", "first B", "B while it waits")
    record = full_record(Job("authorised=no&high_sag_b1_v=1"), plan)
    assert having(record, "fail") == {"plateau-b1-waiting"}


def test_mains_before_anything_was_connected(tmp_path: Path) -> None:
    """A charger whose contactor closed when it was switched on: an alarm, and no further step."""

    def switched_on(standin: StandIn) -> None:
        Operator(standin.port).restart()
        standin.wait(4.0)

    run = Run(tmp_path, "restart_mains=yes", plan=section("open", "B"), before=switched_on)
    record = run.record()
    assert having(record, "fail") == {"no-mains-open", "outlet-dead"}
    assert record.verdict is RunVerdict.FAIL
    assert any(isinstance(told, Alarm) for told in run.told)
    assert last(record)["frequency-b"].verdict == "not run"
    assert "L1, L2, L3" in last(record)["no-mains-open"].why


def test_a_code_of_63_a_is_judged_although_no_rating_lies_above_it() -> None:
    """A charger that takes 63 A for 70 A offers its rating of 63 A all the same."""
    charger = replace(TETHERED, outlet="socket", rated_current_a=63.0, set_current_a=63.0)
    plan = section("B", "cable code 63")
    keys = "outlet=socket&rated_a=63&cable_63_a=70"
    result = last(full_record(Job(keys, charger), plan))["cable-code-63"]
    assert result.verdict == "pass"
    assert result.quantities[0].value == pytest.approx(63.0, abs=0.1)
    # Table A.7: 5 us are 0.5 points, each of them 2.5 A.
    assert result.judgements[0].limit.high == pytest.approx(64.25)


@pytest.mark.parametrize(
    ("f_ms", "verdict"), [(0, "observed"), (200, "observed"), (900, "observed")]
)
def test_a_lost_return_is_no_fault_that_shows_f(f_ms: int, verdict: str) -> None:
    """Without its return the pilot looks unplugged to the charger: there is no state F to time."""
    plan = section(
        "B",
        "B to C before the loop opens",
        "loop opens",
        checks=("mains-off-loop", "f-duration-open-loop"),
    )
    results = last(full_record(Job(f"f_ms={f_ms}"), plan))
    assert results["mains-off-loop"].verdict == "pass"
    assert results["f-duration-open-loop"].verdict == verdict
