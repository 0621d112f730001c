"""A whole lot on paper: what poppler, a reader that is not ours, finds in it."""

import math
import re
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest
from lot_examples import SHEET, fill, order, write_run
from report_examples import fonts, pages, words

from rungbench.archive.record import RunVerdict
from rungbench.archive.store import Archive, open_archive
from rungbench.archive.verify import verify
from rungbench.cli.main import run
from rungbench.lots.admission import Correction
from rungbench.lots.errors import NoSuchLot
from rungbench.lots.lot import LotOrder
from rungbench.lots.sampling import plan_for
from rungbench.lots.store import Lots
from rungbench.qualify.scope import CANNOT_PROVE, CAUTIONS
from rungbench.report.digest import record_sha256
from rungbench.report.lot_pdf import UnitPages, lot_report

_PAGE = (595.28, 841.89)
HOSTILE = '<b>Lot</b> =HYPERLINK("x") \u202e א'


@pytest.fixture
def archive(tmp_path: Path) -> Iterator[Archive]:
    with open_archive(tmp_path / "archive.sqlite", simulated=False) as made:
        yield made


def text_of(content: bytes, folder: Path) -> str:
    return " ".join(" ".join(pages(content, folder)).split())


def made(archive: Archive, wanted: LotOrder, verdicts: str = "pfpppppppppup") -> str:
    """A lot whose second unit failed and whose last but one is undecided."""
    lot = Lots(archive).make(wanted)
    for number, (unit, letter) in enumerate(
        zip(Lots(archive).state(lot.name).units, verdicts, strict=False)
    ):
        verdict = {"p": RunVerdict.PASS, "f": RunVerdict.FAIL, "u": RunVerdict.UNDECIDED}[letter]
        write_run(archive, unit.serial, verdict, 1000.0 + 0.1 * (number % 4), lot=(lot, ""))
    return lot.name


def test_all_that_a_decision_rests_on_is_there(archive: Archive, tmp_path: Path) -> None:
    name = made(archive, replace(order(), notes="pallet 7", operator="R. Example"))
    lots = Lots(archive)
    lots.close(lots.find(name), "stays open: one unit undecided", "R. Example")
    state = lots.state(name)
    text = text_of(lot_report(archive, name, UnitPages.TABLE), tmp_path)
    heads = [chain.head for chain in verify(archive).chains]
    # 13 of 40 at 4.0: letter D, ISO 2859-1:1999, Table 2-A (arrows followed).
    expected = [
        "Lot inspection report",
        "Northern Imports",
        "Demo Works",
        "pallet 7",
        "code letter D",
        "Test 13 units, drawn at random (n); accept with up to 1 that fail (Ac), reject with 2",
        "ISO 2859-1:1999, Table 1 and Table 2-A",
        "AQL 4 %",
        "a-seed, chosen by a person",
        "1 nonconforming ≤ Ac 1: accept",
        "2 nonconforming ≥ Re 2: reject",
        "◌ open",
        "stays open: one unit undecided",
        "Producer's risk",
        "Consumer's risk",
        "failed in 1",
        *(unit.serial for unit in state.units),
        *(unit.runs[0].run_id for unit in state.units),
        *CANNOT_PROVE,
        *CAUTIONS,
        "from memory: confirm against your own copy",
        *heads,
        state.lot.basis.plan_hash,
        state.lot.basis.profile_hash,
        "no certificate",
    ]
    assert [part for part in expected if part not in text] == []
    hashes = {record_sha256(archive.load(unit.runs[0].run_id)) for unit in state.units}
    squeezed = text.replace(" ", "")
    assert all(one[:20] in squeezed for one in hashes)


