"""``rungbench records``: what it prints, what it refuses, and its exit status."""

import csv
import io
import json
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import numpy as np
import pytest
from archive_examples import CALIBRATION, check, counts, edges, header

from pilotsignal.judge import Verdict
from rungbench.archive.document import run_document
from rungbench.archive.record import RunVerdict
from rungbench.archive.store import open_archive
from rungbench.cli.main import run
from rungbench.cli.records import VERDICTS
from rungbench.errors import ExitStatus
from rungbench.paths import paths

Call = Callable[..., tuple[int, str, str]]
HOSTILE = "S\x1b[2J\u202e[red]1\n2"


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch) -> Call:
    monkeypatch.setenv("COLUMNS", "80")

    def calling(*words: str) -> tuple[int, str, str]:
        status = run(["records", *words])
        output = capsys.readouterr()
        return int(status), output.out, output.err

    return calling


@pytest.fixture
def both() -> None:
    """A pass and a fail in the archive, a run without end in the demo archive."""
    with open_archive(paths().archive, simulated=False) as real:
        for run_id, verdict in (("aaaaa-22222", Verdict.PASS), ("bbbbb-22222", Verdict.FAIL)):
            start = header(run_id)
            charger = replace(start.charger, serial=HOSTILE if run_id[0] == "b" else "DEMO-0001")
            real.begin(replace(start, charger=charger))
            key = real.add_capture(run_id, counts(), "B samples")
            real.add_check(run_id, replace(check(verdict=verdict), captures=(key,)))
            end = start.started + timedelta(seconds=57)
            real.finish(run_id, RunVerdict(verdict.value), end)
    with open_archive(paths().demo_archive, simulated=True) as demo:
        demo.begin(header("ccccc-22222", simulated=True))
        demo.add_check("ccccc-22222", check())


def test_nothing_yet(call: Call) -> None:
    status, out, error = call("list")
    assert (status, out) == (0, "")
    assert error == "No records yet; `rungbench qualify` makes the first.\n"
    status, out, error = call("show", "aaaaa")
    assert (status, out) == (4, "")
    assert error == "There are no records yet; `rungbench qualify` makes the first.\n"
    assert not paths().archive.exists()


@pytest.mark.usefixtures("both")
def test_real_runs_are_listed_the_newest_first(call: Call) -> None:
    status, out, _ = call("list")
    lines = out.splitlines()
    assert status == 0
    assert lines[1].startswith("bbbbb-22222  2025-07-11 14:22  Demo Works")
    assert "▲ fail" in lines[1]
    assert "● pass" in out
    assert "ccccc" not in out
    assert "SIMULATED" not in out
    assert max(len(line) for line in lines) <= 80


@pytest.mark.usefixtures("both")
def test_every_simulated_line_says_so(call: Call) -> None:
    _, out, _ = call("list", "--demo")
    lines = out.splitlines()
    assert lines[0].startswith("SIMULATED:")
    assert lines[2].startswith("SIMULATED  ccccc-22222")
    assert "no end" in out
    _, out, _ = call("list", "--both")
    assert all(one in out for one in ("aaaaa-22222", "SIMULATED  ccccc-22222"))


@pytest.mark.usefixtures("both")
def test_filters(call: Call) -> None:
    def listed(*words: str) -> list[str]:
        _, out, _ = call("list", "--both", "--json", *words)
        return [one["record"][0] for one in json.loads(out)["records"]]

    assert listed() == ["b", "a", "c"]
    assert listed("--verdict", "pass") == ["a"]
    assert listed("--verdict", "incomplete") == ["c"]
    assert listed("--serial", "demo-") == ["a", "c"]
    assert listed("--maker", "demo works", "--limit", "1") == ["b", "c"]
    assert listed("--since", "2025-07-12") == []
    assert listed("--since", "2025-07-11T16:22:00+02:00") == ["b", "a", "c"]


@pytest.mark.usefixtures("both")
def test_nothing_fits(call: Call) -> None:
    status, out, error = call("list", "--serial", "zzz")
    assert (status, out) == (0, "")
    assert "The archive holds 2 and the demo archive 1" in error


@pytest.mark.usefixtures("both")
def test_show_prints_the_document_of_the_run(call: Call) -> None:
    _, out, _ = call("show", "aaaaa", "--json", "--budget")
    with open_archive(paths().archive) as archive:
        expected = run_document(archive.load("aaaaa"), budget=True)
    shown = json.loads(out)
    assert shown == expected | {"findings": []}
    assert shown["schema"] == "rungbench.run/1"
    (one,) = shown["checks"]
    assert one["limit"] == {
        "low": 995.0,
        "high": 1005.0,
        "unit": "Hz",
        "profile": "iec-61851-1-2017",
        "clause": "IEC 61851-1:2017, A.4.4",
        "rule": "guarded, w = U",
        "confidence": "M",
    }
    frequency = one["quantities"]["frequency_hz"]
    assert frequency["degrees_of_freedom"] is None
    assert frequency["coverage_factor"] == pytest.approx(1.959964, abs=1e-6)  # normal, 95 %
    assert frequency["expanded_uncertainty"] == pytest.approx(1.959964 * 0.0306, abs=1e-6)
    assert [row["id"] for row in frequency["budget"]] == ["clock@crystal-50ppm", "scatter@1"]
    assert frequency["budget"][0]["contribution"] == pytest.approx(2.9e-5 * 1e3)


