"""What a lot's decision rests on: the sample, every run of it, and the hashes that vouch for it."""

from collections.abc import Iterable, Iterator, Sequence
from itertools import pairwise
from typing import Final

from rungbench.archive.chain import Link
from rungbench.archive.lot_events import LOTS
from rungbench.archive.record import RunVerdict
from rungbench.lots import drawing
from rungbench.lots.counting import LotRun, Unit
from rungbench.lots.lot import LotState
from rungbench.report.figures import moment
from rungbench.report.lines import FAINT, Style
from rungbench.report.lot_evidence import LotEvidence
from rungbench.report.sheet import Sheet
from rungbench.report.table import (
    BODY,
    SMALL,
    STRONG,
    Cell,
    cell,
    columns,
    heading,
    pairs,
    paragraph,
    table,
)
from rungbench.report.verdicts import verdict_line

_UNITS: Final = columns(
    ("Unit", 26), ("Serial", 92), ("Run", 76), ("Verdict", 70), ("Remarks", 96), ("SHA-256", 150)
)
_CORRECTED: Final = columns(("Unit", 30), ("Serial", 90), ("What", 220), ("Why", 170))
_VOUCHED: Final = (
    "The last entry about the lot or its runs in each chain of the archive: with it all that was "
    "entered before is vouched for. `rungbench records verify --head HASH` says whether it is "
    "still there. The SHA-256 of each record stands beside its unit."
)
_FAILED: Final = columns(("Check", 190), ("Units", 34), ("Serial numbers", 286))
_LISTED: Final = 12
# About a line; a paragraph is cut only at several times that.
_TOGETHER: Final = 130
_HASH: Final = Style(5.6, colour=FAINT)
_SAYS_NOTHING: Final = (RunVerdict.BENCH_FAULT, RunVerdict.INCOMPLETE)
_COUNTING: Final = (
    "The first complete run of a unit counts. Another run needs a reason, and takes its place only "
    "where the first said nothing about the charger: a bench fault, or a run that was broken off "
    "before anything failed. All runs are listed, whether they count or not."
)


def draw_draw(sheet: Sheet, state: LotState) -> None:
    """How the sample was drawn, so that anybody can draw it again."""
    lot = state.lot
    heading(sheet, "The sample", 80.0)
    given = ", chosen by a person" if lot.seed_given else ", made at random"
    source = "the list of serial numbers" if lot.listed else "the places of the lot"
    pairs(
        sheet,
        (
            ("Drawn from", f"{source}: {lot.plan.sample_size} of {lot.plan.lot_size}"),
            ("Seed", f"{lot.seed}{given}"),
            ("Method", f"{drawing.METHOD}: units counted from 1, ASCII digits"),
            ("List of serials", f"SHA-256 {lot.list_sha256}" if lot.list_sha256 else ""),
        ),
    )
    paragraph(sheet, "Units drawn, by their number in the lot:", SMALL)
    listing(sheet, (f"{unit.number}" for unit in state.units), BODY)


def listing(sheet: Sheet, words: Iterable[str], style: Style) -> None:
    """Words over the width of the page, however many: none is cut."""
    line = ""
    for word in words:
        longer = f"{line}   {word}" if line else word
        if line and len(longer) > _TOGETHER:
            paragraph(sheet, line, style)
            longer = word
        line = longer
    paragraph(sheet, line, style)


def draw_failures(sheet: Sheet, evidence: LotEvidence) -> None:
    """Which required checks failed, and in which units."""
    if not evidence.failures:
        return
    heading(sheet, "What failed")
    rows = (
        (
            cell(_FAILED[0], (one.title, BODY), (one.check, SMALL)),
            cell(_FAILED[1], (f"{len(one.serials)}", STRONG)),
            cell(_FAILED[2], (_some(one.serials), BODY)),
        )
        for one in evidence.failures
    )
    table(sheet, _FAILED, rows)


def _some(serials: Sequence[str]) -> str:
    more = f" and {len(serials) - _LISTED} more" if len(serials) > _LISTED else ""
    return f"{', '.join(serials[:_LISTED])}{more}"


def draw_units(sheet: Sheet, evidence: LotEvidence) -> None:
    """Every unit of the sample with all its runs."""
    heading(sheet, "Units of the sample")
    paragraph(sheet, _COUNTING, SMALL)
    sheet.down(2.0)
    hashes = evidence.hashes
    table(sheet, _UNITS, (row for unit in evidence.state.units for row in _rows(unit, hashes)))