def test_the_figures_are_those_of_the_values(archive: Archive, tmp_path: Path) -> None:
    """Mean, deviation and Ppk worked out here from the values that went in."""
    name = made(archive, order(), "p" * 13)
    values = [1000.0 + 0.1 * (number % 4) for number in range(13)]
    mean = sum(values) / 13
    deviation = math.sqrt(sum((one - mean) ** 2 for one in values) / 12)
    ppk = min(mean - 995.0, 1005.0 - mean) / (3 * deviation)
    text = text_of(lot_report(archive, name, UnitPages.TABLE), tmp_path)
    assert f"{ppk:.2f}" in text
    (found,) = re.findall(r"frequency 13 (\d+\.\d+) ± \S+ Hz (\d+\.\d+) ±", text)
    assert float(found[0]) == pytest.approx(mean, abs=0.01)
    assert float(found[1]) == pytest.approx(deviation, abs=0.005)


def test_the_risks_are_those_of_the_plan(archive: Archive, tmp_path: Path) -> None:
    """A lot of 40 with 1 unit that fails is as good as an AQL of 4 %: none is rejected by one."""
    Lots(archive).make(order())
    text = text_of(lot_report(archive, "L1", UnitPages.TABLE), tmp_path)
    assert "is rejected with a probability of 0.0 %" in text
    # Binomial, Ac = 1 of n = 13 at 4 %: 1 - 0.96^13 - 13 0.04 0.96^12.
    series = 1 - 0.96**13 - 13 * 0.04 * 0.96**12
    assert f"(in a series of lots {100 * series:.1f} %)" in text


def test_the_same_lot_gives_the_same_bytes_whatever_else_is_recorded(archive: Archive) -> None:
    name = made(archive, order())
    first = {units: lot_report(archive, name, units) for units in UnitPages}
    Lots(archive).make(order("L2"))
    write_run(archive, "D-0900")
    assert {units: lot_report(archive, name, units) for units in UnitPages} == first
    fill(archive, Lots(archive).find(name), "")
    write_run(
        archive, Lots(archive).state(name).units[0].serial, lot=(Lots(archive).find(name), "x")
    )
    assert lot_report(archive, name) != first[UnitPages.PAGE]


def test_units_follow_as_a_page_or_whole(archive: Archive, tmp_path: Path) -> None:
    name = made(archive, order(), "ppp")
    counts = {units: len(pages(lot_report(archive, name, units), tmp_path)) for units in UnitPages}
    assert counts[UnitPages.PAGE] == counts[UnitPages.TABLE] + 3
    assert counts[UnitPages.FULL] >= counts[UnitPages.TABLE] + 6
    last = pages(lot_report(archive, name), tmp_path)[-1]
    assert "record r0003-rbbbb" in last
    assert f"page {counts[UnitPages.PAGE]} of {counts[UnitPages.PAGE]}" in last


def test_retests_and_corrections_stand_with_their_reasons(archive: Archive, tmp_path: Path) -> None:
    lots = Lots(archive)
    lot = lots.make(order())
    first, second, *_ = lots.state("L1").units
    write_run(archive, first.serial, RunVerdict.BENCH_FAULT, lot=(lot, ""))
    write_run(archive, first.serial, lot=(lot, "the cable was pulled"))
    moved = write_run(archive, second.serial, RunVerdict.FAIL, lot=(lot, ""))
    lots.move(lot, moved, Correction(None, "it was no unit of this lot", "R. Example"))
    text = text_of(lot_report(archive, "L1"), tmp_path)
    assert "r0001-rbbbb was bench fault; tested again as r0002-rbbbb" in text
    assert "the cable was pulled" in text
    assert f"was taken for unit {second.number}, is out of the" in text
    assert "it was no unit of this lot" in text
    assert f"Record {moved} (fail) was taken OUT OF THE LOT" in text
    # The run that does not count any more is there all the same.
    assert moved in text


def test_simulated_stands_on_every_page(tmp_path: Path) -> None:
    with open_archive(tmp_path / "demo.sqlite", simulated=True) as demo:
        name = made(demo, order(), "pp")
        told = pages(lot_report(demo, name), tmp_path)
    assert all("SIMULATED" in page for page in told)