@pytest.mark.usefixtures("both")
def test_show_for_people(call: Call) -> None:
    status, out, _ = call("show", "bb", "--budget")
    assert status == 0
    for text in (
        "Record bbbbb-22222  ▲ fail",
        "IEC 61851-1:2017, A.4.4",
        "guarded, w = U",
        "1000.200 ± 0.060 Hz",
        "Left out     cable-coding: the charger has a fixed cable",
        "Planned but not reached: open-level",
        "effective degrees of freedom inf; k = 1.96; U = 0.06 Hz",
        "component",
        "sensitivity",
    ):
        assert text in out, text
    assert "crystal B rectangular 2.9e-05 1e+03 inf 0.029" in " ".join(out.split())
    assert max(len(line) for line in out.splitlines()) <= 80
    assert "SIMULATED" not in out


@pytest.mark.usefixtures("both")
def test_a_simulated_record_says_so_first_and_last(call: Call) -> None:
    _, out, _ = call("show", "ccccc")
    lines = out.splitlines()
    assert lines[0] == "Record ccccc-22222  ◌ incomplete  SIMULATED"
    assert lines[1].startswith("Interrupted: the program ended before")
    assert lines[-1].startswith("SIMULATED")


@pytest.mark.usefixtures("both")
@pytest.mark.parametrize("words", [("list",), ("show", "bbbbb"), ("show", "bbbbb", "--json")])
def test_a_hostile_serial_is_shown_and_never_obeyed(call: Call, words: tuple[str, ...]) -> None:
    _, out, _ = call(*words)
    assert "[red]" in out
    assert "\x1b" not in out
    if "--json" not in words:
        assert "S\\x1b[2J" in out
        assert "\\u202e[red]" in out
        assert "\u202e" not in out


@pytest.mark.usefixtures("both")
def test_a_capture_as_csv(call: Call, tmp_path: Path) -> None:
    _, out, _ = call("show", "aaaaa", "--json")
    key = json.loads(out)["captures"]["B samples"]
    file = tmp_path / "samples.csv"
    assert call("capture", key[:12], "--csv", str(file))[0] == 0
    lines = file.read_text().splitlines()
    comments = [line for line in lines if line.startswith("#")]
    assert "# calibration: CAL-7: volts = 0.0293 * count + -15.0" in comments
    rows = list(csv.DictReader(io.StringIO("\n".join(lines[len(comments) :]))))
    samples = counts()
    np.testing.assert_array_equal([int(row["count"]) for row in rows], samples.samples)
    expected = samples.samples * CALIBRATION.gain_v + CALIBRATION.offset_v
    np.testing.assert_allclose([float(row["volts"]) for row in rows], expected, atol=1e-5)
    # 32 samples are missing before the 500th.
    assert float(rows[500]["time_s"]) == pytest.approx(532 * 52e-6)
    status, _, error = call("capture", key[:12], "--csv", str(file))
    assert (status, "exists already" in error) == (2, True)


@pytest.mark.usefixtures("both")
def test_edges_as_csv(call: Call) -> None:
    with open_archive(paths().archive) as archive:
        key = archive.add_capture("aaaaa-22222", edges(), "B edges")
    _, out, _ = call("capture", key, "--csv", "-")
    assert out.splitlines()[-2:] == ["8590718592,rise", "8590722864,fall"]


@pytest.mark.usefixtures("both")
@pytest.mark.parametrize(
    ("words", "status", "sentence"),
    [
        (("list", "--since", "yesterday"), ExitStatus.WRONG_USE, "is no date; write it as"),
        (
            ("list", "--verdict", "good"),
            ExitStatus.WRONG_USE,
            "is not one of 'fail', 'bench fault'",
        ),
        (("list", "--limit", "0"), ExitStatus.WRONG_USE, "is not in the range"),
        (("list", "--archive", "/none.sqlite"), ExitStatus.BENCH_FAULT, "There is no archive at"),
        (("show", "zzzzz"), ExitStatus.BENCH_FAULT, "No record begins with 'zzzzz'"),
        (("show",), ExitStatus.WRONG_USE, "Missing argument 'ID'"),
        (
            ("capture", "ffff", "--csv", "-"),
            ExitStatus.BENCH_FAULT,
            "No capture begins with 'ffff'",
        ),
        (("capture", "", "--csv", "-"), ExitStatus.BENCH_FAULT, "No capture begins with ''"),
    ],
)
def test_refusals(call: Call, words: tuple[str, ...], status: int, sentence: str) -> None:
    found, out, error = call(*words)
    assert (found, out) == (status, "")
    assert sentence in error
    assert error.count("\n") == 1


def test_the_verdicts_are_those_of_a_run() -> None:
    assert tuple(verdict.value for verdict in RunVerdict) == VERDICTS
