"""Charts of one quantity of a lot: histogram, individuals, moving ranges."""

from typing import Any, Final

import numpy as np
import numpy.typing as npt

from rungbench.lots.sequence import Histogram
from rungbench.lots.variables import Variables
from rungbench.report.figures import unit_of
from rungbench.report.lines import FAINT, one_line
from rungbench.report.plot import ALLOWED_EDGE, Axis, Plot, ticks
from rungbench.report.sheet import LEFT, RIGHT, WIDTH, Page, Sheet, plain
from rungbench.report.table import SMALL, STRONG
from rungbench.report.verdicts import COLOURS

_PLOT: Final = 74.0
CHART_HEIGHT: Final = _PLOT + 46.0
_GAP: Final = 34.0
_SIDE: Final = 128.0
_BAR: Final = "#c9c9c9"
_EDGE: Final = "#808080"
_BROKEN: Final = {"dash": (3.0, 2.0), "thin": 0.6}
_LISTED: Final = 6

Floats = npt.NDArray[np.float64]


def draw_charts(sheet: Sheet, found: Variables) -> None:
    """Three plots side by side under the name of the quantity; nothing without any value."""
    if found.histogram is None:
        return
    sheet.need(CHART_HEIGHT)
    sheet.down(13.0)
    series = found.series
    title = f"{series.name.check}: {series.name.quantity}, {unit_of(series.unit) or 'number'}"
    sheet.page.text(LEFT, sheet.y, one_line(title, WIDTH - 200.0, STRONG))
    sheet.page.right_text(RIGHT, sheet.y, one_line(_outliers(found), 196.0, SMALL))
    bottom = sheet.y - 6.0 - _PLOT
    middle = WIDTH - 2 * _SIDE - 2 * _GAP - 26.0
    x = LEFT + 18.0
    _spread(sheet.page, found, found.histogram, (x, bottom))
    x += _SIDE + _GAP
    _individuals(sheet.page, found, (x, bottom), middle)
    _ranges(sheet.page, found, (x + middle + _GAP, bottom), RIGHT - x - middle - _GAP)
    sheet.y = bottom - 20.0


def _outliers(found: Variables) -> str:
    if not found.outliers:
        return ""
    names = [one.serial for one in found.outliers[:_LISTED]]
    more = f" and {len(found.outliers) - _LISTED} more" if len(found.outliers) > _LISTED else ""
    return f"outliers: {', '.join(names)}{more}"


def _span(*numbers: Floats | tuple[float | None, ...]) -> tuple[float, float]:
    """From the least to the most of all that is shown, with some room around it."""
    known = np.concatenate(
        [np.array([one for one in some if one is not None], dtype=np.float64) for some in numbers]
    )
    low, high = float(known.min()), float(known.max())
    room = 0.06 * (high - low) or 0.05 * abs(high) or 1.0
    return low - room, high + room


def _spread(page: Page, found: Variables, bins: Histogram, corner: tuple[float, float]) -> None:
    series = found.series
    low, high = _span(bins.edges, (series.low, series.high))
    most = int(bins.counts.max())
    plot = Plot(page, Axis(low, high, corner[0], _SIDE), Axis(0.0, 1.08 * most, corner[1], _PLOT))
    plot.frame(ticks(low, high, 4), ticks(0.0, most, 4), label=True)
    for count, left, right in zip(
        bins.counts.tolist(), bins.edges[:-1].tolist(), bins.edges[1:].tolist(), strict=True
    ):
        x, y = plot.across.at(left), plot.up.at(count)
        size = (max(0.5, plot.across.at(right) - x), y - corner[1])
        if count:
            page.box(x, corner[1], size, fill=_BAR, stroke=_EDGE, thin=0.3)
    for limit in (series.low, series.high):
        if limit is not None:
            x = plot.across.at(limit)
            page.rule(x, corner[1], (x, corner[1] + _PLOT), stroke=ALLOWED_EDGE, thin=1.1)
    _under(page, corner, _SIDE, "value; upwards units")


def _individuals(page: Page, found: Variables, corner: tuple[float, float], wide: float) -> None:
    series, chart = found.series, found.control
    values = series.numbers
    lines = () if chart is None else (chart.low, chart.centre, chart.high)
    # Limits far away would flatten what the chart is to show.
    near = _near(values, lines, (series.low, series.high))
    low, high = _span(values, lines, near)
    plot = Plot(
        page,
        Axis(0.0, max(2.0, len(values) + 1.0), corner[0], wide),
        Axis(low, high, corner[1], _PLOT),
    )
    plot.frame(_counts(len(values), 6), ticks(low, high, 4), label=True)
    for limit in near:
        _level(plot, limit, stroke=ALLOWED_EDGE, thin=1.1)
    for line in lines:
        _level(plot, line, stroke=_EDGE, **_BROKEN)
    beyond = () if chart is None else chart.beyond
    _points(plot, np.arange(1.0, len(values) + 1.0), values, beyond)
    _under(page, corner, wide, "units in the order of testing")


def _counts(last: int, most: int) -> tuple[float, ...]:
    """Whole numbers up to `last`."""
    return tuple(one for one in ticks(1.0, float(last), most) if one.is_integer())


def _near(
    values: Floats, lines: tuple[float, ...], limits: tuple[float | None, ...]
) -> tuple[float, ...]:
    """The limits that lie within one and a half spans of what is shown."""
    low, high = _span(values, lines)
    reach = 1.5 * (high - low)
    return tuple(one for one in limits if one is not None and low - reach <= one <= high + reach)


def _ranges(page: Page, found: Variables, corner: tuple[float, float], wide: float) -> None:
    values, chart = found.series.numbers, found.control
    ranges = np.abs(np.diff(values))
    if ranges.size == 0:
        return
    lines = () if chart is None else (chart.mean_range, chart.range_high)
    _, high = _span(ranges, lines, (0.0,))
    plot = Plot(
        page,
        Axis(0.0, len(values) + 1.0, corner[0], wide),
        Axis(0.0, high, corner[1], _PLOT),
    )
    plot.frame(_counts(len(values), 4), ticks(0.0, high, 4), label=True)
    for line in lines:
        _level(plot, line, stroke=_EDGE, **_BROKEN)
    # A jump stands at the later of the two units.
    jumps = () if chart is None else tuple(at - 1 for at in chart.jumps)
    _points(plot, np.arange(2.0, len(values) + 1.0), ranges, jumps)
    _under(page, corner, wide, "moving ranges")


def _level(plot: Plot, value: float, **ink: Any) -> None:
    y = plot.up.at(value)
    right = plot.across.start + plot.across.length
    plot.page.rule(plot.across.start, y, (right, y), **ink)


def _points(plot: Plot, x: Floats, y: Floats, beyond: tuple[int, ...]) -> None:
    """A line with its points; those beyond a control limit as triangles, larger and coloured."""
    plot.curve(x, y, stroke=_EDGE, thin=0.4)
    plot.dots(x, y)
    for at in beyond:
        left, bottom = plot.across.at(float(x[at])), plot.up.at(float(y[at]))
        corners = ((left - 2.2, bottom - 1.6), (left + 2.2, bottom - 1.6), (left, bottom + 2.4))
        plot.page.outline(corners, close=True, fill=COLOURS["fail"])


def _under(page: Page, corner: tuple[float, float], wide: float, text: str) -> None:
    x = corner[0] + 0.5 * wide
    page.centred_text(x, corner[1] - 16.0, plain(text, 6.4, colour=FAINT))
