"""What the options change of a plan: set currents of a sweep, length of a long stay."""

import pytest
from matrix_run import Job, full_record
from plan_sections import section
from qualify_runs import last

from rungbench.errors import WrongUse
from rungbench.qualify.amend import with_currents, with_length
from rungbench.qualify.plan import Do
from rungbench.qualify.plan_file import load_plan


def test_typed_currents_are_set_measured_and_tabulated() -> None:
    """7 A is 11.67 %, 12 A 20 % (IEC 61851-1:2017, Table A.7); 5 us are 0.3 A."""
    plan = with_currents(section("B", "set currents"), (7.0, 12.0))
    results = last(full_record(Job(""), plan))
    # The last one is what the charger was set to before.
    assert list(results["set-points"].observations) == ["set 7 A", "set 12 A", "set 16 A"]
    currents = {one.name: one.value for one in results["set-points"].quantities}
    assert currents["advertised_current_a_at_7A"] == pytest.approx(7.0, abs=0.02)
    assert currents["advertised_current_a_at_12A"] == pytest.approx(12.0, abs=0.02)
    # The simulated charger takes 1 s for a new current, and its operator a second to say so.
    reaction = results["reactions"].quantities[0]
    assert reaction.value == pytest.approx(1.0, abs=reaction.expanded())
    # 7 A at 230 V: 1610 W on one phase, 4830 W on three.
    powers = {one.name: one.value for one in results["lowest-power"].quantities}
    assert powers["lowest_power_1_phase_w"] == pytest.approx(1610.0, abs=5.0)
    assert powers["lowest_power_3_phase_w"] == pytest.approx(4830.0, abs=15.0)


def test_a_changed_plan_is_another_one() -> None:
    """Its hash goes into the record, so that nobody takes it for the shipped one."""
    full, soak = load_plan("full"), load_plan("soak")
    assert len({full.hash, with_currents(full, (6.0,)).hash, with_currents(full, (7.0,)).hash}) == 3
    longer = with_length(soak, 7200.0)
    assert longer.hash != soak.hash
    assert [step.record_s for step in longer.steps if step.do is Do.ENDURE] == [7200.0]
    assert longer.expected_s - soak.expected_s == pytest.approx(7200.0 - 1800.0)


def test_a_plan_without_a_sweep_takes_no_currents() -> None:
    with pytest.raises(WrongUse, match="quick"):
        with_currents(load_plan("quick"), (6.0,))
    with pytest.raises(WrongUse, match="quick"):
        with_length(load_plan("quick"), 60.0)
    with pytest.raises(WrongUse, match="at least one current"):
        with_currents(load_plan("full"), ())
    with pytest.raises(WrongUse, match="1 s to 30 days"):
        with_length(load_plan("soak"), 0.5)
