"""``rungbench records report``, ``label``, ``export``: files, refusals, exit status."""

import json
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from archive_examples import check, counts, edges, header
from report_examples import evidence, many, pages, words

from pilotsignal.judge import Verdict
from rungbench.archive.record import RunVerdict
from rungbench.archive.store import open_archive
from rungbench.cli.main import run
from rungbench.paths import paths
from rungbench.report.label import SIZE, label_pdf
from rungbench.report.pdf import report_pdf

Call = Callable[..., tuple[int, str, str]]


@pytest.fixture
def call(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> Call:
    monkeypatch.chdir(tmp_path)

    def calling(*words: str) -> tuple[int, str, str]:
        status = run(["records", *words])
        output = capsys.readouterr()
        return int(status), output.out, output.err

    return calling


@pytest.fixture(autouse=True)
def _archives() -> None:
    """A pass and a later fail in the archive, a run without end in the demo archive."""
    with open_archive(paths().archive, simulated=False) as real:
        for days, (run_id, verdict) in enumerate(
            (("aaaaa-22222", Verdict.PASS), ("bbbbb-22222", Verdict.FAIL))
        ):
            start = header(run_id)
            start = replace(start, started=start.started + timedelta(days=days))
            real.begin(start)
            keys = (
                real.add_capture(run_id, edges(), "B edges"),
                real.add_capture(run_id, counts(), "B samples"),
            )
            real.add_check(run_id, replace(check(verdict=verdict), captures=keys))
            real.finish(run_id, RunVerdict(verdict.value), start.started + timedelta(seconds=57))
    with open_archive(paths().demo_archive, simulated=True) as demo:
        demo.begin(header("ccccc-22222", simulated=True))
        demo.add_check("ccccc-22222", check())


def test_a_report_is_named_by_its_record(call: Call, tmp_path: Path) -> None:
    assert call("report", "aaaaa") == (0, "rungbench-aaaaa-22222.pdf\n", "")
    content = (tmp_path / "rungbench-aaaaa-22222.pdf").read_bytes()
    assert "aaaaa-22222" in pages(content, tmp_path)[0]
    status, out, _ = call("report", "aaaaa", "--file", "again.pdf")
    assert (status, out) == (0, "again.pdf\n")
    assert (tmp_path / "again.pdf").read_bytes() == content


def test_a_simulated_run_says_so(call: Call) -> None:
    status, out, _ = call("report", "ccccc")
    assert (status, out) == (0, "SIMULATED: rungbench-ccccc-22222.pdf\n")


def test_several_in_one_file_and_each_once(call: Call, tmp_path: Path) -> None:
    status, out, _ = call("report", "aaaaa", "bbbbb", "aaaaa")
    assert (status, out) == (0, "rungbench-aaaaa-22222-and-1-more.pdf\n")
    content = (tmp_path / "rungbench-aaaaa-22222-and-1-more.pdf").read_bytes()
    assert "Inspection report of 2 runs" in pages(content, tmp_path)[0]


def test_a_file_is_replaced_only_if_told_to(call: Call, tmp_path: Path) -> None:
    (tmp_path / "x.pdf").write_text("mine")
    status, out, error = call("report", "aaaaa", "--file", "x.pdf")
    assert (status, out) == (2, "")
    assert error == "x.pdf exists already; name another file, or allow --replace.\n"
    assert (tmp_path / "x.pdf").read_text() == "mine"
    assert call("report", "aaaaa", "--file", "x.pdf", "--replace")[0] == 0
    assert (tmp_path / "x.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.parametrize("command", ["report", "label"])
def test_unknown_records_are_named(command: str, call: Call, tmp_path: Path) -> None:
    status, _, error = call(command, "aaaaa", "zzzzz")
    assert status == 4
    assert error == "No record begins with 'zzzzz'; `rungbench records list` shows the ids.\n"
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("place", "reason"),
    [
        ("/dev/full", "No space left on device"),
        ("missing/x.pdf", "No such file or directory"),
        ("file/x.pdf", "Not a directory"),
    ],
)
@pytest.mark.parametrize(
    "words", [("report", "aaaaa", "--file"), ("export", "--csv"), ("export", "--json")]
)
def test_what_cannot_be_written_leaves_nothing(
    words: tuple[str, ...], place: str, reason: str, call: Call, tmp_path: Path
) -> None:
    (tmp_path / "file").write_text("")
    status, out, error = call(*words, place)
    assert (status, out) == (4, "")
    assert error == f"{place} cannot be written ({reason}); make room or name another file.\n"
    assert [one.name for one in tmp_path.iterdir()] == ["file"]


def test_a_full_disk_leaves_the_old_file(
    call: Call, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "x.json").write_text("old")

    def refuse(*_given: object, **_named: object) -> Path:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", refuse)
    status, _, error = call("export", "--json", "x.json", "--replace")
    assert status == 4
    assert "No space left on device" in error
    assert [one.name for one in tmp_path.iterdir()] == ["x.json"]
    assert (tmp_path / "x.json").read_text() == "old"


def test_exports_take_what_was_asked_for_the_oldest_first(call: Call, tmp_path: Path) -> None:
    def taken(*words: str) -> list[str]:
        assert call("export", "--json", "x.json", "--replace", *words)[0] == 0
        return [one["record"] for one in json.loads(Path("x.json").read_text())["records"]]

    assert taken() == ["aaaaa-22222", "bbbbb-22222"]
    assert taken("--since", "2025-07-12") == ["bbbbb-22222"]
    assert taken("--verdict", "pass") == ["aaaaa-22222"]
    assert taken("--serial", "nothing") == []
    assert taken("--demo") == ["ccccc-22222"]
    assert taken("--both") == ["aaaaa-22222", "bbbbb-22222", "ccccc-22222"]
    assert call("export", "--csv", "x.csv")[1] == "2 runs in x.csv\n"
    assert len((tmp_path / "x.csv").read_text("utf-8-sig").splitlines()) == 3


def test_exports_to_standard_output(call: Call) -> None:
    status, out, error = call("export", "--json", "-")
    assert (status, error) == (0, "")
    assert len(json.loads(out)["records"]) == 2
    assert call("export", "--csv", "-")[1].startswith("\ufeffrecord,simulated,verdict,")


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("export",), "State one of --csv FILE and --json FILE."),
        (("export", "--csv", "a", "--json", "b"), "State one of --csv FILE and --json FILE."),
        (("export", "--csv", "a", "--verdict", "good"), "--verdict 'good' is none; choose one of"),
        (("export", "--csv", "a", "--since", "today"), "--since 'today' is no date"),
        (("report",), "Missing argument 'ID...'"),
    ],
)
def test_wrong_use(words: tuple[str, ...], sentence: str, call: Call) -> None:
    status, out, error = call(*words)
    assert (status, out) == (2, "")
    assert sentence in error


