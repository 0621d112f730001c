"""The inspection report as PDF: what poppler, a reader that is not ours, finds in it."""

import hashlib
import os
import subprocess
import sys
import tomllib
from dataclasses import replace
from datetime import UTC, datetime
from pathlib import Path

import pytest
from archive_examples import check
from report_examples import (
    EDGES,
    SAMPLES,
    described,
    evidence,
    fonts,
    hostile,
    levels,
    many,
    pages,
    record,
    words,
)

from pilotsignal.judge import Verdict
from rungbench.archive.record import Derivation, Origin, Record
from rungbench.qualify.scope import CANNOT_PROVE, CAUTIONS
from rungbench.report.label import label_pdf
from rungbench.report.pdf import report_pdf

_PAGE = (595.28, 841.89)
_SCRIPT = (
    "import hashlib; from report_examples import evidence, hostile, many;"
    "from rungbench.report.pdf import report_pdf;"
    "made = report_pdf([evidence(many(9)), evidence(hostile())]);"
    "print(hashlib.sha256(made).hexdigest())"
)


def pdf(*records: Record) -> bytes:
    return report_pdf([evidence(one) for one in records])


def joined(content: bytes, folder: Path) -> str:
    return " ".join(" ".join(pages(content, folder)).split())


def test_same_record_same_bytes_whatever_process_zone_or_hash_seed(root: Path) -> None:
    here = hashlib.sha256(pdf(many(9), hostile())).hexdigest()
    path = os.pathsep.join(sys.path)
    for seed, zone in (("1", "Asia/Tokyo"), ("2", "UTC")):
        environment = {**os.environ, "PYTHONHASHSEED": seed, "TZ": zone, "PYTHONPATH": path}
        said = subprocess.run(
            [sys.executable, "-c", _SCRIPT],
            env=environment,
            cwd=root,
            capture_output=True,
            text=True,
            check=True,
        )
        assert said.stdout.strip() == here


def test_another_record_gives_other_bytes() -> None:
    assert pdf(many(3)) != pdf(described(many(3), serial="DEMO-0002"))


def test_every_font_is_embedded(tmp_path: Path) -> None:
    content = pdf(described(many(3), maker="示例", model="Пример"))
    found = fonts(content, tmp_path)
    assert len(found) >= 3
    assert all(embedded for _, embedded in found)


def test_all_that_a_reader_needs_is_there(tmp_path: Path) -> None:
    one = many(5)
    text = joined(pdf(one), tmp_path)
    start = one.header
    expected = [
        "Inspection report",
        one.run_id,
        start.charger.serial,
        start.charger.maker,
        start.operator,
        start.profile_hash,
        start.plan_hash,
        evidence(one).sha256,
        "2025-07-11 14:22:33 UTC",
        "1000.200 ± 0.060 Hz",
        "995..1005 Hz",
        "IEC 61851-1:2017, A.4.4",
        "guarded, w = U",
        "CAL-7",
        "rungbench 0.1.0",
        "no certificate",
        *CANNOT_PROVE,
        *CAUTIONS,
        *(f"Check {number} (B)" for number in range(5)),
        "cable-coding",
        "open-level",
        "One period of the pilot",
    ]
    assert [part for part in expected if part not in text] == []


@pytest.mark.parametrize("verdict", [Verdict.PASS, Verdict.FAIL, Verdict.UNDECIDED])
def test_the_summary_tells_the_verdict_by_word_and_shape(verdict: Verdict, tmp_path: Path) -> None:
    shapes = {"pass": "●", "fail": "▲", "undecided": "◐"}
    first = pages(pdf(record(check(verdict=verdict))), tmp_path)[0]
    assert f"{shapes[verdict.value]} {verdict.value}" in " ".join(first.split())


def test_each_of_several_judgements_has_its_own_verdict(tmp_path: Path) -> None:
    (first, *_) = check().judgements
    assert first.quantity is not None
    off = replace(first.quantity, value=1011.0)
    failed = replace(first, verdict=Verdict.FAIL, why="outside", quantity=off)
    one = replace(check(verdict=Verdict.FAIL), judgements=(first, failed), quantities=())
    lines = "\n".join(pages(pdf(record(one)), tmp_path)).splitlines()
    (good,) = [line for line in lines if "1000.200 ± 0.060 Hz" in line]
    (bad,) = [line for line in lines if "1011.000 ± 0.060 Hz" in line]
    assert "● pass" in good
    assert "▲ fail" in bad
    assert "altogether" in "\n".join(lines)


