"""Every wrong use and every bad input: one sentence, the documented status, no traceback."""

import importlib
import os
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import click
import pytest

from pilotsignal.errors import CaptureError
from rungbench.cli.main import COMMANDS, run
from rungbench.errors import ExitStatus, Interrupted
from rungbench.paths import paths

Refused = Callable[..., str]


@pytest.fixture
def refused(capsys: pytest.CaptureFixture[str]) -> Refused:
    def refusing(status: int, *words: str | Path) -> str:
        assert run([str(word) for word in words]) == status
        output = capsys.readouterr()
        assert output.out == ""
        return one_sentence(output.err)

    return refusing


def one_sentence(text: str) -> str:
    assert text.count("\n") == 1
    assert text.endswith(".\n")
    assert "Traceback" not in text
    assert not re.search(r"[.!?] [A-Z]", text)
    return text


BAD_FILES = {
    "empty": ("", 4, "empty"),
    "text": ("This is a letter.\nNot a record.\n", 4, "rows of numbers"),
    "binary": ("\0\1\2\3" * 200, 4, "not a text file"),
    "headerless": ("0.0,12.0\n0.1,11.9\n0.2,12.0\n", 2, "--interval"),
    "no unit": ("Time (s),CH1\n0,1\n1,2\n2,1\n", 2, "--unit"),
    "two channels": ("Time (s),CH1 (V),CH2 (V)\n0,1,2\n1,2,1\n", 2, "--channel"),
    "NaN": ("Time (s),CH1 (V)\n0,1\n1,nan\n2,1\n", 4, "Line 3"),
    "uneven": ("Time (s),CH1 (V)\n0.0,1\n1.0,2\n2.7,1\n3.0,1\n", 4, "evenly spaced"),
    "decimal commas": ("Time (s),CH1 (V)\n0,00,1,5\n0,01,1,5\n", 4, "semicolons"),
    "contradiction": ("Sample Interval,1\nTime (s),CH1 (V)\n0,1\n2,2\n4,1\n", 4, "disagree"),
    "one sample": ("Time (s),CH1 (V)\n0,1\n", 4, "single sample"),
}


@pytest.mark.parametrize("name", BAD_FILES)
def test_bad_files(refused: Refused, tmp_path: Path, name: str) -> None:
    content, status, words = BAD_FILES[name]
    file = tmp_path / "bad.csv"
    file.write_text(content)
    assert words in refused(status, "measure", file)


def test_files_that_are_not_there_or_not_for_us(refused: Refused, tmp_path: Path) -> None:
    assert "check the path" in refused(4, "measure", tmp_path / "nothing.csv")
    assert "folder" in refused(4, "measure", tmp_path)


@pytest.mark.skipif(
    not hasattr(os, "geteuid") or os.geteuid() == 0, reason="root may read everything"
)
def test_a_file_that_may_not_be_read(refused: Refused, tmp_path: Path) -> None:
    file = tmp_path / "secret.csv"
    file.write_text("1\n2\n")
    file.chmod(0)
    assert "right" in refused(4, "measure", file)


WRONG_USE = [
    (["nonsense"], "nonsense"),
    (["--nonsense"], "--nonsense"),
    (["measure"], "FILE"),
    (["measure", "FILE", "--interval", "soon"], "a time such as 10us"),
    (["measure", "FILE", "--interval", "5V"], "a time such as 10us"),
    (["measure", "FILE", "--interval", "0"], "interval"),
    (["measure", "FILE", "--scale", "0"], "--scale"),
    (["measure", "FILE", "--unit", "furlong"], "use V or mV"),
    (["measure", "FILE", "--channel", "CH9"], '"CH1"'),
    (["measure", "FILE", "--gain-uncertainty", "-1%"], "a share such as"),
    (["measure", "FILE", "--gain-uncertainty", "200%"], "a share such as"),
    (["measure", "FILE", "--gain-uncertainty", "nan"], "a share such as"),
    (["measure", "FILE", "--offset-uncertainty", "-1mV"], "negative"),
    (["measure", "FILE", "--set-current", "3"], "no duty is defined for 3 A"),
    (["measure", "FILE", "--profile", "nonsense"], "nonsense"),
    (["decode", "nonsense"], "nonsense"),
    (["decode", "duty"], "PERCENT"),
    (["decode", "duty", "120"], "0 to 100"),
    (["decode", "duty", "-1"], "0 to 100"),
    (["decode", "duty", "nan"], "duty in percent"),
    (["decode", "current", "-16"], "current"),
    (["decode", "current", "16V"], "a current such as"),
    (["decode", "volts", "high"], "a voltage such as"),
    (["decode", "volts", "-12", "--low", "9"], "lies above"),
    (["decode", "cable", "red"], "a resistance in ohm"),
    (["decode", "cable", "-5"], "resistance"),
    (["decode", "duty", "10", "--profile", "nonsense.toml"], "nonsense.toml"),
]


