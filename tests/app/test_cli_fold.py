"""``rungbench measure``: parts of a record that changes, and one period in equivalent time."""

import csv
import json
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from pilotsignal.synth import Circuit, Sampling, synthesise
from rungbench.cli.main import run

Call = Callable[..., tuple[int, str, str]]
INTERVAL_S = 2e-6


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Call:
    monkeypatch.setenv("COLUMNS", "160")

    def calling(*words: str | Path) -> tuple[int, str, str]:
        status = run(["measure", *map(str, words)])
        output = capsys.readouterr()
        return int(status), output.out, output.err

    return calling


def volts(width_us: float, *, count: int = 50_000, seed: int = 1) -> list[float]:
    wave = Circuit(load_ohm=2740.0, capacitance_f=2e-9).wave(1000.7, width_us)
    capture, _ = synthesise(wave, Sampling(INTERVAL_S, count, noise_v=0.01, seed=seed))
    return [float(volt) for volt in capture.samples]


def write(path: Path, samples: Sequence[float]) -> Path:
    rows = "".join(f"{i * INTERVAL_S:.9f},{volt:.4f}\n" for i, volt in enumerate(samples))
    path.write_text("Time (s),CH1 (V)\n" + rows)
    return path


@pytest.fixture
def steady(tmp_path: Path) -> Path:
    return write(tmp_path / "steady.csv", volts(300.0))


@pytest.fixture
def stepped(tmp_path: Path) -> Path:
    """30 % for the first half, 34 % for the second; both halves begin with a rising edge."""
    return write(tmp_path / "stepped.csv", volts(300.0) + volts(340.0, seed=2))


def test_a_steady_record_has_no_parts(call: Call, steady: Path) -> None:
    status, out, _ = call(steady)
    assert status == 0
    assert "Parts of the record" not in out
    found = json.loads(call(steady, "--json")[1])
    assert found["segments"] == []
    assert found["changes"] == []
    assert found["fold"] is None


def test_a_record_that_steps_is_shown_in_parts(call: Call, stepped: Path) -> None:
    _, out, _ = call(stepped)
    lines = out.splitlines()
    begin = lines.index("Parts of the record")
    assert "steady: " in lines[begin + 1]
    assert "duty 29.98" in lines[begin + 1]
    assert "duty 33.98" in lines[begin + 2]


def test_the_parts_in_json(call: Call, stepped: Path) -> None:
    found = json.loads(call(stepped, "--json")[1])
    assert "duty-step" in {one["code"] for one in found["notices"]}
    steps = [one for one in found["changes"] if one["code"] == "duty-step"]
    assert len(steps) == 1
    assert steps[0]["start_s"] <= 0.1 <= steps[0]["end_s"]
    assert steps[0]["size"]["value"] == pytest.approx(40.0, abs=0.2)
    assert steps[0]["size"]["unit"] == "us"
    duties = [part["quantities"]["duty_percent"]["value"] for part in found["segments"]]
    # The load shifts the width at 0 V by what the two edges take to it.
    assert duties[0] == pytest.approx(30.02, abs=0.05)
    assert duties[1] - duties[0] == pytest.approx(4.0028, abs=0.01)
    whole = found["quantities"]["duty_percent"]
    if whole is not None:
        off = max(abs(duty - whole["value"]) for duty in duties)
        assert whole["expanded_uncertainty"] > 0.9 * off


def rows_of(path: Path) -> list[dict[str, float]]:
    kept = [line for line in path.read_text("utf-8").splitlines() if not line.startswith("#")]
    return [{name: float(text) for name, text in row.items()} for row in csv.DictReader(kept)]


def test_the_fold_is_written_and_told(call: Call, steady: Path, tmp_path: Path) -> None:
    file = tmp_path / "fold.csv"
    status, out, err = call(steady, "--fold", file)
    assert (status, err) == (0, "")
    assert f"Equivalent time, in {file}" in out
    assert "rising edge, transition duration, 10 to 90 %: 3.3" in out
    rows = rows_of(file)
    assert sum(row["count"] for row in rows) == 50_000
    phase = np.array([row["phase_us"] for row in rows])
    mean = np.array([row["mean_v"] for row in rows])
    assert (np.diff(phase) > 0).all()
    assert np.ptp(phase) == pytest.approx(999.3, abs=0.2)
    middle = 0.5 * (8.979 - 12.0)
    assert float(np.interp(0.0, phase, mean)) == pytest.approx(middle, abs=0.3)
    assert np.median(mean[(phase > 50) & (phase < 250)]) == pytest.approx(8.979, abs=0.003)
    assert all(0 < row["expanded_uncertainty_v"] < 0.1 for row in rows)


def test_the_fold_in_json(call: Call, steady: Path, tmp_path: Path) -> None:
    file = tmp_path / "fold.csv"
    found: dict[str, Any] = json.loads(call(steady, "--fold", file, "--json")[1])["fold"]
    assert found["file"] == str(file)
    assert found["period_us"] == pytest.approx(999.3, abs=0.01)
    assert found["largest_gap_us"]["rise"] <= found["resolution_us"]
    # 1000 ohm and 2740 ohm in parallel, times 2 nF; 1000 ohm times 2 nF.
    assert found["rise"]["time_constant_us"]["value"] == pytest.approx(1.465, rel=0.02)
    assert found["fall"]["time_constant_us"]["value"] == pytest.approx(2.0, rel=0.02)


def test_a_fold_that_would_smear_is_refused_and_writes_nothing(
    call: Call, stepped: Path, tmp_path: Path
) -> None:
    file = tmp_path / "fold.csv"
    status, _, err = call(stepped, "--fold", file)
    assert status == 4
    assert len(err.strip().splitlines()) == 1
    assert not file.exists()


def test_a_fold_never_writes_over_a_file(call: Call, steady: Path) -> None:
    before = steady.read_bytes()
    status, _, err = call(steady, "--fold", steady)
    assert status == 2
    assert "exists already" in err
    assert steady.read_bytes() == before


@pytest.mark.parametrize("name", ["", "-"])
def test_a_fold_needs_a_file(call: Call, steady: Path, name: str) -> None:
    status, _, err = call(steady, "--fold", name)
    assert status == 2
    assert "--fold" in err


def test_a_fold_into_a_folder_that_is_not_there(call: Call, steady: Path, tmp_path: Path) -> None:
    status, _, err = call(steady, "--fold", tmp_path / "nowhere" / "fold.csv")
    assert status == 4
    assert "cannot be written" in err
