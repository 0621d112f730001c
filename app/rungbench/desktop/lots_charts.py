"""The charts of one quantity: spread, order of testing, individuals, changes; no drawing."""

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import Final

from pilotsignal.figures import decimals
from rungbench.desktop.figures import number, short, unit_text, with_uncertainty
from rungbench.desktop.lots_chart import (
    Axis,
    Bar,
    Chart,
    Line,
    Point,
    axis,
    beyond,
    counting,
    inside,
    notes,
    span,
)
from rungbench.lots.control import FEWEST
from rungbench.lots.quantity_document import CONSTANTS
from rungbench.lots.sequence import RunChart
from rungbench.lots.values import Series, Value
from rungbench.lots.variables import Variables

K: Final = 2.0
"""Coverage factor of the uncertainties that are shown: about 95 %."""

_SLOW_DRIFT: Final = -2.0
_NEAR_HISTOGRAM: Final = 12.0


def value_text(one: Value, unit: str) -> str:
    """Whose value it is, and the value with its uncertainty."""
    return f"{one.serial}: {with_uncertainty(one.value, K * one.u, unit)}"


def limit_lines(series: Series) -> tuple[Line, ...]:
    """The limits that stand against a quantity."""
    sides = (("lower limit", series.low), ("upper limit", series.high))
    return tuple(
        Line(value, f"{word} {short(value)}", "presented", dashed=False)
        for word, value in sides
        if value is not None
    )


# How values are spread ----------------------------------------------------------------------------


def histogram_chart(found: Variables) -> Chart | None:
    """Counts between edges with the limits; ``None`` without values."""
    if found.histogram is None:
        return None
    series, counts = found.series, found.histogram.counts.tolist()
    edges = found.histogram.edges.tolist()
    limits = limit_lines(series)
    x = span(edges, [line.value for line in limits], _NEAR_HISTOGRAM)
    x = replace(x, title=unit_text(series.unit))
    top = max(counts)
    places = decimals((edges[-1] - edges[0]) / max(1, len(counts)))
    bars = tuple(
        Bar(low, high, count, f"{number(low, places)} to {number(high, places)}: {count}")
        for low, high, count in zip(edges, edges[1:], counts, strict=False)
    )
    return Chart(
        "How the values are spread: units over value",
        x,
        axis(0.0, 1.12 * max(top, 1)),
        notes(beyond(limits, x)),
        upright=inside(limits, x),
        bars=bars,
    )


# In the order of testing --------------------------------------------------------------------------


def run_chart(found: Variables) -> Chart | None:
    """Values in the order of testing around their median, outliers marked; ``None`` without any."""
    series = found.series
    if not len(series):
        return None
    outliers = {one.run_id for one in found.outliers}
    median = _middle(found)
    limits = limit_lines(series)
    values = series.numbers.tolist()
    y = span([*values, median], [line.value for line in limits])
    lines = (Line(median, f"median {_short_in(y, median)}", "measured"), *limits)
    return Chart(
        f"Unit after unit, {unit_text(series.unit)}",
        counting(len(series), "unit, in the order of testing"),
        y,
        notes(_stretches(found.run_chart), _outlier_text(found), beyond(limits, y)),
        across=inside(lines, y),
        points=_points(series, values, lambda at: series.value(at).run_id in outliers),
        joined=True,
    )


def individuals_chart(found: Variables) -> Chart | None:
    """Individuals with the limits of the chart; ``None`` for too few values."""
    chart, series = found.control, found.series
    if chart is None:
        return None
    values = chart.values.tolist()
    lines = control_lines(chart.low, chart.centre, chart.high)
    y = span([*values, chart.low, chart.high])
    return Chart(
        f"Individuals, {unit_text(series.unit)}",
        counting(len(values), "unit, in the order of testing"),
        y,
        notes(_named("Outside the chart's limits", series, chart.beyond)),
        across=told(lines, y),
        points=_points(series, values, lambda at: at in chart.beyond),
        joined=True,
    )


