"""``rungbench qualify``: what it prints, where it records, and how it ends."""

import json
import os
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from rungbench.archive.search import Search
from rungbench.archive.store import open_archive
from rungbench.cli.main import run
from rungbench.paths import paths
from rungbench.qualify.plan_file import load_plan
from rungbench.qualify.safety import ALARM
from rungbench.qualify.scope import CANNOT_PROVE, CAUTIONS

Call = Callable[..., tuple[int, str, str]]
REAL = (
    "--maker", "Example", "--model", "Demo 11", "--serial", "D-1", "--rated-current", "16",
    "--phases", "3", "--outlet", "cable",
)  # fmt: skip


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str]) -> Call:
    def calling(*words: str) -> tuple[int, str, str]:
        status = run(["qualify", *words])
        output = capsys.readouterr()
        return int(status), output.out, output.err

    return calling


def document(text: str) -> dict[str, Any]:
    found = json.loads(text)
    assert isinstance(found, dict)
    return found


def test_a_sound_charger(call: Call) -> None:
    status, out, error = call("--bench", "sim://sound")
    assert (status, error) == (0, "")
    lines = out.splitlines()
    checks = [line for line in lines if line.startswith(("● pass ", "· observed "))]
    assert len(checks) == len(load_plan("quick").checks) + 1, "one line per check, and the outlet"
    assert any(
        "Frequency of the pilot (B)" in one and "995..1005 Hz; A.4.4" in one for one in checks
    )
    assert any("Source resistance" in one and "reject only beyond U" in one for one in checks)
    assert "SIMULATED" in lines[0]
    assert lines[-1] == "SIMULATED: no charger was tested."
    flat = " ".join(out.split())
    for text in (*CAUTIONS, *CANNOT_PROVE, "confirm against your own copy"):
        assert text in flat
    assert "certificate" not in out


def test_its_record_is_in_the_demo_archive(call: Call) -> None:
    _, out, _ = call("--bench", "sim://sound", "--operator", "Somebody")
    record_id = out.split()[1]
    assert f"record {record_id} in ~" in out
    assert not paths().archive.exists()
    with open_archive(paths().demo_archive, simulated=True) as archive:
        record = archive.load(record_id)
    assert record.header.simulated
    assert record.header.operator == "Somebody"
    assert record.header.bench_url == "sim://sound"
    assert record.header.board["board_id"] == "SIMULATED"
    assert record.header.calibration["id"] == "SIMULATED-1"
    assert set(record.header.versions) >= {"rungbench", "python", "numpy", "GTC"}


@pytest.mark.parametrize(
    ("keys", "words", "status", "verdict"),
    [
        ("", (), 0, "pass"),
        ("frequency_hz=1030", (), 1, "fail"),
        ("set_a=10", (), 3, "undecided"),
        ("set_a=10", ("--set-current", "10"), 0, "pass"),
        ("outlet=socket", (), 3, "incomplete"),
        ("outlet=socket", ("--outlet", "socket"), 0, "pass"),
        ("unplug_after_s=4", (), 4, "bench fault"),
        ("frame_loss=0.02", (), 4, "bench fault"),
    ],
)
def test_json_and_exit_status(
    keys: str, words: tuple[str, ...], status: int, verdict: str, call: Call
) -> None:
    url = f"sim://sound?{keys}" if keys else "sim://sound"
    found, out, error = call("--bench", url, "--json", *words)
    assert found == status
    assert error == ""
    run_document = document(out)
    assert run_document["schema"] == "rungbench.run/1"
    assert run_document["verdict"] == verdict
    assert run_document["simulated"] is True
    assert {"record", "charger", "board", "calibration", "profile", "versions"} <= set(run_document)


def test_what_kept_it_from_a_pass_is_told_once_more_at_the_end(call: Call) -> None:
    """Whoever looks at the end of the page sees what failed, where to look and what to measure."""
    status, out, _ = call("--bench", "sim://sound?source_ohm=1140&missing_phase=2")
    assert status == 1
    _, _, end = out.partition("What kept it from a pass")
    lines = [line for line in end.splitlines() if line.startswith("▲ fail")]
    assert len(lines) == 3
    assert all(text in line for text, line in zip(("(B)", "Phases", "(C)"), lines, strict=True))
    assert "970..1030 ohm; Table A.2" in lines[0]
    assert end.index("What may be behind it") > end.index("Phases as declared")
    assert "measure the resistor with an ohmmeter" in " ".join(end.split())


def test_checks_that_were_not_run_are_counted_at_the_end(call: Call) -> None:
    status, out, _ = call("--bench", "sim://sound?unplug_after_s=4")
    assert status == 4
    end = " ".join(out.partition("What kept it from a pass")[2].split())
    assert "bench fault" in end
    assert re.search(r"\d+ required checks were not run; each line above says why\.", end)


def test_alarm_is_shouted_even_with_json(call: Call) -> None:
    status, out, error = call("--bench", "sim://sound?welded=yes", "--json")
    assert status == 1
    assert ALARM.upper() in error
    assert document(out)["make_safe"]["live_phases"] == [1, 2, 3]


