"""Files and options that ``rungbench measure`` cannot take, and records that say nothing."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest
from bad_input import ESCAPE, one_sentence

from rungbench.cli.main import run

Floats = npt.NDArray[np.float64]
Refused = Callable[..., str]
HEAD = "Time (s),CH1 (V)\n"
STEP_S = 1e-5


def pilot(samples: int) -> Floats:
    """9 and -12 V at 1 kHz and a duty of 27 %, sampled at 100 kS/s."""
    return np.where(np.arange(samples) % 100 < 27, 9.0, -12.0)


def rows(volts: Floats) -> str:
    return "".join(f"{n * STEP_S:.5f},{v:.6g}\n" for n, v in enumerate(volts))


def saved(folder: Path, volts: Floats, head: str = HEAD) -> Path:
    file = folder / "record.csv"
    file.write_text(head + rows(volts))
    return file


@pytest.fixture
def refused(capfd: pytest.CaptureFixture[str]) -> Refused:
    def refusing(status: int, *words: str | Path) -> str:
        assert run(["measure", *(str(word) for word in words)]) == status
        output = capfd.readouterr()
        assert output.out == ""
        return one_sentence(output.err)

    return refusing


def document(capfd: pytest.CaptureFixture[str], *words: str | Path) -> dict[str, Any]:
    status = run(["measure", *(str(word) for word in words), "--json"])
    output = capfd.readouterr()
    assert (status, output.err) == (0, ""), "nothing but the document, no warning either"
    found = json.loads(output.out, parse_constant=lambda word: pytest.fail(f"{word} in JSON"))
    assert isinstance(found, dict)
    return found


SILLY = [
    ("--interval", "-1"), ("--interval", "nan"), ("--interval", "inf"), ("--interval", "0"),
    ("--interval", "1e30"), ("--interval", "1e-320"), ("--interval", "1e400"),
    ("--interval", ""), ("--scale", "nan"), ("--scale", "-inf"), ("--scale", "0"),
    ("--scale", "1e300"), ("--scale", "1e-300"), ("--scale", "x"), ("--unit", "A"),
    ("--offset-uncertainty", "inf"), ("--offset-uncertainty", "1e300"),
    ("--gain-uncertainty", "inf"), ("--set-current", "1e400"), ("--set-current", "1e9"),
    ("--set-current", "-16"), ("--profile", ""), ("--channel", ""),
]  # fmt: skip


@pytest.mark.parametrize(("option", "value"), SILLY)
def test_silly_values(refused: Refused, tmp_path: Path, option: str, value: str) -> None:
    if option != "--interval":
        refused(2, saved(tmp_path, pilot(1000)), option, value)
        return
    bare = tmp_path / "values.csv"
    bare.write_text("".join(f"{v}\n" for v in pilot(1000)))
    refused(2, bare, option, value, "--unit", "V")


@pytest.mark.parametrize("factor", [1e20, 1e307])
def test_volts_that_no_probe_delivers(refused: Refused, tmp_path: Path, factor: float) -> None:
    assert "--scale" in refused(4, saved(tmp_path, pilot(1000) * factor))


def test_names_that_name_nothing(refused: Refused, tmp_path: Path) -> None:
    assert "name a file" in refused(4, "")
    assert "is empty" in refused(4, "/dev/null")
    (tmp_path / "loop").symlink_to(tmp_path / "loop")
    assert "check the path" in refused(4, tmp_path / "loop")


def test_a_name_of_ten_thousand_letters_is_not_thrown_back(refused: Refused) -> None:
    assert len(refused(4, "a" * 10_000)) < 2000


def test_an_escape_in_a_name_reaches_no_terminal(refused: Refused, tmp_path: Path) -> None:
    hostile = f"{ESCAPE}[31mred{ESCAPE}]0;title\a"
    assert r"\x1b" in refused(4, tmp_path / hostile)
    assert r"\x1b" in refused(2, saved(tmp_path, pilot(1000)), "--channel", hostile)
    assert r"\x1b" in refused(2, saved(tmp_path, pilot(1000)), "--unit", hostile)


def steady(level_v: float) -> Floats:
    # A little noise, from a seed, so that the level is a measured one.
    return level_v + np.random.default_rng(1).normal(0.0, 0.01, 20_000)


NO_PWM = {
    "all zero": (np.zeros(20_000), ["E"], "no-pwm"),
    "12 V": (steady(12.0), ["A1"], "no-pwm"),
    "9 V": (steady(9.0), ["B1"], "no-pwm"),
    "one period": (pilot(100), [], "too-few-periods"),
    "one and a half": (pilot(150), [], "too-few-periods"),
    "noise": (np.random.default_rng(2).normal(0.0, 5.0, 20_000), [], None),
    "sine of 50 Hz": (12 * np.sin(np.arange(20_000) * 2e-5 * 50 * np.pi), [], None),
}
TIMED = (
    "frequency_hz", "duty_percent", "pulse_width_zero_us", "pulse_width_mid_us", "rise_time_us",
    "fall_time_us", "width_jitter_us", "period_jitter_us",
)  # fmt: skip


@pytest.mark.parametrize("name", NO_PWM)
def test_a_record_without_a_pulse_carries_no_time(
    capfd: pytest.CaptureFixture[str], tmp_path: Path, name: str
) -> None:
    volts, state, notice = NO_PWM[name]
    found = document(capfd, saved(tmp_path, volts), "--set-current", "16")
    assert found["advertised_current_a"] is None
    assert {key: found["quantities"][key] for key in TIMED} == dict.fromkeys(TIMED)
    assert found["state"] == state
    codes = {one["code"] for one in found["notices"]}
    assert codes - {"uncalibrated"}, "why there is none must be said"
    assert notice is None or notice in codes
    assert "pass" not in {one["verdict"] for one in found["judgements"]}


@pytest.mark.parametrize("name", [name for name in NO_PWM if not name.endswith(" V")])
def test_what_says_nothing_never_passes(tmp_path: Path, name: str) -> None:
    file = saved(tmp_path, NO_PWM[name][0])
    stated = ("--gain-uncertainty", "0.1%", "--offset-uncertainty", "5mV")
    assert run(["measure", str(file), "--set-current", "16", "--judge", *stated]) in (1, 3)


def test_fifty_megabytes(capfd: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    file = tmp_path / "large.csv"
    period = "".join(f"{v:.2f}\n" for v in pilot(100))
    file.write_text(period * (50_000_000 // len(period)))
    assert file.stat().st_size > 49_000_000
    found = document(capfd, file, "--interval", "10us", "--unit", "V")
    assert found["capture"]["samples"] > 7_000_000
    duty = found["quantities"]["duty_percent"]
    assert abs(duty["value"] - 27.0) <= duty["expanded_uncertainty"]


HOSTILE = {
    "markup": "[red]X[/red]",
    "unbalanced markup": "[/nope]",
    "escapes": f"{ESCAPE}[31mX{ESCAPE}]0;title\a",
    "formula": "=1+1",
    "long": "A" * 10_000,
    "direction": "\u202eX",
}


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_channel_names(
    capfd: pytest.CaptureFixture[str], tmp_path: Path, name: str
) -> None:
    channel = HOSTILE[name]
    volts = pilot(1000)
    file = tmp_path / "two.csv"
    body = "".join(f"{n * STEP_S:.5f},{v},{v}\n" for n, v in enumerate(volts))
    file.write_text(f"Time (s),{channel} (V),other (V)\n{body}")
    assert run(["measure", str(file)]) == 2
    sentence = one_sentence(capfd.readouterr().err)
    assert "--channel" in sentence
    if name.endswith("markup"):
        assert channel in sentence, "shown as it is, not obeyed"
    assert run(["measure", str(file), "--channel", "other"]) == 0
    page = capfd.readouterr().out
    assert ESCAPE not in page
    assert "\u202e" not in page