def test_simulated_stands_on_every_page_and_only_there(tmp_path: Path) -> None:
    simulated = record(*many(30).checks, simulated=True)
    told = pages(pdf(simulated), tmp_path)
    assert len(told) > 3
    assert all("SIMULATED" in page for page in told)
    assert not any("SIMULATED" in page for page in pages(pdf(many(3)), tmp_path))
    both = pages(pdf(many(3), simulated), tmp_path)
    assert "SIMULATED" in both[0]  # the list in front


def test_pages_are_numbered_and_name_their_record(tmp_path: Path) -> None:
    told = pages(pdf(many(30)), tmp_path)
    for number, page in enumerate(told, start=1):
        assert f"page {number} of {len(told)}" in page
        assert "aaaaa-bbbbb" in page


def test_names_in_cyrillic_and_chinese(tmp_path: Path) -> None:
    one = described(record(check()), maker="Завод «Пример»", model="示例充电设备有限公司")
    content = pdf(one)
    text = joined(content, tmp_path)
    assert "Завод «Пример»" in text
    assert "示例充电设备有限公司" in text
    assert "shown as codes" not in text


@pytest.mark.parametrize(
    ("serial", "shown"),
    [
        ("A\u0915B", "A\\u0915B"),  # no typeface has it
        ("A\u3164B", "A\\u3164B"),  # a letter by its kind, and blank
        ("A\u202eB", "A\\u202eB"),  # turns the direction of writing
        ("אב", "\\u05d0\\u05d1"),  # from right to left
        ("A\x00\x1bB", "A\\x00\\x1bB"),
        ("A\nB", "A\\nB"),
        ("e\u0301", "é"),  # two characters that are one letter
    ],
)
def test_characters_that_cannot_be_set_are_codes_with_a_notice(
    serial: str, shown: str, tmp_path: Path
) -> None:
    told = pages(pdf(described(many(12), serial=serial)), tmp_path)
    assert shown in told[0]
    assert ("shown as codes" in told[0]) is ("\\" in shown)
    assert "shown as codes" not in told[-1]


def test_hostile_texts_are_printed_and_not_obeyed(tmp_path: Path) -> None:
    content = pdf(hostile())
    text = joined(content, tmp_path)
    assert "<b>Bold</b> &amp; <font" in text
    assert "S\\x00\\x1b[2J\\n2" in text
    assert "(3019 characters)" in text
    assert b"/URI" not in content
    assert b"/JavaScript" not in content


@pytest.mark.parametrize(
    "one", [many(45), hostile(), record(), record(levels(), ended=False)], ids=range(4)
)
def test_nothing_overlaps_or_leaves_the_page(one: Record, tmp_path: Path) -> None:
    found = words(pdf(one), tmp_path)
    assert len(found) > 100
    outside = [
        word
        for word in found
        if word.left < 20 or word.right > _PAGE[0] - 20 or word.top < 0 or word.bottom > _PAGE[1]
    ]
    assert outside == []
    clashes = [
        (word.text, other.text)
        for number, word in enumerate(found)
        for other in found[number + 1 :]
        if other.page == word.page and word.overlap(other) > 4.0
    ]
    assert clashes == []


def test_a_record_without_checks_says_so(tmp_path: Path) -> None:
    text = joined(pdf(record(ended=False)), tmp_path)
    assert "◌ incomplete" in text
    assert "Stopped by Ctrl-C." in text
    assert "No check was completed." in text
    assert "not reached" in text


def test_captures_that_are_gone_are_named(tmp_path: Path) -> None:
    gone = record(levels())
    checks = tuple(
        type(one)(one.check, one.title, one.role, one.verdict, one.judgements, captures=("a", "b"))
        for one in gone.checks
    )
    text = joined(pdf(record(*checks)), tmp_path)
    assert "The archive does not hold the captures of: B." in text


