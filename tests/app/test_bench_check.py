"""The board against itself: each fault turns its own line, and no other."""

import json
from collections.abc import Callable
from typing import Any

import numpy as np
import numpy.typing as npt
import pytest

from pilotsignal.judge import Verdict
from rungbench.calibrations.check_clock import Beat, board_clock_line, lost_line, pace_line
from rungbench.calibrations.check_converter import converter_lines, missing_codes
from rungbench.calibrations.check_line import CheckLine, Line
from rungbench.cli.main import run
from rungbench.link.messages import TICKS_PER_SECOND, Channel, SampleBlock
from rungbench.link.words import Oscillator

Check = Callable[..., tuple[int, dict[str, Any]]]


@pytest.fixture
def check(capsys: pytest.CaptureFixture[str]) -> Check:
    def checking(keys: str = "", *words: str) -> tuple[int, dict[str, Any]]:
        url = f"sim://sound?{keys}"
        status = run(["bench", "check", "--bench", url, "--json", *words])
        return int(status), json.loads(capsys.readouterr().out)

    return checking


def verdicts(plain: dict[str, Any]) -> dict[str, str]:
    return {line["line"]: line["verdict"] for line in plain["lines"]}


SOUND = dict.fromkeys((str(line) for line in Line), "pass") | {
    str(Line.CLOCK): "not run",
    str(Line.LEVEL): "observed",
}


@pytest.mark.parametrize("keys", ["", "seed=7", "pwm_in_a=yes", "applied_v=0"])
def test_a_sound_board(check: Check, keys: str) -> None:
    status, plain = check(keys)
    assert (status, plain["verdict"], plain["simulated"]) == (0, "pass", True)
    assert verdicts(plain) == SOUND


@pytest.mark.parametrize(
    ("keys", "line", "verdict", "status", "said"),
    [
        ("missing_code=400", Line.CODES, "bench fault", 4, "1 missing: 400"),
        ("dither_v=0.002", Line.DITHER, "observed", 0, "0.5 to 1 is wanted"),
        ("dither_v=0.1", Line.DITHER, "observed", 0, "adds noise"),
        ("frame_loss=0.05", Line.LOST, "bench fault", 4, "not arrived"),
    ],
)
def test_a_fault_turns_its_own_line(
    check: Check, keys: str, line: Line, verdict: str, status: int, said: str
) -> None:
    found, plain = check(keys)
    assert found == status
    (told,) = [one for one in plain["lines"] if one["line"] == line]
    assert told["verdict"] == verdict
    assert said in told["text"]
    if "frame_loss" not in keys:
        assert verdicts(plain) == SOUND | {str(line): verdict}


@pytest.mark.parametrize(("dither_v", "steps"), [("0.015", 0.511), ("0.022", 0.750)])
def test_dither_in_steps_of_the_converter(check: Check, dither_v: str, steps: float) -> None:
    # A step is 30 V / 1023, 29.33 mV.
    for quiet in ("applied_v=5", "pwm_in_a=yes&noise_v=0"):
        _, plain = check(f"dither_v={dither_v}&{quiet}")
        figures = {one["line"]: one["figures"] for one in plain["lines"]}
        assert figures["dither"]["rms_counts"] == pytest.approx(steps, abs=0.03)


def test_the_level_at_the_contact_is_shown(check: Check) -> None:
    _, plain = check("applied_v=6")
    told = {one["line"]: one for one in plain["lines"]}["pilot contact"]
    # By design count 0 is -15 V and count 1023 is 15 V; the board is off by some counts.
    assert told["figures"]["mean_counts"] == pytest.approx(21 / 30 * 1023, abs=3)
    assert "V by design" in told["text"]
    _, plain = check("pwm_in_a=yes")
    told = {one["line"]: one for one in plain["lines"]}["pilot contact"]
    assert told["text"].startswith("not steady: counts from 10")


def test_as_a_page(capsys: pytest.CaptureFixture[str]) -> None:
    assert int(run(["bench", "check", "--bench", "sim://sound?missing_code=500"])) == 4
    out = capsys.readouterr().out
    assert out.startswith("SIMULATED")
    assert "missing codes" in out
    assert "bench fault" in out


def test_the_clock_of_a_bench_that_keeps_real_time(check: Check) -> None:
    _, plain = check("speed=2&clock_ppm=10", "--clock-s", "2")
    told = {one["line"]: one for one in plain["lines"]}["board clock"]
    # Twice as fast as the computer's clock, which no oscillator is.
    assert told["verdict"] == "bench fault"
    # A computer with other work to do may not keep up with twice.
    assert 0.3 < told["figures"]["off_relative"] < 1.1


# The parts by themselves ----------------------------------------------------------------------


def beats(ppm: float, seconds: int = 60, seed: int = 0) -> list[Beat]:
    """Reports of a clock that is `ppm` fast, each 1 to 9 ms late."""
    rng = np.random.default_rng(seed)
    true = np.arange(10 * seconds) * 0.1
    ticks = np.round(true * TICKS_PER_SECOND * (1 + ppm * 1e-6)).astype(int)
    arrived = true + rng.uniform(0.001, 0.009, true.size)
    return [Beat(int(tick), float(time)) for tick, time in zip(ticks, arrived, strict=True)]


