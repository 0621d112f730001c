"""``rungbench lot``: what it prints, its JSON as documented, how it ends."""

import json
import re
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import pytest

from rungbench import lots as lots_package
from rungbench.archive.errors import ArchiveError
from rungbench.archive.store import open_archive
from rungbench.cli.main import run
from rungbench.lots.store import Lots
from rungbench.paths import paths
from rungbench.qualify.safety import ALARM

Call = Callable[..., tuple[int, str, str]]

SHEET = """
maker = "Example"
model = "Demo 11"
rated_current_a = 16
set_current_a = 16
phases = 3
outlet = "cable"
serial_pattern = "D-[0-9]{4}"
"""


@pytest.fixture
def call(capsys: pytest.CaptureFixture[str]) -> Call:
    def calling(*words: str) -> tuple[int, str, str]:
        capsys.readouterr()
        status = run(words)
        output = capsys.readouterr()
        return int(status), output.out, output.err

    return calling


@pytest.fixture
def sheet(tmp_path: Path) -> Path:
    file = tmp_path / "model.toml"
    file.write_text(SHEET, encoding="utf-8")
    return file


@pytest.fixture
def serials(tmp_path: Path) -> Path:
    file = tmp_path / "serials.txt"
    file.write_text("".join(f"D-{number:04}\n" for number in range(1, 9)), encoding="utf-8")
    return file


@pytest.fixture
def new(call: Call, sheet: Path) -> Call:
    def making(name: str, *more: str) -> tuple[int, str, str]:
        words = ("--supplier", "Northern", "--sheet", str(sheet), "--size", "8", "--aql", "4.0")
        return call("lot", "new", name, *words, *more)

    return making


def qualify(call: Call, lot: str, serial: str, *more: str, keys: str = "") -> tuple[int, str, str]:
    bench = f"sim://sound?{keys}" if keys else "sim://sound"
    return call("qualify", "--bench", bench, "--lot", lot, "--serial", serial, *more)


# JSON, as json_documents.md has it --------------------------------------------------------------


def documented() -> tuple[dict[str, set[str]], dict[str, set[str]]]:
    """Names of every document and of every part."""
    file = Path(str(lots_package.__file__)).with_name("json_documents.md")
    documents: dict[str, set[str]] = {}
    parts: dict[str, set[str]] = {}
    current = ""
    for line in file.read_text(encoding="utf-8").splitlines():
        if found := re.match(r"## `(rungbench\.[a-z-]+/1)`", line):
            current = found[1]
        elif line.startswith("## "):
            current = "parts"
        elif line.startswith("| ") and not line.startswith("| name"):
            cells = [cell.strip() for cell in line.strip("|").split("|")]
            if current == "parts":
                parts.setdefault(cells[0], set()).update(re.findall(r"`([^`]+)`", cells[1]))
            else:
                documents.setdefault(current, set()).update(re.findall(r"`([^`]+)`", cells[0]))
    shared = documents["rungbench.lot-quantity/1"] - {"lot", "schema"}
    documents["rungbench.lot-trend/1"] |= shared
    return documents, parts


PARTS = {
    "plan": "plan", "sampling": "plan", "standing": "standing", "end": "end",
    "quantities[]": "summary", "spread": "spread", "performance": "performance",
    "between_lots": "",
}  # fmt: skip


def require_documented(document: dict[str, Any]) -> None:
    """Every name of the document is described, and every name that is described is there."""
    documents, parts = documented()
    names = documents[document["schema"]]
    found = set(_names(document, "", names, parts))
    assert found <= names, found - names
    top = {re.split(r"[.\[]", name)[0] for name in names}
    assert top == set(document), top ^ set(document)


def _names(value: Any, path: str, names: set[str], parts: dict[str, set[str]]) -> Iterator[str]:
    part = PARTS.get(re.sub(r"^lots\[\]\.", "", path))
    if path == "sheet" or part is not None:
        if isinstance(value, dict) and part:
            _require_part(value, parts[part], part)
        yield path
    elif isinstance(value, dict):
        for key, item in value.items():
            yield from _names(item, f"{path}.{key}" if path else key, names, parts)
    elif isinstance(value, list):
        if not value:
            return
        for item in value:
            yield from _names(item, f"{path}[]", names, parts)
    elif value is not None or path in names:
        yield path


def _require_part(value: dict[str, Any], described: set[str], part: str) -> None:
    tally = value.get("tally")
    plain = set(value) - {"tally"}
    if isinstance(tally, dict):
        plain |= {f"tally.{key}" for key in tally}
    assert plain == described, (part, plain ^ described)


# Plans --------------------------------------------------------------------------------------------


