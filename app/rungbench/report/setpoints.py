"""The table of a sweep: what was set, what the charger advertised, how far off its pulse was."""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from pilotsignal.judge import Judgement
from pilotsignal.quantity import Quantity
from rungbench.archive.record import CheckResult, Record
from rungbench.report.figures import bounds, figure
from rungbench.report.sheet import Sheet
from rungbench.report.table import BODY, Cell, Column, cell, columns, heading, table
from rungbench.report.verdicts import verdict_line

_NAME: Final = re.compile(r"(?P<what>\w+)_at_(?P<ampere>\d+(?:\.\d+)?)A")
_CURRENT: Final = "advertised_current_a"
_HEADS: Final = columns(
    ("Set", 40),
    ("Advertised, U (95 %)", 100),
    ("Off by", 58),
    ("Pulse width error, U", 100),
    ("Limit", 78),
    ("Verdict", 68),
)


@dataclass(frozen=True, slots=True)
class SetPoint:
    """One set current in ampere: what was advertised at it and how its pulse width was judged."""

    set_a: float
    advertised: Quantity | None
    judgement: Judgement


def set_points(record: Record) -> tuple[SetPoint, ...]:
    """The set currents of all sweeps of a record, each result's in its own order."""
    return tuple(point for result in record.checks for point in _of(result))


def is_set_point(quantity: Quantity) -> bool:
    """Whether a quantity stands in the table of set currents."""
    return _NAME.fullmatch(quantity.name) is not None


def _of(result: CheckResult) -> Iterator[SetPoint]:
    advertised = {
        match["ampere"]: one
        for one in result.quantities
        if (match := _NAME.fullmatch(one.name)) and match["what"] == _CURRENT
    }
    for judgement in result.judgements:
        quantity = judgement.quantity
        match = None if quantity is None else _NAME.fullmatch(quantity.name)
        if match:
            ampere = match["ampere"]
            yield SetPoint(float(ampere), advertised.get(ampere), judgement)


def draw_set_points(sheet: Sheet, record: Record) -> None:
    """The section, where there was a sweep."""
    points = set_points(record)
    if points:
        heading(sheet, "Set currents")
        table(sheet, _HEADS, (_row(point) for point in points))


def _row(point: SetPoint) -> tuple[Cell, ...]:
    judgement, advertised = point.judgement, point.advertised
    quantity = judgement.quantity
    texts = (
        f"{point.set_a:g} A",
        "not told" if advertised is None else figure(advertised),
        "" if advertised is None else f"{advertised.value - point.set_a:+.3f} A",
        "" if quantity is None else figure(quantity),
        bounds(judgement.limit),
    )
    told = tuple(_cell(column, text) for column, text in zip(_HEADS, texts, strict=False))
    return (*told, (verdict_line(judgement.verdict.value, BODY.size),))


def _cell(column: Column, text: str) -> Cell:
    return cell(column, (text, BODY))