@pytest.mark.parametrize("ppm", [-3000.0, 0.0, 40.0, 3000.0])
def test_the_board_clock_against_the_computer(ppm: float) -> None:
    for seed in range(20):
        line = board_clock_line(beats(ppm, seed=seed), Oscillator.CRYSTAL)
        expanded = line.figures["expanded_uncertainty"]
        assert abs(line.figures["off_relative"] - ppm * 1e-6) < expanded - 500e-6
        assert expanded < 0.9e-3
        wanted = Verdict.BENCH_FAULT if abs(ppm) > 2000 else Verdict.PASS
        assert line.verdict is wanted
    assert board_clock_line(beats(ppm), Oscillator.RESONATOR).verdict is Verdict.PASS
    assert board_clock_line(beats(ppm)[:5], Oscillator.CRYSTAL).verdict is Verdict.UNDECIDED


def stream(interval: int = 832, count: int = 60, size: int = 112) -> list[SampleBlock]:
    return [
        SampleBlock(0, at * size * interval, at * size, 832, 10, np.zeros(size, np.uint16))
        for at in range(count)
    ]


def test_a_converter_that_runs_on_another_clock() -> None:
    assert pace_line(stream()).verdict is Verdict.PASS
    assert pace_line(stream(interval=835)).verdict is Verdict.BENCH_FAULT
    assert pace_line(stream(count=5)).verdict is Verdict.UNDECIDED


def test_conversions_that_nobody_counted() -> None:
    blocks = stream()
    assert lost_line(blocks, 0).verdict is Verdict.PASS
    late = [
        SampleBlock(
            0, block.tick + (3 * 832 if at >= 30 else 0), block.index, 832, 10, block.counts
        )
        for at, block in enumerate(blocks)
    ]
    line = lost_line(late, 0)
    assert line.verdict is Verdict.BENCH_FAULT
    assert line.figures["not_counted"] == 3
    assert line.figures["not_arrived"] == 0
    line = lost_line([*blocks[:10], *blocks[12:]], 2)
    assert (line.figures["not_counted"], line.figures["not_arrived"]) == (0, 224)


def ramps(late: npt.NDArray[np.float64], missing: int = -1) -> list[SampleBlock]:
    """Pairs of ramps of 5 V behind 3 ms, `late` parts of a sample interval after their burst."""
    blocks: list[SampleBlock] = []
    for number, part in enumerate(late):
        since = np.maximum((np.arange(500) - part) * 26e-6, 0.0)
        left = np.exp(-since / 3e-3)
        level = (left if number % 2 else 1.0 - left) * 5.0 / 4.096 * 1023
        counts = np.clip(np.rint(level), 0, 1023).astype(np.uint16)
        counts[counts == missing] += 1
        tick, index = number * 400_192, number * 500
        blocks.append(SampleBlock(Channel.RAMP, tick, index, 416, 10, counts))
    return blocks


def test_no_code_is_missed_where_ramps_begin_and_end() -> None:
    # There a ramp is so steep, beside codes that it rests on, that it passes some by chance.
    for seed in range(60):
        late = np.random.default_rng(seed).uniform(0, 1, 104)
        line = missing_codes(ramps(late))
        assert line.verdict is Verdict.PASS, line.text


def test_codes_that_are_missing() -> None:
    late = np.random.default_rng(3).uniform(0, 1, 110)
    assert missing_codes(ramps(late)).verdict is Verdict.PASS
    for code in (100, 512, 940):
        line = missing_codes(ramps(late, missing=code))
        assert line.verdict is Verdict.BENCH_FAULT
        assert f"1 missing: {code}" in line.text


def test_ramps_that_cannot_tell() -> None:
    rng = np.random.default_rng(3)
    always = missing_codes(ramps(np.full(110, 0.3)))
    assert always.verdict is Verdict.UNDECIDED
    assert "same place" in always.text
    few = missing_codes(ramps(rng.uniform(0, 1, 20)))
    assert few.verdict is Verdict.UNDECIDED
    assert "longer" in few.text
    none = missing_codes([])
    assert none.verdict is Verdict.UNDECIDED


def levels(**counts: float) -> dict[Line, CheckLine]:
    rng = np.random.default_rng(1)
    channels = {"ground": Channel.GROUND, "half": Channel.HALF_REFERENCE}
    channels["internal"] = Channel.INTERNAL_REFERENCE
    sound = {"ground": 0.2, "half": 511.8, "internal": 274.0} | counts
    blocks = [
        SampleBlock(
            channels[name],
            0,
            0,
            416,
            10,
            np.clip(np.rint(rng.normal(level, 0.3, 112)), 0, 1023).astype(np.uint16),
        )
        for name, level in sound.items()
    ]
    return {line.line: line for line in converter_lines(blocks)}


def test_references_and_ground() -> None:
    assert levels()[Line.HALF].verdict is Verdict.PASS
    # 5 V of the supply in place of 4.096 V: 1.1 V / 5 V of 1024 is 225.
    for name, count, line in (
        ("ground", 6.0, Line.GROUND),
        ("half", 505.0, Line.HALF),
        ("internal", 225.0, Line.INTERNAL),
    ):
        found = levels(**{name: count})
        faults = {key for key, one in found.items() if one.verdict is Verdict.BENCH_FAULT}
        assert faults == {line}
    # A board that sends nothing of it cannot pass.
    assert all(line.verdict is not Verdict.PASS for line in converter_lines([]))