def ranges_chart(found: Variables) -> Chart | None:
    """Moving ranges of two with their limit; ``None`` for too few values."""
    chart, series = found.control, found.series
    if chart is None:
        return None
    values = chart.ranges.tolist()
    top = max(*values, chart.range_high) or 1.0
    y = axis(0.0, 1.08 * top)
    lines = (
        Line(chart.range_high, "limit"),
        Line(chart.mean_range, "mean", "measured"),
    )
    unit = unit_text(series.unit)
    points = tuple(
        Point(
            at + 2.0,
            value,
            f"{series.value(at + 1).serial}: {short(value)} {unit} from the unit before",
            series.value(at + 1).run_id,
            at + 1 in chart.jumps,
        )
        for at, value in enumerate(values)
    )
    source = (
        f"Limits: mean ± 3 × mean range / 1.128; ranges up to 3.267 × mean range ({CONSTANTS})."
    )
    return Chart(
        f"Moving range, {unit}",
        counting(len(series), "unit, in the order of testing"),
        y,
        notes(_named("Too far from the unit before", series, chart.jumps), source),
        across=told(lines, y),
        points=points,
        joined=True,
    )


def too_few(found: Variables) -> str:
    """Why there is no chart of individuals; empty if there is one."""
    if found.control is not None:
        return ""
    count = len(found.series)
    have = "1 value" if count == 1 else f"{count} values"
    return f"{have}: too few for a chart of individuals, which takes {FEWEST}."


def _points(
    series: Series, values: Sequence[float], out: Callable[[int], bool]
) -> tuple[Point, ...]:
    unit = series.unit
    return tuple(
        Point(at + 1.0, value, value_text(series.value(at), unit), series.value(at).run_id, out(at))
        for at, value in enumerate(values)
    )


def control_lines(low: float, centre: float, high: float) -> tuple[Line, ...]:
    return Line(high, "+3 σ"), Line(centre, "mean", "measured"), Line(low, "−3 σ")


def told(lines: Sequence[Line], y: Axis) -> tuple[Line, ...]:
    """The same lines with their figures."""
    return tuple(
        replace(line, label=f"{line.label} {_short_in(y, line.value)}") for line in inside(lines, y)
    )


def _short_in(y: Axis, value: float) -> str:
    """A figure with one digit more than the axis has."""
    return number(value, y.places + 1)


def _middle(found: Variables) -> float:
    if found.run_chart is not None:
        return found.run_chart.median
    values = sorted(found.series.numbers.tolist())
    return float(values[len(values) // 2])


def _stretches(runs: RunChart | None) -> str:
    if runs is None:
        return ""
    drift = " (few: the values drift)" if runs.score < _SLOW_DRIFT else ""
    expected = f"{number(runs.expected, 1)} ± {number(K * runs.deviation, 1)}"
    return (
        f"Stretches on one side of the median: {runs.stretches}, in random order about "
        f"{expected}{drift}; the longest has {runs.longest}."
    )


def _outlier_text(found: Variables) -> str:
    if not found.outliers:
        return ""
    named = ", ".join(value_text(one, found.series.unit) for one in found.outliers)
    return f"Outliers: {named}."


def _named(title: str, series: Series, places: Sequence[int]) -> str:
    if not places:
        return ""
    return f"{title}: {', '.join(series.value(at).serial for at in places)}."


def figure_lines(found: Variables) -> list[str]:
    """Limit, mean, deviation, Ppk; what cannot be computed says so."""
    series, spread, index = found.series, found.spread, found.performance
    unit = unit_text(series.unit)
    stands = " … ".join(short(side) for side in (series.low, series.high) if side is not None)
    side = "at least " if series.high is None else "at most " if series.low is None else ""
    limit = series.note or (f"limit {side}{stands} {unit}" if stands else "no limit stands here")
    lines = [f"{len(series)} values; {limit}."]
    if spread is None:
        return [*lines, "Too few values for a mean and a deviation."]
    mean = with_uncertainty(spread.mean, K * spread.u_mean, series.unit)
    deviation = with_uncertainty(spread.deviation, K * spread.u_deviation, series.unit)
    lines.append(f"Mean {mean}, standard deviation {deviation} (k = 2).")
    bench = f"{float(f'{spread.u_bench:.2g}'):g}"
    lines.append(
        f"From {short(spread.least)} to {short(spread.most)} {unit}; standard uncertainty of one "
        f"value {_local(bench)} {unit}."
    )
    if index is None:
        return [*lines, "Ppk: none, since there is no limit or no spread."]
    both = "" if index.pp is None else f"; Pp {number(index.pp, 2)}"
    inside_ = f"{number(index.low, 2)} … {number(index.high, 2)}"
    lines.append(f"Ppk {number(index.ppk, 2)} ({inside_}, 95 %){both} (ISO 22514-2:2017).")
    return lines


def _local(text: str) -> str:
    places = len(text.partition(".")[2])
    return number(float(text), places) if "e" not in text else text