def test_a_plan(call: Call) -> None:
    status, out, error = call("lot", "plan", "--size", "500", "--aql", "1.5")
    assert (status, error) == (0, "")
    assert "code letter H" in out
    assert "Test 50 units, drawn at random (n); accept with up to 2 that fail (Ac)" in out
    assert "Producer's risk" in out
    status, out, _ = call("lot", "plan", "--size", "500", "--aql", "1.5", "--json")
    document = json.loads(out)
    assert status == 0
    assert document["plan"]["reject"] == 3
    require_documented(document)


@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (("--size", "500", "--aql", "2"), "No plan is known for an AQL of 2 %"),
        (("--size", "500", "--aql", "nan"), "No plan is known for an AQL of nan %"),
        (("--size", "1", "--aql", "1.5"), "A lot has 2 to 10,000,000 units, not 1"),
        (("--size", "500", "--aql", "1.5", "--level", "I"), "are not known here, only those of"),
        (("--size", "x", "--aql", "1.5"), "'x' is not a valid integer"),
    ],
)
def test_plans_that_cannot_be(call: Call, words: tuple[str, ...], sentence: str) -> None:
    status, out, error = call("lot", "plan", *words)
    assert (status, out) == (2, "")
    assert sentence in error
    assert error.count("\n") == 1


# A lot from its drawing to its end --------------------------------------------------------------


def test_a_lot_of_the_demo_archive(call: Call, new: Call, serials: Path) -> None:
    status, out, error = new("P-7", "--demo", "--serials", str(serials), "--seed", "s1", "--json")
    assert (status, error) == (0, "")
    document = json.loads(out)
    require_documented(document)
    assert document["simulated"] is True
    drawn = [unit["serial"] for unit in document["units"]]
    assert len(drawn) == 3

    status, out, _ = call("lot", "next", "p-7", "--demo", "--json")
    upcoming = json.loads(out)
    require_documented(upcoming)
    assert upcoming["next"] == {"unit": int(drawn[0][2:]), "serial": drawn[0]}

    status, out, error = qualify(call, "P-7", drawn[0], "--json")
    assert status == 0
    record = json.loads(out)
    assert record["charger"]["serial"] == drawn[0]
    assert record["lot"]["standing"]["tally"]["passed"] == 1
    require_documented(record["lot"])

    status, out, error = qualify(call, "P-7", drawn[0])
    assert (status, out) == (2, "")
    assert f"Serial '{drawn[0]}' was tested before in lot 'P-7' (record {record['record']}" in error

    # A bench that loses its board: the unit stays untested, the retest takes its place.
    status, _, _ = qualify(call, "P-7", drawn[1], keys="unplug_after_s=3")
    assert status == 4
    status, out, _ = call("lot", "next", "P-7", "--demo")
    assert f"serial {drawn[1]}, again with --retest" in out
    status, out, _ = qualify(call, "P-7", drawn[1], "--retest", "USB cable was pulled")
    assert status == 0
    assert "1 of 3 units untested, 0 failed; up to 0 may." in " ".join(out.split())

    status, out, _ = call("lot", "show", "P-7", "--demo", "--json")
    document = json.loads(out)
    require_documented(document)
    assert [one["verdict"] for one in document["units"][1]["runs"]] == ["bench fault", "pass"]
    assert document["units"][1]["runs"][1]["retest"] == "USB cable was pulled"
    status, out, _ = call("lot", "show", "P-7", "--demo")
    assert "again: USB cable was pulled" in " ".join(out.split())


def test_a_rejected_lot_is_presented_again(call: Call, new: Call, serials: Path) -> None:
    _, out, _ = new("P-7", "--demo", "--serials", str(serials), "--json")
    drawn = [unit["serial"] for unit in json.loads(out)["units"]]
    status, _, _ = qualify(call, "P-7", drawn[1], keys="voc_high_v=13.2")
    assert status == 1
    _, out, _ = call("lot", "show", "P-7", "--demo", "--json")
    document = json.loads(out)
    assert document["standing"]["decision"] == "reject"
    assert document["failures"][0]["serials"] == [drawn[1]]
    status, out, _ = call("lot", "show", "P-7", "--demo")
    assert status == 0
    assert out.startswith("SIMULATED Lot P-7")
    for piece in ("▲ reject", "What failed", "source-resistance", "It is decided; `rungbench lot"):
        assert piece in " ".join(out.split())

    status, out, _ = call("lot", "close", "P-7", "--demo", "--json")
    assert status == 1
    assert json.loads(out)["end"]["decision"] == "reject"
    status, _, error = qualify(call, "P-7", drawn[0], "--retest", "once more")
    assert (status, error) == (
        2,
        "Lot 'P-7' is closed (reject); a new inspection is a lot of its own.\n",
    )

    status, out, _ = new("P-7b", "--demo", "--resubmits", "P-7", "--json")
    document = json.loads(out)
    assert (status, document["resubmits"]) == (0, "P-7")
    status, out, _ = call("lot", "list", "--demo", "--json")
    listed = json.loads(out)
    require_documented(listed)
    assert [(one["lot"], one["end"] is None) for one in listed["lots"]] == [
        ("P-7", False),
        ("P-7b", True),
    ]
    status, out, _ = call("lot", "list", "--demo")
    assert "SIMULATED P-7" in " ".join(out.split())


