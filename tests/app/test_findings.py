"""Every rule explains the fault that it is for, with evidence, and none explains a sound charger.

The causes were chosen as physical traits of the simulated charger; the rules see only the record.
"""

import re
from dataclasses import dataclass, replace

import pytest
from matrix_levels import load, rail_for
from matrix_run import TETHERED, Job, full_record
from plan_sections import CHARGING, UNPLUGGED, section

from rungbench.archive.record import ChargerIdentity, Record, RunVerdict
from rungbench.cli.explaining import print_explanations
from rungbench.cli.terminal import PageConsole
from rungbench.link.words import LadderSet
from rungbench.qualify.findings import (
    NO_EXPLANATION,
    RULES,
    Explanation,
    Weight,
    explain,
    findings_document,
)
from rungbench.qualify.findings.facts import Facts

SOCKET = replace(TETHERED, outlet="socket", rated_current_a=32.0, set_current_a=32.0)
SOURCE = ("source-resistance", "rail-high", "rail-low")
TIMES_OFF = ("mains-off-b", "mains-off-unplug")
TO_AND_FRO = (*CHARGING, *UNPLUGGED)
SHORTED = ("B", "B to C before the short", "short from C", "recovery from short")
AT_B_LOW = f"voc_high_v={rail_for(8.035, load('B', LadderSet.LOW)):.4f}"


@dataclass(frozen=True, slots=True)
class Fault:
    """A fault, the part of the plan that shows it, and the cause that must be named."""

    rule: str
    cause: str
    keys: str
    steps: tuple[str, ...]
    checks: tuple[str, ...]
    charger: ChargerIdentity = TETHERED


FAULTS = (
    Fault(
        "diode_test",
        "diode test missing",
        "checks_diode=no",
        ("B", "to C without a diode"),
        ("no-mains-diode",),
    ),
    Fault("welded", "contact welded", "welded=yes", CHARGING, ("mains-off-b",)),
    Fault(
        "early_mains",
        "mains without being asked",
        "mains_in_b=yes",
        ("open", "first B"),
        ("no-mains-first-b",),
    ),
    Fault(
        "slow_contactor",
        "contactor slow",
        "open_ms=180&unplug_ms=170&pe_open_ms=175&open_c1_ms=180",
        TO_AND_FRO,
        TIMES_OFF,
    ),
    Fault("slow_sense", "filter or waiting time", "unplug_ms=240", TO_AND_FRO, TIMES_OFF),
    Fault("lost_phase", "phase", "missing_phase=2", CHARGING, ("phases",)),
    Fault(
        "eager_pilot",
        "PWM with nothing connected",
        "pwm_in_a=yes",
        ("open",),
        ("no-pwm-unplugged",),
    ),
    Fault(
        "thresholds",
        "recognition thresholds shifted",
        f"border_bc_v=8.3&{AT_B_LOW}",
        ("B", "B, low ladder"),
        ("plateau-b", "recognised-b-low"),
    ),
    Fault(
        "cable",
        "cable coding ignored or misread",
        "outlet=socket&rated_a=32&obeys_cable=no",
        ("open", "cable code 13", "cable code 20"),
        ("cable-code-13", "cable-code-20"),
        SOCKET,
    ),
    Fault(
        "impatient",
        "waiting times of the charger's program wrong",
        "withdraw_s=3",
        ("B", "B to C to ignore the withdrawal", "withdrawn and ignored"),
        ("mains-kept",),
    ),
    Fault(
        "latched",
        "a fault latches",
        "latches=yes",
        SHORTED,
        ("mains-off-short", "recovery-short"),
    ),
    Fault(
        "source_resistor", r"source resistor 1[34] % high", "source_ohm=1140", ("open", "B"), SOURCE
    ),
    Fault("rail", "high rail of the pilot driver off", "voc_high_v=13.2", ("open", "B"), SOURCE),
    Fault(
        "sagging_low_rail",
        "low rail moves with the load",
        "low_sag_c_v=0.8",
        CHARGING,
        ("low-plateau-b", "low-plateau-c"),
    ),
    Fault(
        "oscillator",
        "clock of the pilot",
        "frequency_hz=1009&drift_ppm_per_s=80",
        CHARGING,
        ("frequency-b", "frequency-c"),
    ),
    Fault(
        "comparator",
        r"every pulse is (8\.9|9\.0) us too long",
        "pulse_offset_us=9",
        ("B", "set currents"),
        ("pulse-width-b", "set-points"),
    ),
    Fault(
        "wrong_setting",
        "set to 10 A and not to 16 A",
        "set_a=10",
        ("B",),
        ("pulse-width-b", "advertised-current"),
    ),
    Fault(
        "capacitance",
        "too much capacitance",
        "cs_pf=9000",
        ("B", "B, fastest samples"),
        ("frequency-b", "rise-time-b", "fall-time-b"),
    ),
    Fault(
        "own_ladder",
        "ladder or diode of this bench off",
        "high_sag_c_v=0.9",
        CHARGING,
        (*SOURCE, "plateau-ladder-c"),
    ),
)


