"""Ended, not yet valid, made at another temperature: voltages are undecided, with the reason."""

import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from calibration_answers import URL, only, redated, stored, toml, warmed, written

from rungbench.calibrations.record import CalibrationRecord, Part
from rungbench.cli.main import run
from rungbench.qualify.bench import open_bench, store_for

Judge = Callable[..., dict[str, Any]]
CHARGER = "--maker M --model X --serial 1 --rated-current 16 --phases 3 --outlet cable --json"


@pytest.fixture
def records(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> dict[Part, CalibrationRecord]:
    run(["bench", "calibrate", "--bench", URL, "--from", written(tmp_path, toml())])
    capsys.readouterr()
    return {part: stored(part) for part in Part}


@pytest.fixture
def qualified(capsys: pytest.CaptureFixture[str]) -> Judge:
    def judging(*words: str) -> dict[str, Any]:
        status = run(["qualify", "--bench", URL, *CHARGER.split(), *words])
        plain: dict[str, Any] = json.loads(capsys.readouterr().out)
        return {"status": int(status), **plain}

    return judging


def verdicts(plain: dict[str, Any]) -> dict[str, tuple[str, str]]:
    return {one["check"]: (one["verdict"], one["why"]) for one in plain["checks"]}


@pytest.mark.parametrize(
    ("change", "why"),
    [
        (lambda record: redated(record, 400), "ended on"),
        (lambda record: redated(record, -30), "dates from"),
        (lambda record: warmed(record, 35.0), "made at 35.0 °C"),
    ],
    ids=["ended", "not yet", "too far"],
)
def test_volts_that_do_not_hold(
    records: dict[Part, CalibrationRecord],
    qualified: Judge,
    change: Callable[[CalibrationRecord], CalibrationRecord],
    why: str,
) -> None:
    others = [record for part, record in records.items() if part is not Part.VOLTS]
    only(store_for(simulated=True), *others, change(records[Part.VOLTS]))
    plain = qualified()
    assert (plain["status"], plain["verdict"]) == (3, "undecided")
    assert why in plain["calibration"]["doubts"]["volts"]
    told = verdicts(plain)
    undecided = {name for name, (verdict, _) in told.items() if verdict == "undecided"}
    assert undecided
    for name in undecided:
        assert why in told[name][1], name
    # Only what stands on volts is in doubt.
    assert all("width" not in name and "frequency" not in name for name in undecided)
    assert any("frequency" in name for name in told)


def test_an_older_one_that_holds_is_used(
    records: dict[Part, CalibrationRecord], qualified: Judge
) -> None:
    ended = redated(records[Part.VOLTS], 40, lasts=20)
    old = redated(records[Part.VOLTS], 100)
    others = [record for part, record in records.items() if part is not Part.VOLTS]
    only(store_for(simulated=True), *others, ended, old)
    plain = qualified()
    assert plain["status"] == 0
    assert old.id in {record["id"] for record in plain["calibration"]["records"]}


def test_parts_that_do_not_hold_leave_the_source_undecided(
    records: dict[Part, CalibrationRecord], qualified: Judge
) -> None:
    others = [record for part, record in records.items() if part is not Part.PARTS]
    only(store_for(simulated=True), *others, redated(records[Part.PARTS], 400))
    plain = qualified()
    assert plain["status"] == 3
    told = verdicts(plain)
    source = [verdict for name, verdict in told.items() if "source" in name]
    assert source
    for verdict, why in source:
        assert verdict == "undecided"
        assert "ended on" in why


def test_a_clock_that_does_not_hold_falls_back_to_the_oscillator(
    records: dict[Part, CalibrationRecord],
) -> None:
    only(store_for(simulated=True), redated(records[Part.CLOCK], 400))
    with open_bench(URL) as standin:
        found = standin.calibration
    assert found.time_base.kind == "crystal"
    assert "ended on" in found.doubts["clock"]


def test_show_says_what_is_not_used(
    records: dict[Part, CalibrationRecord], capsys: pytest.CaptureFixture[str]
) -> None:
    only(store_for(simulated=True), redated(records[Part.VOLTS], 400))
    assert int(run(["bench", "show", "--bench", URL])) == 0
    assert "volts NOT USED" in capsys.readouterr().out


def test_the_list_tells_when_they_are_due(
    records: dict[Part, CalibrationRecord],
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setenv("COLUMNS", "160")
    volts, clock = records[Part.VOLTS], records[Part.CLOCK]
    soon, ended = redated(volts, 100, lasts=110), redated(clock, 400)
    only(store_for(simulated=True), redated(volts, 200), soon, ended)
    assert int(run(["bench", "calibrations", "--demo"])) == 0
    out = capsys.readouterr().out
    assert out.index("SIMULATED") == 0
    for record, words in ((soon, "due in 10 days"), (ended, "ENDED 35 days ago")):
        (line,) = [line for line in out.splitlines() if record.id in line]
        assert words in line
    assert "replaced" in out
    run(["bench", "calibrations", "--demo", "--json"])
    plain = json.loads(capsys.readouterr().out)
    assert plain["schema"] == "rungbench.calibrations/1"
    due = {one["id"]: (one["due_in_days"], one["in_use"]) for one in plain["records"]}
    assert due[soon.id] == (10, True)
    assert due[ended.id] == (-35, True)
