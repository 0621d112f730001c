"""Exports: JSON by its schema, CSV that no spreadsheet runs."""

import copy
import csv
import hashlib
import io
import json
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from archive_examples import check
from qualify_runs import Run
from report_examples import HOSTILE_MODEL, described, hostile, levels, many, record
from schema_check import problems

from pilotsignal.judge import Verdict
from rungbench.archive.chain import hashed
from rungbench.archive.record import Record
from rungbench.qualify.plan_file import load_plan
from rungbench.report.export_csv import columns, csv_chunks, defused
from rungbench.report.export_json import export_chunks, record_document, schema_text

# Fixed: somebody's own system reads them by name and by place. New ones come last, before the hash.
_FIRST_COLUMNS = [
    "record",
    "simulated",
    "verdict",
    "started_utc",
    "finished_utc",
    "interrupted",
    "maker",
    "model",
    "serial",
    "rated_current_a",
    "set_current_a",
    "phases",
    "outlet",
    "notes",
    "operator",
    "plan",
    "plan_hash",
    "profile",
    "profile_hash",
    "board",
    "firmware",
    "calibration",
    "calibration_until",
    "software",
    "required_pass",
    "required_fail",
    "required_undecided",
    "required_not_run",
    "required_bench_fault",
    "required_observed",
    "failed_checks",
]


@pytest.fixture(scope="module")
def schema() -> dict[str, Any]:
    return dict(json.loads(schema_text()))


@pytest.fixture(scope="module")
def simulated(tmp_path_factory: pytest.TempPathFactory) -> Record:
    return Run(tmp_path_factory.mktemp("run"), "source_ohm=1150", plan=load_plan("quick")).record()


def exported(*records: Record) -> dict[str, Any]:
    return dict(json.loads(b"".join(export_chunks(records))))


def rows(*records: Record) -> list[dict[str, str]]:
    text = b"".join(csv_chunks(records)).decode("utf-8-sig")
    return list(csv.DictReader(io.StringIO(text, newline="")))


def test_exports_fit_the_schema(schema: dict[str, Any], simulated: Record) -> None:
    every = (simulated, many(9), hostile(), record(ended=False))
    document = exported(*every)
    assert problems(document, schema) == []
    assert [one["record"] for one in document["records"]] == [one.run_id for one in every]
    assert problems(exported(), schema) == []


def _places(value: Any, at: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Every place in a document that is no collection."""
    items = value.items() if isinstance(value, dict) else enumerate(value)
    for key, one in items:
        if isinstance(one, dict | list):
            yield from _places(one, (*at, key))
        else:
            yield (*at, key)


def test_the_schema_says_something_about_every_value(
    schema: dict[str, Any], simulated: Record
) -> None:
    document = exported(simulated)
    free = {"board", "calibration", "make_safe"}  # whatever the board and its calibration tell
    places = [one for one in _places(document) if not free & set(one)]
    assert len(places) > 1000
    unnoticed = []
    for place in places[::7]:
        spoiled = copy.deepcopy(document)
        inner = spoiled
        for key in place[:-1]:
            inner = inner[key]
        inner[place[-1]] = {"not": "this"}
        if not problems(spoiled, schema):
            unnoticed.append(place)
    assert unnoticed == []


@pytest.mark.parametrize("name", ["verdict", "checks", "sha256", "findings", "simulated"])
def test_a_missing_name_is_noticed(name: str, schema: dict[str, Any]) -> None:
    document = exported(many(2))
    del document["records"][0][name]
    assert problems(document, schema) == [f"$.records[0]: {name} is missing"]


def test_the_hash_is_that_of_the_chain(simulated: Record) -> None:
    told = json.loads(json.dumps(record_document(simulated)))["sha256"]
    assert hashlib.sha256(hashed(simulated)).hexdigest() == told


def test_the_hash_covers_what_matters() -> None:
    one = many(2)
    hashes = {
        record_document(other)["sha256"]
        for other in (
            one,
            described(one, serial="DEMO-0002"),
            replace(one, checks=one.checks[:-1]),
            replace(one, header=replace(one.header, operator="somebody else")),
            replace(one, capture_names=(("B samples", "0" * 64),)),
        )
    }
    assert len(hashes) == 5


def test_columns_are_fixed_and_described() -> None:
    names = [column.name for column in columns()]
    assert names[: len(_FIRST_COLUMNS)] == _FIRST_COLUMNS
    assert names[-1] == "sha256"
    assert len(set(names)) == len(names) == 58
    assert all(column.about for column in columns())


def test_one_row_a_run(simulated: Record) -> None:
    first, second = rows(simulated, record(check(verdict=Verdict.FAIL), levels()))
    assert (first["simulated"], second["simulated"]) == ("yes", "no")
    assert first["failed_checks"] == "source-resistance source-resistance-c"
    quantities = {
        result.check: result.quantities[0] for result in simulated.checks if result.quantities
    }
    ohm = quantities["source-resistance"]
    assert float(first["source_resistance_ohm"]) == pytest.approx(ohm.value, rel=1e-8)
    assert float(first["source_resistance_ohm_u95"]) == pytest.approx(ohm.expanded(), rel=1e-8)
    assert first["mains_off_b_ms"] != ""
    assert second["verdict"] == "fail"
    assert second["started_utc"] == "2025-07-11 14:22:33"
    assert second["high_plateau_b_v"] == "8.88"
    assert second["source_resistance_ohm"] == ""


@pytest.mark.parametrize(
    ("text", "cell"),
    [
        ("=1+1", "'=1+1"),
        ("+49 123", "'+49 123"),
        ("-5", "'-5"),
        ("@SUM(A1)", "'@SUM(A1)"),
        ("  =1", "  '=1"),
        ("＝1", "'＝1"),
        ("a;=1", "a;'=1"),  # another spreadsheet splits at semicolons
        ("\t=1", "\\t=1"),
        ("\r=1", "\\r=1"),
        ("a\n=1", "a\\n=1"),
        ("x\x00y\u202e", "x\\x00y\\u202e"),
        ("A-17 = ok", "A-17 = ok"),
        ("Завод 示例", "Завод 示例"),
    ],
)
def test_cells_that_would_run_are_defused(text: str, cell: str) -> None:
    assert defused(text) == cell
    (row,) = rows(described(record(check()), serial=text, notes=text))
    assert (row["serial"], row["notes"]) == (cell, cell)


def test_a_hostile_record_stays_one_row() -> None:
    content = b"".join(csv_chunks([hostile()]))
    assert content.count(b"\r\n") == content.count(b"\n") == 2
    (row,) = rows(hostile())
    assert row["model"] == f"'{HOSTILE_MODEL}"
    assert len(row) == 58


def test_exports_hold_one_record_at_a_time() -> None:
    for chunks in (export_chunks, csv_chunks):
        taken: list[int] = []

        def supply(into: list[int] = taken) -> Iterator[Record]:
            for number in range(3):
                into.append(number)
                yield many(1)

        make: Callable[..., Iterator[bytes]] = chunks
        pieces = make(supply())
        next(pieces)
        next(pieces)
        assert taken == [0]


def test_numbers_in_json_are_exact(tmp_path: Path) -> None:
    file = tmp_path / "out.json"
    file.write_bytes(b"".join(export_chunks([levels_only()])))
    check_ = json.loads(file.read_text("ascii"))["records"][0]["checks"][0]
    assert check_["quantities"]["high_plateau_v"]["value"] == 8.88


def levels_only() -> Record:
    return record(levels())
