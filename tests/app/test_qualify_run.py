"""What a run leaves behind: verdict, evidence, retakes, and what the bench cannot tell."""

import json
import math
from dataclasses import replace
from pathlib import Path

import pytest
from qualify_runs import DEMO, Run, having, last

from pilotsignal.capture import Capture, EdgeRecord
from pilotsignal.measure import measure
from rungbench.archive.document import run_document
from rungbench.archive.record import Role, RunVerdict
from rungbench.archive.store import open_archive
from rungbench.link.messages import Identity
from rungbench.qualify.bench import calibration_for
from rungbench.qualify.plan_file import load_plan
from rungbench.qualify.progress import CheckDone, RunStarted, StepStarted
from rungbench.standin.calibration import BenchCalibration, uncalibrated

VOLTAGE = {
    "idle-level", "plateau-b", "low-plateau-b", "source-resistance", "rail-high", "rail-low",
    "plateau-c", "low-plateau-c", "source-resistance-c",
}  # fmt: skip


@pytest.mark.parametrize("seed", [1, 2, 3, 4])
def test_a_sound_charger_passes(seed: int, tmp_path: Path) -> None:
    run = Run(tmp_path, f"seed={seed}")
    record = run.record()
    assert record.verdict is RunVerdict.PASS, [r.why for r in record.checks if r.verdict != "pass"]
    assert record.interrupted is None
    assert run.board_s < 90.0
    assert run.presents_nothing()
    required = {r.check for r in record.checks if r.role is Role.REQUIRED}
    assert required == having(record, "pass") - {"plateau-ladder-b", "plateau-ladder-c"}


def test_figures_agree_with_the_chargers_traits(tmp_path: Path) -> None:
    """The keys of the address are the truth; each figure keeps to it within its own U.

    U is for 95 %, so that one in twenty may miss; 1.5 U leaves none in a thousand.
    """
    keys = "frequency_hz=1001.7&voc_high_v=12.2&voc_low_v=-11.8&source_ohm=985&close_s=1.3"
    record = Run(tmp_path, f"{keys}&open_ms=62&unplug_ms=21&seed=5").record()
    truths = {
        "frequency-b": 1001.7,
        "idle-level": 12.2 * 1e6 / (1e6 + 985),  # 1 Mohm is the sense of the board
        "rail-high": 12.2,
        "rail-low": -11.8,
        "source-resistance": 985.0,
        "source-resistance-c": 985.0,
        "mains-on": 1.3,
        "mains-off-b": 62.0,
        "mains-off-unplug": 21.0,
        "advertised-current": 16.0,
    }
    for name, truth in truths.items():
        quantity = last(record)[name].judgements[0].quantity
        assert quantity is not None
        # The edges' delay in the charger's own capacitance moves the duty by what it is.
        slack = 0.015 if name == "advertised-current" else 0.0
        assert abs(quantity.value - truth) < 1.5 * quantity.expanded() + slack, name


def test_evidence_is_kept_and_gives_the_figures_again(tmp_path: Path) -> None:
    run = Run(tmp_path)
    record = run.record()
    result = last(record)["frequency-b"]
    with open_archive(run.archive, simulated=True) as archive:
        parts = [archive.load_capture(key) for key in result.captures]
    (capture,) = [part for part in parts if isinstance(part, Capture)]
    (edges,) = [part for part in parts if isinstance(part, EdgeRecord)]
    assert capture.samples.dtype.kind in "iu", "raw counts are kept"
    again = measure(capture, edges)
    assert again.frequency_hz is not None
    assert again.frequency_hz.value == result.quantities[0].value
    assert again.high_plateau_v is not None
    assert again.high_plateau_v.value == last(record)["plateau-b"].quantities[0].value


def test_every_limit_names_profile_clause_and_rule(tmp_path: Path) -> None:
    record = Run(tmp_path).record()
    judged = [one for result in record.checks for one in result.judgements]
    assert len(judged) >= 20
    for judgement in judged:
        assert judgement.limit.profile in ("iec-61851-1-2017", "declared")
        assert judgement.limit.clause
        assert judgement.limit.rule_text
    document = run_document(record)
    json.dumps(document, allow_nan=False)
    assert document["simulated"] is True
    assert [one["check"] for one in document["checks"]] == list(record.header.planned)
    assert all(one["quantities"] for one in document["checks"] if one["verdict"] == "pass")


def test_near_a_limit_it_is_taken_again_and_both_are_kept(tmp_path: Path) -> None:
    """The idle level is 11.402 V, 2 mV inside; U is about 25 mV, most of it gain."""
    run = Run(tmp_path, "voc_high_v=11.4135")
    record = run.record()
    levels = [result for result in record.checks if result.check == "idle-level"]
    assert [result.attempt for result in levels] == [1, 2]
    assert {str(result.verdict) for result in levels} == {"undecided"}
    lengths = [(r.end_tick or 0) - (r.start_tick or 0) for r in levels]
    assert lengths[1] > 2.5 * lengths[0], "the second look is longer"
    assert levels[0].captures != levels[1].captures
    assert len([r for r in record.checks if r.check == "no-mains-open"]) == 1