@pytest.mark.parametrize(("words", "sentence"), WRONG_USE)
def test_wrong_use(refused: Refused, tmp_path: Path, words: list[str], sentence: str) -> None:
    file = tmp_path / "good.csv"
    rows = "".join(f"{n * 1e-5:.5f},{12 if n % 100 < 27 else -12}\n" for n in range(1000))
    file.write_text("Time (s),CH1 (V)\n" + rows)
    words = [str(file) if word == "FILE" else word for word in words]
    assert sentence in refused(2, *words)


def raising(problem: BaseException) -> click.Command:
    @click.command()
    def decode() -> None:
        raise problem

    return decode


@pytest.mark.parametrize(
    ("problem", "status", "words"),
    [
        (KeyboardInterrupt(), ExitStatus.UNDECIDED, "Interrupted"),
        (Interrupted("The run was stopped."), ExitStatus.UNDECIDED, "stopped"),
        (CaptureError("Record it\nagain."), ExitStatus.BENCH_FAULT, "Record it again"),
        (OSError(28, "No space left on device"), ExitStatus.BENCH_FAULT, "No space left"),
        (PermissionError(13, "Permission denied", "/x"), ExitStatus.BENCH_FAULT, "/x"),
        (ZeroDivisionError("inside"), ExitStatus.BENCH_FAULT, "fault of the program"),
    ],
)
def test_every_end_has_its_status(
    refused: Refused,
    monkeypatch: pytest.MonkeyPatch,
    problem: BaseException,
    status: int,
    words: str,
) -> None:
    from rungbench.cli import decode

    monkeypatch.setattr(decode, "decode", raising(problem))
    assert words in refused(status, "decode")


def test_an_unexpected_error_leaves_its_traceback_in_the_log(
    refused: Refused, monkeypatch: pytest.MonkeyPatch
) -> None:
    from rungbench.cli import decode

    monkeypatch.setattr(decode, "decode", raising(ZeroDivisionError("inside")))
    assert "rungbench.log" in refused(4, "decode")
    log = paths().log_file.read_text()
    assert "Traceback" in log
    assert "ZeroDivisionError: inside" in log


def test_commands_without_a_module_are_not_listed(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setitem(COMMANDS, "absent", "Not there.")
    assert run(["--help"]) == 0
    page = capsys.readouterr().out
    assert "decode" in page
    assert "absent" not in page
    assert run(["absent"]) == 2


def test_help_needs_no_command_module(monkeypatch: pytest.MonkeyPatch) -> None:
    """The help page must not cost the imports of every command."""

    def forbidden(name: str) -> None:
        raise AssertionError(f"{name} was imported")

    monkeypatch.setattr(importlib, "import_module", forbidden)
    assert run(["--help"]) == 0


def test_no_words_at_all_show_the_help(capsys: pytest.CaptureFixture[str]) -> None:
    assert run([]) == 2
    assert "Commands:" in capsys.readouterr().err


def test_a_reader_that_has_enough_is_no_error() -> None:
    code = "import sys; from rungbench.cli.main import main; main(['decode', 'duty', '10'])"
    reader, writer = os.pipe()
    os.close(reader)
    with os.fdopen(writer, "wb") as closed:
        ended = subprocess.run(
            [sys.executable, "-c", code],
            stdout=closed,
            stderr=subprocess.PIPE,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
            timeout=60,
            check=False,
        )
    assert ended.stderr == b""
    assert ended.returncode == ExitStatus.UNDECIDED


def test_a_terminal_that_knows_ascii_only(root: Path) -> None:
    file = root / "fixtures" / "csv" / "comment-lines.csv"
    code = f"from rungbench.cli.main import main; main(['measure', {str(file)!r}])"
    ended = subprocess.run(
        [sys.executable, "-c", code],
        capture_output=True,
        env={
            **os.environ,
            "PYTHONPATH": os.pathsep.join(sys.path),
            "PYTHONIOENCODING": "ascii",
        },
        timeout=60,
        check=False,
    )
    assert (ended.returncode, ended.stderr) == (0, b"")
    assert b"1003.003 +/- " in ended.stdout
    assert b"? undecided" in ended.stdout  # the shape for such terminals
