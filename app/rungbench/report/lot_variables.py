"""The values of a lot: a table of all judged quantities, and charts of those that vary."""

from collections.abc import Sequence
from typing import Final

import numpy as np

from pilotsignal.figures import bounds, figure
from rungbench.lots.control import FEWEST
from rungbench.lots.quantity_document import CONSTANTS
from rungbench.lots.values import Series
from rungbench.lots.variables import Variables
from rungbench.report.figures import unit_of
from rungbench.report.lot_charts import CHART_HEIGHT, draw_charts
from rungbench.report.sheet import Sheet
from rungbench.report.table import BODY, SMALL, Cell, cell, columns, heading, paragraph, table

_HEADS: Final = columns(
    ("Check", 128),
    ("n", 22),
    ("Mean ± U", 92),
    ("Deviation ± U", 88),
    ("Limit", 76),
    ("Ppk (95 %)", 76),
    ("Outside", 34),
)
_ABOUT: Final = (
    "Every quantity against which a limit stands, over the runs that count. U has k = 2; that of "
    "the mean holds the scatter and, whole, the bench's own uncertainty. Ppk from the overall "
    "standard deviation (ISO 22514-2:2017), its interval approximate. Outside: units whose value "
    "lies beyond the limit. None of this decides the lot."
)
_CHARTS: Final = (
    "Left: how the values are spread, the limits as lines. Middle: individuals in the order of "
    "testing; right: moving ranges of two. Broken lines: mean and three sigma from the mean moving "
    f"range, and its upper limit ({CONSTANTS}; d2 = 1.128, D4 = 3.267). A triangle is a value "
    f"beyond the control limits. With fewer than {FEWEST} values no control limits are drawn."
)


def draw_variables(sheet: Sheet, found: Sequence[Variables]) -> None:
    """The sections; nothing before the first run counts."""
    if not found:
        return
    heading(sheet, "Values", 80.0)
    paragraph(sheet, _ABOUT, SMALL)
    sheet.down(2.0)
    telling = [one for one in found if not _still(one)]
    table(sheet, _HEADS, (_row(one) for one in telling))
    still = [one.series.name.check for one in found if _still(one)]
    if still:
        sheet.down(4.0)
        paragraph(sheet, f"The same in all units and inside the limit: {', '.join(still)}.", SMALL)
    if telling:
        heading(sheet, "Charts", CHART_HEIGHT + 40.0)
        paragraph(sheet, _CHARTS, SMALL)
    for one in telling:
        draw_charts(sheet, one)


def _still(one: Variables) -> bool:
    """Whether nothing is to be seen: one value in all units, and inside the limit."""
    spread = one.spread
    return spread is not None and spread.least == spread.most and not outside(one.series)


def outside(series: Series) -> int:
    """How many values lie beyond a limit."""
    low = -np.inf if series.low is None else series.low
    high = np.inf if series.high is None else series.high
    return int(np.count_nonzero((series.numbers < low) | (series.numbers > high)))


def limits_of(series: Series) -> str:
    """Both limits, or why none stands there."""
    if series.note:
        return "differs from run to run"
    return bounds(series.low, series.high, unit_of(series.unit)) or "none"


def _row(one: Variables) -> tuple[Cell, ...]:
    series, spread, index = one.series, one.spread, one.performance
    beyond, unit = outside(series), unit_of(series.unit)
    mean = "" if spread is None else figure(spread.mean, 2.0 * spread.u_mean, unit)
    deviation = "" if spread is None else figure(spread.deviation, 2.0 * spread.u_deviation, unit)
    ppk = "" if index is None else f"{index.ppk:.2f}"
    between = "" if index is None else f"{index.low:.2f} to {index.high:.2f}"
    return (
        cell(_HEADS[0], (series.name.check, BODY), (series.name.quantity, SMALL)),
        cell(_HEADS[1], (f"{len(series)}", BODY)),
        cell(_HEADS[2], (mean, BODY)),
        cell(_HEADS[3], (deviation, BODY)),
        cell(_HEADS[4], (limits_of(series), BODY)),
        cell(_HEADS[5], (ppk, BODY), (between, SMALL)),
        cell(_HEADS[6], (f"{beyond}", BODY)),
    )
