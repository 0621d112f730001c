"""``rungbench qualify --report``: the inspection report of the run, where it says it is."""

import json
from pathlib import Path

import pytest
from report_examples import pages

from rungbench.cli.main import run
from rungbench.paths import paths, under_home


def test_the_report_is_where_it_is_said_to_be(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    assert run(["qualify", "--bench", "sim://sound", "--report"]) == 0
    told = capsys.readouterr().out.splitlines()[-1]
    (file,) = paths().reports.iterdir()
    assert told == f"report {under_home(file)}"
    text = pages(file.read_bytes(), tmp_path)[0]
    assert "SIMULATED" in text
    assert file.stem.removeprefix("rungbench-") in text


def test_json_stays_alone_on_standard_output(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["qualify", "--bench", "sim://sound", "--report", "--json"]) == 0
    output = capsys.readouterr()
    record = json.loads(output.out)["record"]
    file = paths().reports / f"rungbench-{record}.pdf"
    assert output.err.strip() == f"report {under_home(file)}"


def test_a_report_that_cannot_be_written_changes_no_verdict(
    capsys: pytest.CaptureFixture[str],
) -> None:
    in_the_way = paths().reports
    in_the_way.parent.mkdir(parents=True, exist_ok=True)
    in_the_way.write_text("", encoding="utf-8")
    assert run(["qualify", "--bench", "sim://sound", "--report"]) == 0
    output = capsys.readouterr()
    assert output.err.startswith("The report was not written: ")
    assert output.err.count("\n") == 1
    assert "record " in output.out