def test_schema_and_columns_are_printed(call: Call) -> None:
    assert json.loads(call("export", "--schema")[1])["title"] == "rungbench.export/1"
    assert call("export", "--columns")[1].splitlines()[0].split() == [
        "record",
        "id",
        "of",
        "the",
        "run",
    ]


def test_a_label_holds_serial_verdict_id_and_code(call: Call, tmp_path: Path) -> None:
    assert call("label", "aaaaa", "ccccc", "--file", "l.pdf")[0] == 0
    content = (tmp_path / "l.pdf").read_bytes()
    real, demo = pages(content, tmp_path)
    for part in ("● pass", "DEMO-0001", "aaaaa-22222", "2025-07-11", "No certificate"):
        assert part in real
    assert "SIMULATED" in demo
    assert "◌ incomplete" in demo


def test_a_label_stays_inside_its_edges(tmp_path: Path) -> None:
    from report_examples import hostile

    found = words(label_pdf([evidence(hostile())]), tmp_path)
    assert found
    assert all(word.right < SIZE[0] and 0 < word.top < word.bottom < SIZE[1] for word in found)
    with pytest.raises(ValueError, match="needs a record"):
        label_pdf([])


def test_the_code_on_a_label_is_drawn_as_it_was_made(tmp_path: Path) -> None:
    """Against the modules of segno, through poppler's picture of the page."""
    import numpy as np
    import segno

    from rungbench.report.digest import code_text

    one = evidence(many(1))
    (tmp_path / "l.pdf").write_bytes(label_pdf([one]))
    command = ["pdftoppm", "-r", "300", "-gray", "l.pdf", "l"]
    subprocess.run(command, cwd=tmp_path, check=True)
    (file,) = tmp_path.glob("l-*.pgm")
    _, size, _, pixels = file.read_bytes().split(b"\n", 3)
    width, height = map(int, size.split())
    grey = np.frombuffer(pixels, np.uint8).reshape(height, width)
    made = segno.make(code_text(one.record.run_id, one.sha256), error="m", micro=False)
    expected = np.array([list(row) for row in made.matrix_iter(border=4)])
    module = 74.0 / expected.shape[0] * 300 / 72
    left, top = (SIZE[0] - 74.0 - 3.0) * 300 / 72, 3.0 * 300 / 72
    centres = (np.arange(expected.shape[0]) + 0.5) * module
    seen = grey[(top + centres).astype(int)[:, None], (left + centres).astype(int)[None, :]] < 128
    assert np.array_equal(seen, expected.astype(bool))


def test_help_and_list_do_not_load_what_draws() -> None:
    script = (
        "import sys; from rungbench.cli.main import run; run(['records', '--help']);"
        "run(['records', 'list']);"
        "print([one for one in ('reportlab', 'segno', 'scipy', 'GTC') if one in sys.modules])"
    )
    said = subprocess.run(
        [sys.executable, "-c", script],
        env={"PYTHONPATH": ":".join(sys.path), "HOME": str(Path.home())},
        capture_output=True,
        text=True,
        check=True,
    )
    assert said.stdout.splitlines()[-1] == "[]"


def test_forty_checks_take_less_than_a_second_of_processor_time() -> None:
    one = evidence(many(40))
    report_pdf([one])  # typefaces and libraries are loaded once
    start = time.process_time()
    report_pdf([one])
    assert time.process_time() - start < 1.0
