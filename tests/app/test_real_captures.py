"""Recordings by real oscilloscopes, made by others: ../shared/captures.

The values come from the README beside the recordings: an independent script
(mean levels, middle crossings with hysteresis, linear interpolation), or the
oscilloscope's own screen.
"""

import json
from pathlib import Path
from typing import Any

import pytest

from rungbench.cli.main import run


@pytest.fixture
def document(shared_captures: Path, capsys: pytest.CaptureFixture[str]) -> Any:
    def measuring(name: str, *words: str) -> dict[str, Any]:
        assert run(["measure", str(shared_captures / f"{name}.csv"), "--json", *words]) == 0
        output = capsys.readouterr()
        assert output.err == ""
        found = json.loads(output.out)
        assert isinstance(found, dict)
        return found

    return measuring


def value(found: dict[str, Any], name: str) -> tuple[float, float]:
    quantity = found["quantities"][name]
    assert quantity is not None, [notice["text"] for notice in found["notices"]]
    return quantity["value"], quantity["expanded_uncertainty"]


def codes(found: dict[str, Any]) -> set[str]:
    return {notice["code"] for notice in found["notices"]}


def test_square_of_15_volts_with_a_spike(document: Any) -> None:
    """README: CH2 1000.00 Hz, 50.00 %, one spike to +20.8 V, edges unresolved."""
    found = document("square-1k-bipolar-15v", "--channel", "CH2")
    assert found["capture"]["samples"] == 8192
    assert found["capture"]["interval_s"] == pytest.approx(4e-6, rel=1e-9)
    frequency, _ = value(found, "frequency_hz")
    assert frequency == pytest.approx(1000.0, abs=0.05)
    duty, expanded = value(found, "duty_percent")
    assert duty == pytest.approx(50.0, abs=max(0.05, expanded))
    # 4 us a sample are 0.4 points of duty: no more may be claimed than the notice admits.
    assert expanded <= 0.05 or "coherent-sampling" in codes(found)
    high, _ = value(found, "high_plateau_v")
    low, _ = value(found, "low_plateau_v")
    assert high == pytest.approx(14.8, abs=0.4)  # README: about; 0.4 V is the converter's step
    assert low == pytest.approx(-15.2, abs=0.4)
    assert found["quantities"]["rise_time_us"] is None
    assert found["quantities"]["fall_time_us"] is None
    assert {"outliers", "edges-unresolved", "uncalibrated"} <= codes(found)
    assert any("20.8 V" in remark for remark in found["capture"]["remarks"])


def test_voltages_of_an_undescribed_oscilloscope_are_not_judged(document: Any) -> None:
    found = document("square-1k-bipolar-15v", "--channel", "CH2")
    voltages = [one for one in found["judgements"] if one["limit"]["unit"] == "V"]
    assert voltages
    for judgement in voltages:
        assert judgement["verdict"] == "undecided"
        assert "uncalibrated" in judgement["why"]


def test_an_undescribed_clock_does_not_judge_a_frequency(document: Any) -> None:
    found = document("square-4k17-two-complementary", "--channel", "CH1")
    (judgement,) = [one for one in found["judgements"] if one["check"] == "frequency"]
    assert judgement["verdict"] == "undecided"
    assert "time base" in judgement["why"]


def test_square_of_3_volts_among_four_channels(document: Any) -> None:
    """README: CH1 1000.00 Hz, 49.68 %."""
    found = document("square-1k-0-3v-four-channels", "--channel", "CH1")
    assert value(found, "frequency_hz")[0] == pytest.approx(1000.0, abs=0.05)
    duty, expanded = value(found, "duty_percent")
    assert duty == pytest.approx(49.68, abs=min(0.05, expanded))
    assert found["quantities"]["pulse_width_zero_us"] is None  # it hardly passes 0 V


@pytest.mark.parametrize(("channel", "percent"), [("CH1", 48.33), ("CH2", 51.67)])
def test_two_complementary_squares(document: Any, channel: str, percent: float) -> None:
    """README: 4.17 kHz (three digits), 48.33 % and 51.65 %; they have to add up to 100 %.

    A sample of 2 us is 0.8 points of duty, hence the width allowed.
    """
    found = document("square-4k17-two-complementary", "--channel", channel)
    assert value(found, "frequency_hz")[0] == pytest.approx(4170.0, abs=5.0)
    duty, expanded = value(found, "duty_percent")
    assert duty == pytest.approx(percent, abs=0.05)
    assert expanded < 2.0


def test_start_and_increment(document: Any) -> None:
    """README: CH1 1000.0 Hz, 50.00 %, rise 3.06 us, fall 3.35 us."""
    found = document("square-1k-start-increment", "--channel", "CH1")
    assert found["capture"]["interval_s"] == 4e-8
    assert value(found, "frequency_hz")[0] == pytest.approx(1000.0, abs=0.05)
    assert value(found, "duty_percent")[0] == pytest.approx(50.0, abs=0.05)
    # The levels by mean or by median lie half a converter step (20 mV of 2.9 V) apart, and near
    # 90 % the edge rises by 0.2 V a microsecond: 0.1 us at either end, beside the uncertainty.
    for name, expected in (("rise_time_us", 3.06), ("fall_time_us", 3.35)):
        time, expanded = value(found, name)
        assert time == pytest.approx(expected, abs=0.2 + expanded)


@pytest.mark.parametrize("channel", ["1", "2"])
def test_no_square_wave_has_no_duty(document: Any, channel: str) -> None:
    """README: channels named by number, not a square wave: no duty may be reported."""
    found = document("two-channels-numbered", "--channel", channel)
    assert found["quantities"]["duty_percent"] is None
    assert found["quantities"]["frequency_hz"] is None
    assert found["advertised_current_a"] is None
    assert codes(found) & {"no-pwm", "too-few-periods", "not-periodic", "low-contrast"}


@pytest.mark.parametrize(
    ("name", "channels"),
    [
        ("square-1k-bipolar-15v", '"CH2", "CH4"'),
        ("square-1k-0-3v-four-channels", '"CH1", "CH2", "CH3", "CH4"'),
        ("two-channels-numbered", '"1", "2"'),
    ],
)
def test_channels_are_listed(
    shared_captures: Path, capsys: pytest.CaptureFixture[str], name: str, channels: str
) -> None:
    assert run(["measure", str(shared_captures / f"{name}.csv")]) == 2
    assert channels in capsys.readouterr().err
