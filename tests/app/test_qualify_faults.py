"""Each trait of the simulated charger turns the checks that it should to fail, and no other.

The expected sets were written down from the physics before the first run; the
sentence beside each says why.  `END` stands for all that is not run because the
run ends for safety.
"""

from dataclasses import replace
from pathlib import Path

import pytest
from qualify_runs import DEMO, Run, having, last

from rungbench.archive.record import RunVerdict
from rungbench.link.words import Rung, Setting
from rungbench.qualify.plan_file import load_plan
from rungbench.qualify.progress import Alarm
from rungbench.qualify.safety import ALARM
from rungbench.standin.board import StandIn

ALL = {check.id for check in load_plan("quick").checks} | {"outlet-dead"}
NEVER_DECIDE = {"idle-steadiness", "duty-change"}
FROM_C = {
    "mains-on", "phases", "frequency-c", "pulse-width-c", "duty-change", "plateau-c",
    "plateau-ladder-c", "low-plateau-c", "source-resistance-c", "mains-off-b", "mains-off-unplug",
}  # fmt: skip

# (keys, checks that fail, checks that are not run)
FAULTS = {
    # The generator's period is wrong whatever the load; the duty, and so the current, is right.
    "frequency_hz=1030": ({"frequency-b", "frequency-c"}, set()),
    # 12 us are 1.2 % of the period, 0.72 A: 16.7 A on a unit for 16 A, with 0.3 A allowed.
    "pulse_offset_us=12": ({"pulse-width-b", "pulse-width-c", "advertised-current"}, set()),
    # A is the rail itself; B is (11 - 0.7) x 2740 / 3744 + 0.7 = 8.24 V, below 8.37 V. C is
    # (11 - 0.7) x 882 / 1886 + 0.7 = 5.52 V, inside the published 5.47 V but not this ladder's.
    "voc_high_v=11.0": (
        {"idle-level", "rail-high", "plateau-b", "plateau-ladder-b", "plateau-ladder-c"},
        set(),
    ),
    # The diode blocks, so that both low plateaus are the low rail.
    "voc_low_v=-10.2": ({"low-plateau-b", "low-plateau-c", "rail-low"}, set()),
    # 11.35 x 2740 / 4140 + 0.7 = 8.21 V and 11.35 x 882 / 2282 + 0.7 = 5.09 V: both below.
    "source_ohm=1400": (
        {
            "source-resistance", "source-resistance-c", "plateau-b", "plateau-c",
            "plateau-ladder-b", "plateau-ladder-c",
        },
        set(),
    ),
    # Mains while nobody asked for it ends the run before C; at open it goes off again.
    "mains_in_b=yes": ({"no-mains-b"}, FROM_C),
    # The contacts stay closed: nothing goes off, on B or after it, and the run ends there.
    "welded=yes": ({"mains-off-b", "outlet-dead"}, {"mains-off-unplug"}),
    # 4 s are more than 3 s; everything after it works.
    "close_s=4": ({"mains-on"}, set()),
    # Off by the vehicle takes too long, unplugging does not.
    "open_ms=240": ({"mains-off-b"}, set()),
    # The other way round; after 5 s the outlet is dead.
    "unplug_ms=240": ({"mains-off-unplug"}, set()),
    # One contact of a unit that is declared to switch three phases.
    "phases=1": ({"phases"}, set()),
    # Pulses with nothing connected; the high plateau between them is right. It is not steady, so
    # that there is no wander to show.
    "pwm_in_a=yes": ({"no-pwm-unplugged"}, {"idle-steadiness"}),
    # 20 A is 333 us of the period where the rating means 267 us.
    "set_a=20": ({"pulse-width-b", "pulse-width-c", "advertised-current"}, set()),
    # Mains never comes: it is late, and what follows from it cannot be seen.
    "close_s=never": ({"mains-on"}, {"phases", "mains-off-b", "mains-off-unplug"}),
    # Contacts that open after 3 s are still closed when the watch of 2 s ends: too late, and the
    # run ends as if they were welded; on open they are found dead within 5 s.
    "open_ms=3000": ({"mains-off-b"}, {"mains-off-unplug"}),
}  # fmt: skip