def test_one_quantity_on_a_page(call: Call, new: Call) -> None:
    new("P-8", "--demo", "--seed", "s1")
    for number, ohms in enumerate((1000, 1004, 1008)):
        status, _, _ = qualify(call, "P-8", f"D-000{number}", keys=f"source_ohm={ohms}&seed=4")
        assert status == 0
    name = "source-resistance:source_resistance_ohm"
    status, out, _ = call("lot", "show", "P-8", "--demo", "--quantity", name, "--json")
    document = json.loads(out)
    require_documented(document)
    assert status == 0
    assert [one["serial"] for one in document["values"]] == ["D-0000", "D-0001", "D-0002"]
    values = [one["value"] for one in document["values"]]
    assert [later - values[0] for later in values] == pytest.approx([0.0, 4.0, 8.0], abs=1.5)
    assert (document["low"], document["high"], document["control"]) == (970.0, 1030.0, None)
    status, out, _ = call("lot", "show", "P-8", "--demo", "--quantity", "source-resistance")
    assert out.startswith(f"SIMULATED Lot P-8: {name}")
    assert "Ppk" in out
    assert "Too few values for a chart; it takes 8." in out
    status, out, _ = call("lot", "trend", "northern", "--demo", "--quantity", name, "--json")
    document = json.loads(out)
    require_documented(document)
    assert [point["count"] for point in document["lots"]] == [3]
    status, out, _ = call("lot", "trend", "Northern", "--demo", "--quantity", name)
    assert (status, "SIMULATED Supplier Northern" in out) == (0, True)
    status, _, error = call("lot", "show", "P-8", "--demo", "--quantity", "colour")
    assert status == 2
    assert "There is no quantity 'colour'; those are" in error


def test_places_and_scans(call: Call, new: Call) -> None:
    new("P-9", "--demo", "--seed", "s1")
    status, out, _ = call("lot", "next", "P-9", "--demo", "--json")
    unit = json.loads(out)["next"]
    assert unit["serial"] is None
    status, out, _ = call("lot", "scan", "P-9", str(unit["unit"]), "D-0777", "--demo", "--json")
    assert status == 0
    assert json.loads(out)["next"] == {"unit": unit["unit"], "serial": "D-0777"}
    status, _, error = call("lot", "scan", "P-9", str(unit["unit"]), "D-0777", "--demo")
    assert status == 2
    assert "has the serial number 'D-0777' already" in error


def test_a_recorded_run_joins(call: Call, new: Call, sheet: Path) -> None:
    new("P-10", "--demo")
    words = ("--sheet", str(sheet), "--serial", "D-0001", "--json")
    _, out, _ = call("qualify", "--bench", "sim://sound", *words)
    record = json.loads(out)["record"]
    status, out, _ = call("lot", "add", "P-10", record, "--demo", "--json")
    assert status == 0
    assert json.loads(out)["standing"]["tally"]["passed"] == 1
    _, out, _ = call("qualify", "--bench", "sim://sound", "--serial", "D-0002", "--json")
    record = json.loads(out)["record"]
    status, _, error = call("lot", "add", "P-10", record, "--demo")
    assert status == 2
    assert "its model is 'Simulated AC charger', that of the lot's model sheet 'Demo 11'" in error


# Real and simulated, and what else is refused ---------------------------------------------------


def test_a_real_lot_refuses_simulated_runs(call: Call, new: Call) -> None:
    assert new("R-1")[0] == 0
    status, out, error = qualify(call, "R-1", "D-0001")
    assert (status, out) == (2, "")
    assert error == (
        "Lot 'R-1' is one of real chargers; a simulated run cannot join it. Make one with "
        "`rungbench lot new --demo`.\n"
    )
    with pytest.raises(ArchiveError, match="real"), open_archive(paths().archive, simulated=True):
        pass
    with open_archive(paths().archive) as archive:
        assert Lots(archive).state("R-1").standing.tally.untested == 3
        assert archive.count() == 0
    assert ALARM not in error.upper()