def test_names_in_cyrillic_and_chinese_and_every_font_embedded(
    archive: Archive, tmp_path: Path
) -> None:
    sheet = replace(SHEET, maker="Завод «Пример»", model="示例充电设备")
    Lots(archive).make(replace(order("Партия 7"), supplier="示例有限公司", sheet=sheet))
    content = lot_report(archive, "Партия 7")
    text = text_of(content, tmp_path)
    assert "Партия 7" in text
    assert "示例有限公司" in text
    assert "Завод «Пример»" in text
    found = fonts(content, tmp_path)
    assert len(found) >= 3
    assert all(embedded for _, embedded in found)


def test_hostile_names_are_printed_and_not_obeyed(archive: Archive, tmp_path: Path) -> None:
    wanted = replace(order(), name="<b>x</b> &amp;", supplier="=1+1 <font size=99>", notes=HOSTILE)
    Lots(archive).make(replace(wanted, operator="\x1b[2J"))
    content = lot_report(archive, "<b>x</b> &amp;")
    text = text_of(content, tmp_path)
    assert "<b>x</b> &amp;" in text
    assert "=1+1 <font size=99>" in text
    assert "\\u202e \\u05d0" in text
    assert "\\x1b[2J" in text
    assert b"/URI" not in content
    assert b"/JavaScript" not in content


@pytest.mark.parametrize(
    ("size", "aql", "verdicts"),
    [(40, 4.0, "pfpppppppppup"), (3, 4.0, "ppp"), (500, 1.5, ""), (500, 1.5, "pppu" * 12)],
)
def test_nothing_overlaps_or_leaves_the_page(
    archive: Archive, tmp_path: Path, size: int, aql: float, verdicts: str
) -> None:
    wanted = order(size=size, aql=aql)
    wanted = replace(wanted, name="N" * 80, supplier="W" * 80, notes="Пример " * 60)
    name = made(archive, wanted, verdicts)
    found = words(lot_report(archive, name, UnitPages.TABLE), tmp_path)
    outside = [
        word
        for word in found
        if word.left < 20 or word.right > _PAGE[0] - 20 or word.top < 0 or word.bottom > _PAGE[1]
    ]
    assert outside == []
    clashes = [
        (word.page, word.text, other.text)
        for number, word in enumerate(found)
        for other in found[number + 1 :]
        if other.page == word.page and word.overlap(other) > 4.0
    ]
    assert clashes == []


def test_no_unit_of_a_large_sample_is_left_out(archive: Archive, tmp_path: Path) -> None:
    """1,250 units drawn (letter Q at 0.65): all their numbers are on paper."""
    wanted = replace(order(listed=False), plan=plan_for(600_000, 0.65), notes="")
    lot = Lots(archive).make(wanted)
    units = [unit.number for unit in Lots(archive).state(lot.name).units]
    assert len(units) == 1250
    told = set(text_of(lot_report(archive, lot.name), tmp_path).split())
    assert [unit for unit in units if f"{unit}" not in told] == []


def test_a_lot_that_is_not_there(archive: Archive) -> None:
    with pytest.raises(NoSuchLot, match="There is no lot"):
        lot_report(archive, "none")


def test_the_command(
    archive: Archive,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    made(archive, order("Lot 7/b"), "pp")
    monkeypatch.chdir(tmp_path)
    words_ = ["lot", "report", "lot 7/B", "--archive", str(archive.place)]
    assert run(words_) == 0
    assert capsys.readouterr().out == "rungbench-lot-Lot-7-b.pdf\n"
    content = (tmp_path / "rungbench-lot-Lot-7-b.pdf").read_bytes()
    assert content == lot_report(archive, "Lot 7/b", UnitPages.PAGE)
    assert run(words_) == 2
    assert "exists already" in capsys.readouterr().err
    assert run([*words_, "--units", "table", "--replace"]) == 0
    assert run(["lot", "report", "none", "--archive", str(archive.place)]) == 4
