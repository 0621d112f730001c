"""Charts of a quantity in the terminal: how it is spread, and how it goes from unit to unit."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from rich.console import Console
from rich.table import Table
from rich.text import Text

from pilotsignal.figures import bounds, figure
from rungbench.cli.terminal import SIMULATED, PageConsole, safe
from rungbench.lots.control import FEWEST, ControlChart
from rungbench.lots.quantity_document import CONSTANTS
from rungbench.lots.sequence import Histogram
from rungbench.lots.values import Series
from rungbench.lots.variables import Trend, Variables

_ROWS: Final = 11
_BAR: Final = 48
_WIDEST: Final = 96
_SLOW_DRIFT: Final = -2.0


@dataclass(frozen=True, slots=True)
class _Signs:
    """What charts are drawn with; the second set where the terminal knows ASCII only."""

    bar: str
    inside: str
    outside: str
    line: str

    @classmethod
    def of(cls, console: Console) -> "_Signs":
        if console.encoding.lower().startswith("utf"):
            return cls("█", "•", "▲", "┄")
        return cls("#", "o", "X", "-")


def print_quantity(title: str, found: Variables, *, simulated: bool) -> None:
    """All views of one quantity."""
    console = PageConsole()
    series = found.series
    mark = f"{SIMULATED} " if simulated else ""
    console.print(safe(f"{mark}{title}: {series.name.text}", "bold"))
    _print_figures(console, found)
    signs = _Signs.of(console)
    if found.histogram is not None:
        console.print()
        console.print(f"How the values are spread ({series.unit})", style="bold")
        _print_histogram(console, found.histogram, series, signs)
    console.print()
    _print_control(console, found, signs)
    _print_outliers(console, found)


def _print_figures(console: Console, found: Variables) -> None:
    series, spread, index = found.series, found.spread, found.performance
    limit = series.note or bounds(series.low, series.high, series.unit) or "no limit stands here"
    console.print(safe(f"{len(series)} values; limit: {limit}"))
    if spread is None:
        return
    mean = figure(spread.mean, 2.0 * spread.u_mean, series.unit)
    deviation = figure(spread.deviation, 2.0 * spread.u_deviation, series.unit)
    least, most = f"{spread.least:.6g}", f"{spread.most:.6g}"
    console.print(f"mean {mean}, deviation {deviation} (k = 2); from {least} to {most}")
    console.print(f"standard uncertainty of one value: {spread.u_bench:.2g} {series.unit}")
    if index is None:
        console.print("Ppk: none, since there is no limit or no spread.")
    else:
        both = "" if index.pp is None else f", Pp {index.pp:.2f}"
        console.print(f"Ppk {index.ppk:.2f} ({index.low:.2f}..{index.high:.2f}, 95 %){both}")


def _print_histogram(console: Console, found: Histogram, series: Series, signs: _Signs) -> None:
    table = Table(box=None, pad_edge=False, show_header=False)
    table.add_column(justify="right", no_wrap=True)
    table.add_column(justify="right", no_wrap=True)
    table.add_column(no_wrap=True)
    scale = _BAR / max(1, int(np.max(found.counts)))
    edges = found.edges
    digits = _digits(float(edges[1] - edges[0])) if edges.size > 1 else 3
    for at, count in enumerate(found.counts):
        low, high = float(edges[at]), float(edges[at + 1])
        length = max(1, round(int(count) * scale)) if count else 0
        bar = Text(signs.bar * length + _beside(series, low, high))
        table.add_row(f"{low:.{digits}f}..{high:.{digits}f}", str(int(count)), bar)
    console.print(table)


def _beside(series: Series, low: float, high: float) -> str:
    """A limit that lies in a bin, or beyond which the bin lies."""
    for limit, word in ((series.low, "lower"), (series.high, "upper")):
        if limit is not None and low <= limit <= high:
            return f"  {word} limit {limit:g}"
    if series.low is not None and high < series.low:
        return "  below the limit"
    if series.high is not None and low > series.high:
        return "  above the limit"
    return ""


def _digits(width: float) -> int:
    if width <= 0.0:
        return 3
    return int(min(9, max(0, 1 - np.floor(np.log10(width)))))


def _print_control(console: Console, found: Variables, signs: _Signs) -> None:
    chart, unit = found.control, found.series.unit
    console.print(f"Unit by unit, in the order of testing ({unit})", style="bold")
    if chart is None:
        console.print(f"Too few values for a chart; it takes {FEWEST}.")
        return
    lines = (("limit", chart.high), ("mean", chart.centre), ("limit", chart.low))
    console.print(_plot(chart.values.tolist(), lines, signs, console.width))
    console.print()
    console.print(f"Change from each unit to the next ({unit})", style="bold")
    steps = (("limit", chart.range_high), ("mean", chart.mean_range))
    console.print(_plot(chart.ranges.tolist(), steps, signs, console.width))
    console.print(
        f"Limits: mean ± 3 x mean change / 1.128; changes up to 3.267 x mean change ({CONSTANTS})."
    )
    _print_signals(console, found, chart)


def _print_signals(console: Console, found: Variables, chart: ControlChart) -> None:
    values = found.series.values
    for title, places in (
        ("Outside the chart's limits", chart.beyond),
        ("Too far from the unit before", chart.jumps),
    ):
        if places:
            named = ", ".join(values[at].serial for at in places)
            console.print(safe(f"{title}: {named}"))
    runs = found.run_chart
    if runs is not None:
        drift = " (few: the values drift)" if runs.score < _SLOW_DRIFT else ""
        console.print(
            f"Stretches on one side of the median {runs.median:.6g}: {runs.stretches}, in random "
            f"order about {runs.expected:.1f} ± {2 * runs.deviation:.1f}{drift}; the longest "
            f"has {runs.longest}."
        )


def _print_outliers(console: Console, found: Variables) -> None:
    for one in found.outliers:
        text = f"Outlier: {one.serial}, {one.value:.6g} {found.series.unit}, record {one.run_id}"
        console.print(safe(text))


def _plot(
    values: Sequence[float],
    lines: Sequence[tuple[str, float]],
    signs: _Signs,
    width: int,
) -> Text:
    """Values from left to right, lines across; least and most where columns are too few."""
    room = max(20, min(_WIDEST, width - 24))
    numbers = np.asarray(values)
    levels = [level for _, level in lines]
    low, high = min(float(numbers.min()), *levels), max(float(numbers.max()), *levels)
    step = (high - low) / (_ROWS - 1) or 1.0
    groups = np.array_split(numbers, min(room, numbers.size))
    grid = [[" "] * len(groups) for _ in range(_ROWS)]
    labels = [""] * _ROWS
    for word, level in lines:
        row = _row(level, high, step)
        grid[row] = [signs.line] * len(groups)
        labels[row] = f"{word} {level:.6g}"
    limit_high = max(levels)
    limit_low = min((level for word, level in lines if word == "limit"), default=-np.inf)
    if len(lines) == 2:
        limit_low = -np.inf
    for column, group in enumerate(groups):
        for value in {float(group.min()), float(group.max())}:
            inside = limit_low <= value <= limit_high
            grid[_row(value, high, step)][column] = signs.inside if inside else signs.outside
    rows = (f"{label:>18}  {''.join(row)}" for label, row in zip(labels, grid, strict=True))
    return Text("\n".join(row.rstrip() for row in rows), no_wrap=True)


def _row(value: float, high: float, step: float) -> int:
    return int(min(_ROWS - 1, max(0, round((high - value) / step))))


def print_trend(found: Trend, *, simulated: bool) -> None:
    """One quantity over the lots of a supplier."""
    console = PageConsole()
    series = found.whole.series
    mark = f"{SIMULATED} " if simulated else ""
    title = f"{mark}Supplier {found.supplier}: {series.name.text} ({series.unit})"
    console.print(safe(title, "bold"))
    table = Table(box=None, pad_edge=False, header_style="bold")
    table.add_column("Lot", overflow="fold")
    for heading in ("First run (UTC)", "n", "Mean", "Deviation", "Ppk"):
        table.add_column(heading, justify="right", no_wrap=True)
    for point in found.lots:
        spread, index = point.spread, point.performance
        table.add_row(
            safe(point.lot),
            f"{point.first:%Y-%m-%d %H:%M}",
            str(point.count),
            "" if spread is None else f"{spread.mean:.6g}",
            "" if spread is None else f"{spread.deviation:.2g}",
            "" if index is None else f"{index.ppk:.2f}",
        )
    console.print(table)
    if found.between is not None:
        beyond = ", ".join(found.lots[at].lot for at in found.between.beyond)
        text = f"Lots whose mean lies off the others: {beyond}" if beyond else "No lot stands out."
        console.print(safe(text))
    console.print()
    print_quantity(f"All lots of {found.supplier}", found.whole, simulated=simulated)