def test_a_demo_lot_refuses_real_runs(call: Call, new: Call) -> None:
    """Before any port is opened: this one does not exist."""
    assert new("D-1", "--demo")[0] == 0
    words = ("--lot", "D-1", "--serial", "D-0001")
    status, _, error = call("qualify", "--bench", "/dev/ttyEXAMPLE0", *words)
    assert status == 2
    assert "is one of simulated runs; a real charger needs a lot of its own" in error


@pytest.mark.parametrize(
    ("words", "status", "sentence"),
    [
        (("--lot", "nope", "--serial", "D-0001"), 4, "There is no lot 'nope'"),
        (("--lot", "L"), 2, "A unit of a lot needs its serial number"),
        (("--retest", "x"), 2, "A retest is one of a lot; give --lot too."),
        (("--lot", "L", "--serial", "D-0001", "--sheet", "x.toml"), 2, "leave --sheet out"),
        (("--lot", "L", "--serial", "X-1"), 2, "does not fit the model sheet's pattern"),
        (("--lot", "L", "--serial", "D-0001", "--model", "Other"), 2, "its model is 'Other'"),
        (("--lot", "L", "--serial", "D-0001", "--set-current", "10"), 2, "its set_current_a is"),
        (("--lot", "L", "--serial", "D-0001", "--plan", "full"), 2, "its plan is full"),
        (
            ("--lot", "L", "--serial", "D-0001", "--profile", "sae-j1772-2017"),
            2,
            "its profile is sae-j1772-2017",
        ),
        (
            ("--lot", "L", "--serial", "D-0001", "--retest", "x"),
            2,
            "was not tested before in lot 'L'; leave --retest out",
        ),
    ],
)
def test_runs_that_may_not_join(
    call: Call, new: Call, words: tuple[str, ...], status: int, sentence: str
) -> None:
    new("L", "--demo")
    found, out, error = call("qualify", "--bench", "sim://sound", *words)
    assert (found, out) == (status, "")
    assert sentence in error
    assert error.count("\n") == 1


@pytest.mark.parametrize(
    ("words", "status", "sentence"),
    [
        (("lot", "show", "nope", "--demo"), 4, "There is no archive at"),
        (("lot", "list"), 4, "There is no archive at"),
        (("lot", "show", "nope", "--archive", "/nowhere/a.sqlite"), 4, "There is no archive at"),
        (("lot", "new", "x"), 2, "Missing option '--supplier'"),
        (("lot", "colour"), 2, "No such command 'colour'"),
        (("lot",), 2, ""),
    ],
)
def test_what_is_missing(call: Call, words: tuple[str, ...], status: int, sentence: str) -> None:
    found, _, error = call(*words)
    assert found == status
    assert sentence in error
    assert "Traceback" not in error


def test_sheets_that_cannot_serve_a_lot(call: Call, tmp_path: Path) -> None:
    words = ("--supplier", "N", "--size", "8", "--aql", "4.0", "--demo", "--sheet")
    status, _, error = call("lot", "new", "L", *words, str(tmp_path / "none.toml"))
    assert status == 4
    assert "cannot be read" in error
    thin = tmp_path / "thin.toml"
    thin.write_text('maker = "Example"\nmodel = "Demo 11"\n', encoding="utf-8")
    status, _, error = call("lot", "new", "L", *words, str(thin))
    assert status == 2
    assert "The model sheet of a lot must state rated_current_a, phases, outlet" in error


def test_the_switching_rules_advise_and_a_person_decides(call: Call, new: Call) -> None:
    for name in ("L1", "L2"):
        new(name, "--demo")
        status, _, _ = qualify(call, name, f"D-000{name[1]}", keys="voc_high_v=13.2")
        assert status == 1
        call("lot", "close", name, "--demo")
    status, out, error = new("L3", "--demo", "--json")
    document = json.loads(out)
    assert (status, error) == (0, "")
    assert document["sampling"]["severity"] == "tightened"
    assert document["advice"]["confidence"] == "MEM"
    status, out, error = new("L4", "--demo", "--severity", "normal", "--json")
    assert (status, json.loads(out)["sampling"]["severity"]) == (0, "normal")
    assert "The switching rules ask for tightened inspection: 2 of the last 2 lots" in error
    assert "from memory" in error


def test_hostile_names_are_shown_and_not_obeyed(new: Call) -> None:
    status, _, error = new("a\x1b[2Jb", "--demo")
    assert status == 2
    assert "\x1b" not in error
    status, out, _ = new("[red]x[/red]", "--demo", "--notes", "[bold]y[/bold]\u202e")
    assert status == 0
    assert "[red]x[/red]" in out
    assert "\u202e" not in out