def test_a_response_near_its_limit_is_done_again(tmp_path: Path) -> None:
    run = Run(tmp_path, "open_ms=99.6")
    record = run.record()
    assert [r.attempt for r in record.checks if r.check == "mains-off-b"] == [1, 2]
    assert having(record, "undecided") == {"mains-off-b"}
    assert record.verdict is RunVerdict.UNDECIDED
    assert last(record)["mains-off-unplug"].verdict == "pass", "the run went on from B"


def test_without_arming_it_stops_at_b(tmp_path: Path) -> None:
    run = Run(tmp_path, armed=False)
    record = run.record()
    assert record.verdict is RunVerdict.INCOMPLETE
    assert having(record, "pass") >= {"frequency-b", "source-resistance", "outlet-dead"}
    assert {"mains-on", "frequency-c", "mains-off-unplug"} <= having(record, "not run")
    assert "--arm" in last(record)["mains-on"].why
    assert run.bench is not None
    assert run.bench._charger.mains == [], "the simulated contactor never moved"


def test_uncalibrated_voltages_are_not_judged(tmp_path: Path) -> None:
    record = Run(tmp_path, calibrate=uncalibrated).record()
    assert having(record, "undecided") == VOLTAGE
    for name in VOLTAGE:
        assert "calibrat" in last(record)[name].why
    assert last(record)["frequency-b"].verdict == "pass", "the board's crystal is good enough"
    assert last(record)["pulse-width-b"].verdict == "pass", "the time base cancels"
    assert record.verdict is RunVerdict.UNDECIDED


def test_a_resonator_does_not_pass_a_frequency(tmp_path: Path) -> None:
    def resonator(identity: Identity) -> BenchCalibration:
        known = calibration_for("sim://sound")(identity)
        clock = replace(known.time_base, kind="resonator", u_relative=5e-3 / math.sqrt(3.0))
        return replace(known, time_base=clock)

    record = Run(tmp_path, calibrate=resonator).record()
    assert having(record, "undecided") == {"frequency-b", "frequency-c"}


def test_socket_outlet_gets_a_cable_code(tmp_path: Path) -> None:
    record = Run(tmp_path, "outlet=socket", charger=replace(DEMO, outlet="socket")).record()
    assert record.verdict is RunVerdict.PASS


def test_one_phase_as_declared(tmp_path: Path) -> None:
    record = Run(tmp_path, "phases=1", charger=replace(DEMO, phases=1)).record()
    assert record.verdict is RunVerdict.PASS
    (judgement,) = last(record)["phases"].judgements
    assert judgement.quantity is not None
    assert judgement.quantity.value == 1.0


def test_more_phases_than_declared_fail(tmp_path: Path) -> None:
    record = Run(tmp_path, charger=replace(DEMO, phases=1)).record()
    assert having(record, "fail") == {"phases"}


def test_no_pwm_in_b_accuses_nobody(tmp_path: Path) -> None:
    """A socket charger without a plug offers nothing, as one that waits for authorisation."""
    plan = load_plan("quick")
    record = Run(tmp_path, "outlet=socket", plan=plan).record()
    assert having(record, "fail") == set()
    assert {"frequency-b", "pulse-width-b", "mains-on"} <= having(record, "not run")
    assert "authorise" in last(record)["frequency-b"].why
    assert record.verdict is RunVerdict.INCOMPLETE


@pytest.mark.parametrize("profile", ["iec-61851-1-2017", "sae-j1772-2017"])
@pytest.mark.parametrize("rated_a", [6.0, 32.0, 48.0, 80.0])
def test_from_the_shortest_to_the_longest_pulse(
    rated_a: float, profile: str, tmp_path: Path
) -> None:
    """6 A is 10 % of the period, 80 A is 96 %: what samples see of either half gets rare."""
    charger = replace(DEMO, rated_current_a=rated_a)
    record = Run(tmp_path, f"rated_a={rated_a:g}", charger=charger, profile=profile).record()
    assert record.verdict is RunVerdict.PASS, [r.why for r in record.checks if r.verdict != "pass"]
    for name in ("pulse-width-b", "pulse-width-c"):
        error = last(record)[name].judgements[0].quantity
        assert error is not None
        assert abs(error.value) < 1.0
        assert error.expanded() < 1.0


def test_sae_profile(tmp_path: Path) -> None:
    """Its pulse width counts at the 50 % points, which only the samples show."""
    record = Run(tmp_path, profile="sae-j1772-2017").record()
    assert record.verdict is RunVerdict.PASS
    width = last(record)["pulse-width-b"]
    assert "pulse_width_mid_us" in {quantity.name for quantity in width.quantities}
    assert width.observations["width judged at"] == "mid"


def test_listener_hears_everything_in_order(tmp_path: Path) -> None:
    run = Run(tmp_path)
    record = run.record()
    assert isinstance(run.told[0], RunStarted)
    steps = [told.step.name for told in run.told if isinstance(told, StepStarted)]
    assert steps == [step.name for step in run.plan.steps]
    done = [told.result for told in run.told if isinstance(told, CheckDone)]
    assert tuple(result.check for result in done) == tuple(r.check for r in record.checks)
