"""What happens after a run: a folder, a command, and all that can go wrong with them."""

import json
import sys
from pathlib import Path

import pytest
from report_examples import HOSTILE_SERIAL, described, evidence, many
from schema_check import problems

from rungbench.cli.main import run
from rungbench.report import handover
from rungbench.report.export_json import schema_text
from rungbench.report.handover import hand_over

_KEEP = (
    "import pathlib, shutil, sys;"
    "shutil.copy(sys.argv[-1], 'kept.json');"
    "pathlib.Path('words.txt').write_text(repr(sys.argv[1:]))"
)


@pytest.fixture(autouse=True)
def _here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


def command(script: str, *words: str) -> str:
    return " ".join([sys.executable, "-c", f'"{script}"', *words])


def test_nothing_is_asked_for(tmp_path: Path) -> None:
    assert hand_over(evidence(many(1)), "", " ") == ()
    assert list(tmp_path.iterdir()) == []


def test_a_folder_gets_report_and_document(tmp_path: Path) -> None:
    (tmp_path / "in").mkdir()
    one = evidence(many(2))
    for _ in range(2):  # a second time replaces them
        assert hand_over(one, "in", "") == ()
    assert sorted(file.name for file in (tmp_path / "in").iterdir()) == [
        "aaaaa-bbbbb.json",
        "aaaaa-bbbbb.pdf",
    ]
    document = json.loads((tmp_path / "in/aaaaa-bbbbb.json").read_text())
    assert problems(document, json.loads(schema_text())) == []
    assert document["records"][0]["sha256"] == one.sha256


def test_a_command_gets_the_path_as_its_last_word(tmp_path: Path) -> None:
    assert hand_over(evidence(many(1)), "", command(_KEEP, "'two words'")) == ()
    assert json.loads((tmp_path / "kept.json").read_text())["schema"] == "rungbench.export/1"
    told = (tmp_path / "words.txt").read_text()
    assert told.startswith("['two words', '")
    assert told.endswith("aaaaa-bbbbb.json']")


def test_no_text_of_a_record_is_run(tmp_path: Path) -> None:
    one = described(many(1), serial="'; touch owned; '$(touch owned)", maker=HOSTILE_SERIAL)
    assert hand_over(evidence(one), "", command(_KEEP)) == ()
    assert not (tmp_path / "owned").exists()


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("no-such-program", "cannot be started (No such file or directory); check the setting."),
        ("'open", "cannot be split into words (No closing quotation); correct it."),
        (
            command("import sys; sys.exit('not \\x1b today.')"),
            "ended with 1: not \\x1b today.",
        ),
        (command("raise SystemExit(3)"), "ended with 3."),
    ],
)
def test_a_command_that_fails_is_told(text: str, sentence: str) -> None:
    (told,) = hand_over(evidence(many(1)), "", text)
    assert told == f"The command after the run {sentence}"


def test_a_command_that_hangs_is_ended(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(handover, "_LONGEST_S", 0.2)
    (told,) = hand_over(evidence(many(1)), "", command("import time; time.sleep(60)"))
    assert told == "The command after the run took longer than 0.2 s and was ended."


def test_a_folder_that_is_not_there_is_told_and_the_command_still_runs(tmp_path: Path) -> None:
    (told,) = hand_over(evidence(many(1)), "gone", command(_KEEP))
    assert told.startswith("The report was not handed over: gone")
    assert "No such file or directory" in told
    assert (tmp_path / "kept.json").exists()
    assert not (tmp_path / "gone").exists()


def test_a_run_hands_its_record_over_and_keeps_its_status(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    (tmp_path / "in").mkdir()
    monkeypatch.setenv("RUNGBENCH_AFTER_RUN_FOLDER", str(tmp_path / "in"))
    monkeypatch.setenv("RUNGBENCH_AFTER_RUN_COMMAND", "no-such-program")
    status = run(["qualify", "--bench", "sim://sound", "--json"])
    output = capsys.readouterr()
    run_id = json.loads(output.out)["record"]
    assert int(status) == 0
    assert "The command after the run cannot be started" in output.err
    assert sorted(file.name for file in (tmp_path / "in").iterdir()) == [
        f"{run_id}.json",
        f"{run_id}.pdf",
    ]
