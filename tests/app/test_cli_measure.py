"""``rungbench measure``: its document, its page, its verdicts and exit status."""

import io
import json
import math
import sys
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pilotsignal.judge import Verdict
from pilotsignal.synth import Circuit, PilotWave, Sampling, Truth, synthesise
from rungbench.cli.main import run

Call = Callable[..., tuple[int, str, str]]

# Standard uncertainties of a good bench instrument; without them no voltage is judged.
DESCRIBED = ("--gain-uncertainty", "0.1%", "--offset-uncertainty", "10mV")
B16 = Circuit(load_ohm=2740.0).wave(1000.3, 266.7)


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Call:
    monkeypatch.setenv("COLUMNS", "80")

    def calling(*words: str | Path) -> tuple[int, str, str]:
        status = run(["measure", *map(str, words)])
        output = capsys.readouterr()
        return int(status), output.out, output.err

    return calling


@pytest.fixture
def save(tmp_path: Path) -> Callable[[PilotWave], Path]:
    def saving(wave: PilotWave) -> Path:
        capture, _ = synthesise(wave, Sampling(0.97e-6, 60_000, noise_v=0.01))
        return write(tmp_path / "pilot.csv", capture.samples.tolist())

    return saving


def write(path: Path, volts: Sequence[float], interval_s: float = 0.97e-6) -> Path:
    rows = "".join(f"{number * interval_s:.9f},{one:.4f}\n" for number, one in enumerate(volts))
    path.write_text("Time (s),CH1 (V)\n" + rows)
    return path


def document(call: Call, *words: str | Path) -> dict[str, Any]:
    _, out, err = call(*words, "--json")
    assert err == ""
    found = json.loads(out)
    assert isinstance(found, dict)
    return found


def verdicts(found: dict[str, Any]) -> dict[str, str]:
    return {one["check"]: one["verdict"] for one in found["judgements"]}


def truth_of(wave: PilotWave) -> Truth:
    return wave.truth()


def test_document(call: Call, save: Callable[[PilotWave], Path]) -> None:
    file = save(B16)
    found = document(call, file, "--set-current", "16")
    assert found["schema"] == "rungbench.measurement/1"
    assert found["capture"]["samples"] == 60_000
    assert found["capture"]["interval_s"] == pytest.approx(0.97e-6)
    assert len(found["capture"]["sha256"]) == 64
    assert found["capture"]["origin"] == str(file)
    assert found["state"] == ["B2"]
    assert found["pwm_on"] is True
    truth = truth_of(B16)
    for name in ("frequency_hz", "duty_percent", "pulse_width_zero_us", "pulse_width_mid_us"):
        quantity = found["quantities"][name]
        assert set(quantity) >= {
            "value",
            "expanded_uncertainty",
            "coverage_factor",
            "degrees_of_freedom",
            "unit",
        }
        # One record, and U (95 %) leaves out one in twenty: 1.5 U leaves out three in a thousand.
        assert quantity["value"] == pytest.approx(
            getattr(truth, name), abs=1.5 * quantity["expanded_uncertainty"]
        )
    assert found["advertised_current_a"] == pytest.approx(16.0, abs=0.1)
    for judgement in found["judgements"]:
        assert set(judgement) >= {"check", "limit", "verdict", "why"}
        assert set(judgement["limit"]) >= {"low", "high", "unit", "profile", "clause", "rule"}
        assert judgement["why"]
        assert Verdict(judgement["verdict"])


def test_a_described_good_pilot_passes_all_but_the_frequency(
    call: Call, save: Callable[[PilotWave], Path]
) -> None:
    """No oscilloscope's clock is described by its file, and a stated one cannot pass."""
    file = save(B16)
    words = (*DESCRIBED, "--time-base-uncertainty", "20ppm", "--set-current", "16A")
    found = document(call, file, *words)
    assert verdicts(found) == {
        "frequency": "undecided",
        "pulse-width": "pass",
        "plateau-high": "pass",
        "plateau-low": "pass",
    }
    assert call(file, *words, "--judge")[0] == 3
    assert call(file, *words)[0] == 0


@pytest.mark.parametrize(
    ("wave", "check"),
    [
        (replace(B16, frequency_hz=1030.0, width_us=16 / 60 * 1e6 / 1030.0), "frequency"),
        (replace(B16, width_us=279.0), "pulse-width"),
        (replace(B16, high_v=9.8), "plateau-high"),
        (replace(B16, low_v=-10.2), "plateau-low"),
    ],
)
def test_each_fault_fails_its_check_and_no_other(
    call: Call, save: Callable[[PilotWave], Path], wave: PilotWave, check: str
) -> None:
    file = save(wave)
    words = (*DESCRIBED, "--time-base-uncertainty", "20ppm", "--set-current", "16")
    found = document(call, file, *words)
    failed = {name for name, verdict in verdicts(found).items() if verdict == "fail"}
    assert failed == {check}
    assert call(file, *words, "--judge")[0] == 1
    assert call(file, *words)[0] == 0


