"""The operating characteristic of a plan as a plot, with both risks marked."""

from typing import Final

import numpy as np

from rungbench.lots.characteristic import CONSUMER, curve, risks
from rungbench.lots.sampling import SamplingPlan
from rungbench.report.lines import FAINT
from rungbench.report.plot import SPREAD, TRACE, Axis, Plot, ticks
from rungbench.report.sheet import LEFT, Page, Sheet, plain
from rungbench.report.verdicts import COLOURS

_PLOT: Final = 104.0
CURVE_HEIGHT: Final = _PLOT + 32.0
_WIDE: Final = 330.0
_POINTS: Final = 81
_BROKEN: Final = {"dash": (2.0, 2.0), "thin": 0.6}


def draw_curve(sheet: Sheet, plan: SamplingPlan) -> None:
    """Probability of acceptance over the share of units that do not conform, downwards."""
    points = curve(plan, _POINTS)
    percent = np.array([point.percent for point in points])
    exact = np.array([100.0 * point.probability for point in points])
    series = np.array([100.0 * point.binomial for point in points])
    bottom = sheet.y - _PLOT - 6.0
    page = sheet.page
    plot = Plot(
        page,
        Axis(0.0, float(percent[-1]), LEFT + 26.0, _WIDE),
        Axis(0.0, 100.0, bottom, _PLOT),
    )
    plot.frame(ticks(0.0, float(percent[-1]), 8), (0, 25, 50, 75, 100), label=True)
    plot.curve(percent, series, stroke=SPREAD, thin=1.0)
    plot.curve(percent, exact, stroke=TRACE, thin=1.2)
    _mark_risks(plot, plan)
    below = "percent nonconforming in the lot; upwards: probability of acceptance, %"
    page.centred_text(LEFT + 26.0 + 0.5 * _WIDE, bottom - 16.5, plain(below, 6.4, colour=FAINT))
    _legend(page, LEFT + _WIDE + 40.0, sheet.y - 16.0)
    sheet.y = bottom - 22.0


def _mark_risks(plot: Plot, plan: SamplingPlan) -> None:
    """The AQL with the producer's risk above, and what is accepted once in ten."""
    found = risks(plan)
    left, bottom = plot.across.start, plot.up.start
    marks = [(plan.aql, 100.0 * (1.0 - found.producer), "fail")]
    if found.consumer_units is not None:
        marks.append((100.0 * found.consumer_units / plan.lot_size, 100.0 * CONSUMER, "undecided"))
    for percent, accepted, like in marks:
        x, y = plot.across.at(percent), plot.up.at(accepted)
        plot.page.rule(x, bottom, (x, y), stroke=COLOURS[like], **_BROKEN)
        plot.page.rule(left, y, (x, y), stroke=COLOURS[like], **_BROKEN)
        plot.page.box(x - 1.6, y - 1.6, (3.2, 3.2), fill=COLOURS[like])


def _legend(page: Page, x: float, y: float) -> None:
    rows = (
        (TRACE, "this lot (hypergeometric)"),
        (SPREAD, "a series of lots (binomial)"),
        (COLOURS["fail"], "AQL: what is missing to"),
        ("", "100 % is the producer's risk"),
        (COLOURS["undecided"], "accepted once in ten:"),
        ("", "the consumer's risk"),
    )
    for colour, text in rows:
        if colour:
            page.rule(x, y + 2.2, (x + 12.0, y + 2.2), stroke=colour, thin=1.4)
        page.text(x + 16.0, y, plain(text, 6.6, colour=FAINT))
        y -= 10.0