@pytest.mark.parametrize("keys", FAULTS)
def test_a_fault_fails_its_own_checks(keys: str, tmp_path: Path) -> None:
    failed, not_run = FAULTS[keys]
    run = Run(tmp_path, keys)
    record = run.record()
    assert having(record, "fail") == failed
    assert having(record, "not run") == not_run
    assert having(record, "pass") == ALL - failed - not_run - NEVER_DECIDE
    assert having(record, "undecided") | having(record, "bench fault") == set()
    assert record.verdict is RunVerdict.FAIL
    assert run.presents_nothing()


def test_source_of_1150_ohm(tmp_path: Path) -> None:
    """B and C stay inside the published windows, which allow for any vehicle, and that is right.

    At this ladder's exact resistors C is 11.35 x 882 / 2036 + 0.7 = 5.62 V, on the border of what
    a conforming source gives: the indicative check may say anything but pass.
    """
    record = Run(tmp_path, "source_ohm=1150").record()
    sources = {"source-resistance", "source-resistance-c"}
    assert having(record, "fail") - {"plateau-ladder-c"} == sources
    assert having(record, "undecided") <= {"plateau-ladder-c"}
    assert "plateau-ladder-c" not in having(record, "pass")
    assert record.verdict is RunVerdict.FAIL


def test_current_set_lower_and_not_stated(tmp_path: Path) -> None:
    record = Run(tmp_path, "set_a=10").record()
    undecided = {"pulse-width-b", "pulse-width-c"}
    assert having(record, "undecided") == undecided
    assert having(record, "fail") == set()
    assert record.verdict is RunVerdict.UNDECIDED
    for result in record.checks:
        if result.check in undecided:
            assert "state the set current (--set-current)" in result.why
            assert result.attempt == 1, "a longer look cannot tell it either"


def test_current_set_lower_and_stated(tmp_path: Path) -> None:
    charger = replace(DEMO, set_current_a=10.0)
    record = Run(tmp_path, "set_a=10", charger=charger).record()
    assert record.verdict is RunVerdict.PASS
    assert having(record, "pass") == ALL - NEVER_DECIDE


def test_stated_current_is_held_against_it(tmp_path: Path) -> None:
    """16 A shown by a charger said to be set to 10 A: the width is wrong, the rating kept."""
    record = Run(tmp_path, charger=replace(DEMO, set_current_a=10.0)).record()
    assert having(record, "fail") == {"pulse-width-b", "pulse-width-c"}


def test_negative_offset_of_an_unstated_setting_accuses_nobody(tmp_path: Path) -> None:
    """12 us less may be 15.28 A set on purpose."""
    record = Run(tmp_path, "pulse_offset_us=-12").record()
    assert having(record, "undecided") == {"pulse-width-b", "pulse-width-c"}
    stated = replace(DEMO, set_current_a=16.0)
    record = Run(tmp_path, "pulse_offset_us=-12", charger=stated).record()
    assert having(record, "fail") == {"pulse-width-b", "pulse-width-c"}


@pytest.mark.parametrize("keys", ["frame_loss=0.01", "byte_error=0.0001", "frame_loss=0.05"])
def test_a_bad_link_is_never_the_chargers_fault(keys: str, tmp_path: Path) -> None:
    record = Run(tmp_path, keys).record()
    assert having(record, "fail") == set()
    assert record.verdict is RunVerdict.BENCH_FAULT
    blamed = [result for result in record.checks if result.verdict == "bench fault"]
    assert any("not whole" in result.why for result in blamed)
    assert {result.attempt for result in blamed} == {1, 2}, "it was tried again"


def test_a_fault_seen_over_a_bad_link_stands(tmp_path: Path) -> None:
    """Mains in B was seen: what else got lost does not make it unseen."""
    record = Run(tmp_path, "mains_in_b=yes&frame_loss=0.01").record()
    assert "no-mains-b" in having(record, "fail")
    assert record.verdict is RunVerdict.FAIL


def test_mains_before_anything_was_connected(tmp_path: Path) -> None:
    """Contacts that welded in an earlier session: live on open, before the first C."""

    def earlier_session(standin: StandIn) -> None:
        standin.arm_energising()
        for rung in (Rung.B, Rung.C, Rung.OPEN):
            standin.present(Setting(rung))
            standin.wait(2.0)
        standin.disarm()

    run = Run(tmp_path, "welded=yes", before=earlier_session)
    record = run.record()
    assert having(record, "fail") == {"no-mains-open", "outlet-dead"}
    assert {"frequency-b", "mains-on"} <= having(record, "not run")
    assert ALARM in last(record)["outlet-dead"].why
    assert Alarm(ALARM) in run.told