def test_what_is_not_stated_is_undecided_with_the_remedy(
    call: Call, save: Callable[[PilotWave], Path]
) -> None:
    file = save(B16)
    found = document(call, file)
    assert set(verdicts(found).values()) == {"undecided"}
    whys = {one["check"]: one["why"] for one in found["judgements"]}
    assert "--set-current" in whys["pulse-width"]
    assert "uncalibrated" in whys["plateau-high"]
    assert "time base" in whys["frequency"]
    assert call(file, "--judge")[0] == 3


def test_the_profile_says_which_width_is_judged(
    call: Call, save: Callable[[PilotWave], Path]
) -> None:
    slow = Circuit(load_ohm=882.0, capacitance_f=3.1e-9).wave(1000.0, 300.0)
    truth = truth_of(slow)
    assert truth.pulse_width_zero_us is not None
    assert truth.pulse_width_mid_us is not None
    words = (save(slow), "--set-current", "18", "--profile")
    for profile, width in (
        ("iec-61851-1-2017", truth.pulse_width_zero_us),
        ("sae-j1772-2017", truth.pulse_width_mid_us),
    ):
        found = document(call, *words, profile)
        (judgement,) = [one for one in found["judgements"] if one["check"] == "pulse-width"]
        assert judgement["limit"]["profile"] == profile
        assert f"{width - 300.0:.1f}" in judgement["why"]


@pytest.mark.parametrize("volts", [9.75, 10.3])
def test_between_two_windows_both_are_named(
    call: Call, save: Callable[[PilotWave], Path], volts: float
) -> None:
    """IEC 61851-1:2017, Table A.4: from 10 to 11 V A and B are both right."""
    found = document(call, save(replace(B16, high_v=volts)), *DESCRIBED)
    if volts < 10.0:
        assert found["state"] == ["B2"]
        assert verdicts(found)["plateau-high"] == "fail"
    else:
        assert found["state"] == ["A2", "B2"]
        assert verdicts(found)["plateau-high"] == "undecided"


def test_a_level_above_every_state_fails_once_the_instrument_is_described(
    call: Call, save: Callable[[PilotWave], Path]
) -> None:
    file = save(replace(B16, high_v=14.8))
    assert verdicts(document(call, file))["plateau-high"] == "undecided"
    assert verdicts(document(call, file, *DESCRIBED))["plateau-high"] == "fail"


def test_a_steady_pilot_has_a_level_and_no_pwm_to_judge(
    call: Call, save: Callable[[PilotWave], Path]
) -> None:
    file = save(PilotWave.steady(12.02))
    found = document(call, file, *DESCRIBED)
    assert found["state"] == ["A1"]
    assert verdicts(found) == {"plateau-high": "pass"}
    assert call(file, *DESCRIBED, "--judge")[0] == 0


def test_nothing_to_judge_is_no_pass(call: Call, save: Callable[[PilotWave], Path]) -> None:
    file = save(PilotWave.steady(-12.0))
    found = document(call, file, *DESCRIBED)
    assert found["state"] == ["F"]
    assert found["judgements"] == []
    assert call(file, *DESCRIBED, "--judge")[0] == 3


def test_pulses_on_a_level_of_no_state_are_no_pass(
    call: Call, save: Callable[[PilotWave], Path]
) -> None:
    """Frequency and width alone would pass: 0.9 V is state E, which no limit is known for."""
    file = save(replace(B16, high_v=0.9))
    words = (*DESCRIBED, "--time-base-uncertainty", "20ppm", "--set-current", "16A")
    found = document(call, file, *words)
    assert found["state"] == ["E"]
    assert verdicts(found)["plateau-high"] == "undecided"
    assert call(file, *words, "--judge")[0] != 0


def test_a_duty_at_the_seam_is_told_and_not_chosen(
    call: Call, save: Callable[[PilotWave], Path]
) -> None:
    """IEC 61851-1:2017, Table A.8: 85 % is 51 A, and a hair above it 52.5 A."""
    wave = replace(B16, width_us=8.5e5 / B16.frequency_hz)
    width = truth_of(wave).pulse_width_zero_us
    assert width is not None
    late = width - wave.width_us  # the edges cross 0 V later than they begin
    found = document(call, save(replace(wave, width_us=wave.width_us - late)), *DESCRIBED)
    assert found["advertised_current_a"] is None
    assert found["quantities"]["advertised_current_a"] is None
    assert "two-currents" in [notice["code"] for notice in found["notices"]]