def rules_that_speak(record: Record) -> set[str]:
    """Names of the rules that explain something of a record."""
    facts = Facts.of(record)
    return {rule.__name__ for rule in RULES if rule(facts) is not None}


def test_every_rule_has_a_fault_here() -> None:
    assert {fault.rule for fault in FAULTS} == {rule.__name__ for rule in RULES}


@pytest.mark.parametrize("fault", FAULTS, ids=[fault.rule for fault in FAULTS])
def test_a_rule_explains_its_fault_and_the_others_are_silent(fault: Fault) -> None:
    """With all checks of those steps, so that the others have something to speak of."""
    record = full_record(Job(fault.keys, fault.charger), section(*fault.steps))
    found = explain(record)
    assert rules_that_speak(record) == {fault.rule}
    named = [one for one in found if re.search(fault.cause, one.cause)]
    assert named, [one.cause for one in found]
    assert all(text.strip() for one in named for text in one.evidence)
    assert all(one.next.endswith((".", "?")) and one.where for one in named)
    assert list(found) == sorted(found, key=lambda one: -one.weight), "the best supported first"


@pytest.mark.slow
@pytest.mark.parametrize("fault", FAULTS, ids=[fault.rule for fault in FAULTS])
def test_the_others_are_silent_on_the_whole_plan_too(fault: Fault) -> None:
    assert rules_that_speak(full_record(Job(fault.keys, fault.charger))) == {fault.rule}


# Faults that none of the rules is for: none of them makes anything up.
UNKNOWN = (
    ("session lost by quick toggling", "toggle_s=0.6", ("B", "B to C", "C to B", "to and fro")),
    ("duty changes too close together", "duty_step_s=2", ("B", "set currents")),
    ("mains on late", "close_s=4.5", ("B", "B to C")),
)


@pytest.mark.parametrize(("name", "keys", "steps"), UNKNOWN, ids=[one[0] for one in UNKNOWN])
def test_no_explanation_is_an_answer(
    name: str, keys: str, steps: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    record = full_record(Job(keys), section(*steps))
    assert record.verdict is RunVerdict.FAIL, name
    assert explain(record) == ()
    print_explanations(record, PageConsole(width=120))
    assert NO_EXPLANATION in capsys.readouterr().out


@pytest.mark.parametrize("keys", ["", "outlet=socket", "phases=1&set_a=10&ventilation=allow"])
@pytest.mark.slow
def test_nothing_is_explained_of_a_sound_charger(keys: str) -> None:
    charger = {
        "": TETHERED,
        "outlet=socket": replace(TETHERED, outlet="socket"),
    }.get(keys, replace(TETHERED, phases=1, set_current_a=10.0, ventilation="allow"))
    record = full_record(Job(keys, charger))
    assert record.verdict == "pass"
    assert explain(record) == ()
    assert findings_document(record) == []


def test_nothing_is_explained_of_a_sound_charger_so_far() -> None:
    checks = (*SOURCE, "frequency-b", "pulse-width-b", "low-plateau-b", "plateau-ladder-b")
    plan = section("open", "B", "B to C", "C to B", checks=(*checks, "mains-on", "mains-off-b"))
    record = full_record(Job(""), plan)
    assert rules_that_speak(record) == set()


def test_an_explanation_without_evidence_is_none() -> None:
    with pytest.raises(ValueError, match="needs evidence"):
        Explanation("cause", Weight.HINT, "where", (), "next")


def test_explanations_are_plain_values_for_others() -> None:
    plan = section("open", "B", checks=SOURCE)
    (one,) = findings_document(full_record(Job("source_ohm=1140"), plan))
    assert one["weight"] == "strong"
    assert {"cause", "where", "evidence", "next"} <= set(one)
    assert any("source resistance 11" in text for text in one["evidence"])