def _rows(unit: Unit, hashes: dict[str, str]) -> Iterator[tuple[Cell, ...]]:
    if not unit.runs:
        yield _row(unit, (), (verdict_line("not run", BODY.size),), "", "")
    for run in unit.runs:
        started = f"{run.started:%Y-%m-%d %H:%M}"
        told = cell(_UNITS[2], (run.run_id, BODY), (f"{started} UTC", SMALL))
        verdict = (verdict_line(run.verdict.value, BODY.size),)
        yield _row(unit, told, verdict, remarks(unit, run), hashes.get(run.run_id, ""))


def _row(unit: Unit, run: Cell, verdict: Cell, remark: str, sha256: str) -> tuple[Cell, ...]:
    return (
        cell(_UNITS[0], (f"{unit.number}", BODY)),
        cell(_UNITS[1], (unit.serial or "not known yet", BODY)),
        run,
        verdict,
        cell(_UNITS[4], (remark, SMALL)),
        cell(_UNITS[5], (sha256, _HASH)),
    )


def remarks(unit: Unit, run: LotRun) -> str:
    """Whether a run counts, why the unit was tested again, and by whom it was."""
    words = []
    if run is not unit.counts:
        says_nothing = run.verdict in _SAYS_NOTHING
        words.append("says nothing of the charger" if says_nothing else "does not count")
    words += [f"again: {run.reason}"] if run.reason else []
    words += [f"by {run.operator}"] if run.operator else []
    return "; ".join(words)


def draw_corrections(sheet: Sheet, evidence: LotEvidence) -> None:
    """Units that were tested more than once, and runs that had joined as another unit."""
    rows = (*_retested(evidence.state), *_moved(evidence))
    if not rows:
        return
    heading(sheet, "Retests and corrections", 40.0)
    table(sheet, _CORRECTED, rows)


def _retested(state: LotState) -> Iterator[tuple[Cell, ...]]:
    for unit in state.units:
        for first, again in pairwise(unit.runs):
            told = f"{first.run_id} was {first.verdict}; tested again as {again.run_id}"
            yield _corrected(f"{unit.number}", unit.serial, told, again.reason)


def _moved(evidence: LotEvidence) -> Iterator[tuple[Cell, ...]]:
    hashes = evidence.hashes
    for move in evidence.state.moves:
        if move.run_id is None:
            continue
        before = "out of the lot" if move.before is None else f"taken for unit {move.before}"
        now = "out of the lot: it does not count" if move.unit is None else f"of unit {move.unit}"
        told = (
            f"{move.run_id} was {before}, is {now}; {moment(move.moved)}. SHA-256 of the record "
            f"{hashes[move.run_id]}"
        )
        by = f" ({move.operator})" if move.operator else ""
        unit = "" if move.unit is None else f"{move.unit}"
        yield _corrected(unit, move.serial or "", told, f"{move.reason}{by}")


def _corrected(unit: str, serial: str, told: str, why: str) -> tuple[Cell, ...]:
    texts = zip(_CORRECTED, (unit, serial, told, why), strict=True)
    return tuple(cell(column, (text, BODY)) for column, text in texts)


def draw_lot_integrity(sheet: Sheet, evidence: LotEvidence) -> None:
    """What vouches for the lot and its records."""
    heading(sheet, "Integrity", 110.0)
    lot = evidence.state.lot
    pairs(
        sheet,
        (
            ("Lot", f"{lot.name}, made {moment(lot.made)}, in its chain as {evidence.identity}"),
            ("Check plan", f"{lot.basis.plan}, SHA-256 {lot.basis.plan_hash}"),
            ("Profile", f"{lot.basis.profile}, SHA-256 {lot.basis.profile_hash}"),
        ),
    )
    paragraph(sheet, _VOUCHED, SMALL)
    pairs(sheet, (_entry(link, stored) for link, stored in evidence.entries))
    sheet.down(2.0)
    paragraph(sheet, "Checks that every run was judged by:", SMALL)
    listing(sheet, lot.basis.planned, SMALL)


def _entry(link: Link, stored: str) -> tuple[str, str]:
    whose = "Chain of lots" if link.bench == LOTS else f"Bench {link.bench}"
    return whose, f"entry {link.position}, {link.kind}, {stored}"