def test_alarm_is_shouted(call: Call) -> None:
    status, out, _ = call("--bench", "sim://sound?welded=yes")
    assert status == 1
    assert ALARM.upper() in out
    assert "▲ fail" in out


def test_model_sheet(call: Call, tmp_path: Path) -> None:
    sheet = tmp_path / "sheet.toml"
    sheet.write_text(
        'maker = "Example"\nmodel = "Demo 7"\nrated_current_a = 32\nphases = 1\noutlet = "cable"\n'
        'serial_pattern = "D7-[0-9]+"\n',
        encoding="utf-8",
    )
    bench = ("--bench", "sim://sound?rated_a=32&phases=1", "--sheet", str(sheet), "--json")
    status, out, _ = call(*bench, "--serial", "D7-1")
    assert status == 0
    assert document(out)["charger"]["model"] == "Demo 7"
    status, out, error = call(*bench, "--serial", "D8-1")
    assert (status, out) == (2, "")
    assert "does not fit the model sheet's pattern" in error
    status, out, _ = call(*bench, "--serial", "D7-1", "--model", "Demo 8")
    assert document(out)["charger"]["model"] == "Demo 8", "an option beats the sheet"


@pytest.mark.parametrize(
    ("words", "status", "said"),
    [
        ((), 2, "No bench was chosen"),
        (("--bench", "/dev/none"), 2, "state --maker, --model, --rated-current, --phases"),
        (("--bench", "/dev/none", *REAL), 4, "There is no port /dev/none"),
        (("--bench", "sim://loud"), 2, "no simulated bench 'sim://loud"),
        (("--bench", "sim://sound?sped=1"), 2, "has no key 'sped'"),
        (("--bench", "sim://sound", "--plan", "none"), 2, "no plan 'none'; known: edges, full"),
        (("--bench", "sim://sound", "--profile", "none"), 2, "no profile 'none'"),
        (("--bench", "sim://sound", "--phases", "2"), 2, "1 or 3 phases"),
        (("--bench", "sim://sound", "--rated-current", "4"), 2, "rated current"),
        (("--bench", "sim://sound", "--rated-current", "much"), 2, "--rated-current"),
        (("--bench", "sim://sound", "--sheet", "/no/sheet.toml"), 4, "cannot be read"),
        (("--bench", "sim://sound", "--archive", "/"), 4, "is a folder"),
    ],
)
def test_refusals(words: tuple[str, ...], status: int, said: str, call: Call) -> None:
    found, out, error = call(*words)
    assert (found, out) == (status, "")
    assert said in error
    assert error.count("\n") == 1
    assert "Traceback" not in error


def test_a_simulated_run_stays_out_of_a_real_archive(call: Call, tmp_path: Path) -> None:
    path = tmp_path / "real.sqlite"
    with open_archive(path, simulated=False):
        pass
    status, out, error = call("--bench", "sim://sound", "--archive", str(path))
    assert (status, out) == (4, "")
    assert "archive of real runs" in error


def test_settings_of_the_environment(call: Call, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RUNGBENCH_BENCH", "sim://sound?frequency_hz=1030")
    monkeypatch.setenv("RUNGBENCH_PROFILE", "sae-j1772-2017")
    status, out, _ = call("--json")
    assert status == 1
    assert document(out)["profile"]["name"] == "sae-j1772-2017"


def test_ctrl_c_from_outside(tmp_path: Path) -> None:
    """A process at one simulated second per second gets SIGINT in the middle of its run."""
    archive = tmp_path / "demo.sqlite"
    words = ["-m", "rungbench", "qualify", "--bench", "sim://sound?speed=4", "--json"]
    process = subprocess.Popen(
        [sys.executable, *words, "--archive", str(archive)],
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
    )
    try:
        _await_checks(archive)
        process.send_signal(signal.SIGINT)
        out, error = process.communicate(timeout=30)
    finally:
        process.kill()
    assert process.returncode == 3
    assert error == ""
    found = document(out)
    assert found["verdict"] == "incomplete"
    assert found["interrupted"] == "Stopped by Ctrl-C."
    assert found["make_safe"]["rung"] == "open"
    verdicts = {check["check"]: check["verdict"] for check in found["checks"]}
    assert verdicts["idle-level"] == "pass"
    assert verdicts["outlet-dead"] == "pass"
    assert verdicts["mains-off-unplug"] == "not run"


def _await_checks(archive: Path) -> None:
    """Until the first checks are in the archive."""
    deadline = time.monotonic() + 30
    while time.monotonic() < deadline:
        if archive.exists() and _checks(archive):
            return
        time.sleep(0.05)
    raise AssertionError("no check was stored within 30 s")


def _checks(archive: Path) -> int:
    with open_archive(archive, simulated=True) as opened:
        found = list(opened.find(Search()))
        return len(opened.load(found[0].run_id).checks) if found else 0