def test_several_records_have_a_list_in_front(tmp_path: Path) -> None:
    told = pages(pdf(record(check()), record(check(verdict=Verdict.FAIL))), tmp_path)
    assert "Inspection report of 2 runs" in told[0]
    assert "not a decision about a lot" in told[0]
    assert told[0].count("aaaaa-bbbbb") == 2


def test_a_report_of_nothing_is_refused() -> None:
    with pytest.raises(ValueError, match="needs a record"):
        report_pdf([])


def test_where_a_record_comes_from_and_what_was_made_of_it(tmp_path: Path) -> None:
    moment = datetime(2026, 1, 2, 3, 4, 5, tzinfo=UTC)
    origin = Origin(Derivation.CORRECTED, "zzzzz-yyyyy", "c" * 64, "serial. misread", moment)
    start = replace(many(3).header, origin=origin)
    one = replace(many(3), header=start, followed_by=("later-bbbbb", "again-bbbbb"))
    first, *rest = pages(pdf(one), tmp_path)
    told = " ".join(first.split())
    assert "A correction of record zzzzz-yyyyy: nothing was measured for it." in told
    assert "Reason: serial. misread" in told
    assert "Followed by records later-bbbbb, again-bbbbb, made from this one" in told
    assert "c" * 64 in " ".join(rest)
    assert "2026-01-02 03:04:05 UTC" in " ".join(rest)
    again = replace(origin, kind=Derivation.JUDGED_AGAIN)
    judged = replace(many(3), header=replace(start, origin=again))
    assert "Record zzzzz-yyyyy judged again: nothing was measured" in joined(pdf(judged), tmp_path)
    assert "Followed by" not in joined(pdf(many(3)), tmp_path)


def test_a_label_of_a_record_that_was_followed_says_so(tmp_path: Path) -> None:
    followed = replace(many(3), followed_by=("later-bbbbb",))
    assert "NOT THE LAST: see later-bbbbb" in joined(label_pdf([evidence(followed)]), tmp_path)
    assert "NOT THE LAST" not in joined(label_pdf([evidence(many(3))]), tmp_path)


def test_expired_captures_are_told_with_the_day(tmp_path: Path) -> None:
    moment = datetime(2026, 1, 2, 3, 4, 5, tzinfo=UTC)
    gone = replace(
        record(levels()),
        capture_names=(("B edges", EDGES), ("B samples", SAMPLES)),
        expired=((SAMPLES, moment),),
    )
    told = pages(pdf(gone), tmp_path)
    assert "1 of 2 captures expired, the first 2026-01-02 03:04:05 UTC" in " ".join(told[0].split())
    assert f"{SAMPLES[:20]} expired" in "\n".join(told)
    assert f"{EDGES[:20]} expired" not in "\n".join(told)


def test_one_reason_for_many_checks_stands_once_on_the_first_page(tmp_path: Path) -> None:
    broken = [
        replace(
            check(f"c{number}", Verdict.BENCH_FAULT), title=f"Check {number}", why="Link broke."
        )
        for number in range(9)
    ]
    first = " ".join(pages(pdf(record(*broken)), tmp_path)[0].split())
    assert first.count("Link broke.") == 1
    assert "So in: Check 0, Check 1" in first
    assert "Check 8" in first


def test_the_licences_of_the_typefaces_go_into_the_wheel(root: Path) -> None:
    """PEP 639: `license-files` are copied into the wheel's metadata."""
    project = tomllib.loads((root / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    named = {path for pattern in project["license-files"] for path in root.glob(pattern)}
    folder = root / "app" / "rungbench" / "report" / "typefaces"
    assert set(folder.glob("LICENSE-*.txt")) <= named
    assert len(set(folder.glob("LICENSE-*.txt"))) == 2


def test_hostile_texts_on_a_label_are_printed_and_not_obeyed(tmp_path: Path) -> None:
    one = described(hostile(), maker="<b>x</b> \u202e=1+1")
    content = label_pdf([evidence(one)])
    text = joined(content, tmp_path)
    assert "S\\x00\\x1b[2J\\n2" in text
    assert "<b>x</b> \\u202e=1+1" in text
    assert b"/URI" not in content
    assert b"/JavaScript" not in content