def test_the_budget_in_json_adds_up(call: Call, save: Callable[[PilotWave], Path]) -> None:
    """JCGM 100:2008, 5.1.2: contributions add in squares, and U is k times their root."""
    for quantity in document(call, save(B16), *DESCRIBED)["quantities"].values():
        if quantity is None:
            continue
        rows = quantity["budget"]
        assert {"component", "kind", "distribution", "u", "unit", "sensitivity", "dof"} <= set(
            rows[0]
        )
        for row in rows:
            assert row["contribution"] == pytest.approx(abs(row["sensitivity"]) * row["u"])
        total = math.sqrt(sum(row["contribution"] ** 2 for row in rows))
        assert quantity["expanded_uncertainty"] == pytest.approx(
            quantity["coverage_factor"] * total, rel=1e-9
        )


def test_page(call: Call, save: Callable[[PilotWave], Path]) -> None:
    status, out, err = call(save(B16), "--set-current", "16", *DESCRIBED, "--budget")
    assert (status, err) == (0, "")
    flat = " ".join(out.split())
    assert "State: B2 (connected, not ready), PWM on" in flat
    assert "● pass" in flat
    assert "undecided" in flat
    assert "IEC 61851-1:2017, Table A.10" in flat
    assert "rule: guarded, w = U" in flat
    assert "probability of conformity" in flat
    assert "confirm against your own copy" in flat
    assert "Budget of the high plateau" in flat
    assert "component type distribution u unit sensitivity dof adds (V)" in flat
    assert "gain B normal" in flat
    assert "effective degrees of freedom" in flat
    assert "k = 1.9" in flat or "k = 2.0" in flat
    assert max(map(len, out.splitlines()[1:])) <= 80
    assert "\x1b" not in out  # no terminal, no colours


def test_a_name_with_markup_and_escapes_is_printed_as_it_is(call: Call, tmp_path: Path) -> None:
    file = write(tmp_path / "[red]\x1b[2Jpilot.csv", [1.0] * 50)
    status, out, _ = call(file)
    assert status == 0
    assert "[red]" in out
    assert "\x1b" not in out


def test_standard_input(
    call: Call, save: Callable[[PilotWave], Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    content = save(B16).read_bytes()
    monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(content)))
    found = document(call, "-")
    assert found["capture"]["origin"] == "standard input"
    assert found["state"] == ["B2"]


def test_signals_that_carry_nothing(call: Call, tmp_path: Path) -> None:
    rng = np.random.default_rng(5)
    one_period = synthesise(B16, Sampling(1e-6, 1100))[0].samples
    signals: dict[str, Sequence[float]] = {
        "zero": [0.0] * 5000,
        "dc": [6.0] * 5000,
        "noise": rng.normal(0.0, 5.0, 5000).tolist(),
        "one period": one_period.tolist(),
        "two samples": [1.0, 2.0],
    }
    for name, volts in signals.items():
        found = document(call, write(tmp_path / "signal.csv", volts, 1e-6))
        assert found["quantities"]["duty_percent"] is None, name
        assert found["quantities"]["frequency_hz"] is None, name
        assert found["advertised_current_a"] is None, name
        assert found["notices"], name
        assert "pass" not in verdicts(found).values(), name


def test_a_file_of_fifty_megabytes(call: Call, tmp_path: Path) -> None:
    """It is read whole, in the same layout as the small ones."""
    block_s, rows = 0.6, 60_000
    capture, _ = synthesise(
        Circuit(load_ohm=2740.0).wave(1000.0, 266.7), Sampling(1e-5, rows, noise_v=0.01)
    )
    cells = [f",{one:.6f},{one:.6f},\r\n" for one in capture.samples.tolist()]
    file = tmp_path / "large.csv"
    with file.open("w") as stream:
        stream.write("X,CH1,CH2,\r\nSecond,Volt,Volt,\r\n")
        for block in range(24):
            begin = block * block_s
            stream.write("".join(f"{begin + n * 1e-5:.8e}{cell}" for n, cell in enumerate(cells)))
    assert file.stat().st_size > 50e6
    found = document(call, file, "--channel", "CH2")
    assert found["capture"]["samples"] == 24 * rows
    assert found["capture"]["duration_s"] == pytest.approx(24 * block_s)
    frequency = found["quantities"]["frequency_hz"]
    assert frequency["value"] == pytest.approx(1000.0, abs=frequency["expanded_uncertainty"])
