"""The values of one quantity, with everything that a lot's decision by attributes does not show.

None of this decides: a lot is accepted or rejected by the verdicts of its units.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from rungbench.archive.store import Archive
from rungbench.lots.capability import Performance, Spread, performance, spread
from rungbench.lots.control import ControlChart, control_chart
from rungbench.lots.errors import LotRefused
from rungbench.lots.lot import LotState
from rungbench.lots.outliers import outliers
from rungbench.lots.sequence import Histogram, RunChart, histogram, run_chart
from rungbench.lots.values import (
    Series,
    Value,
    every_series_of,
    name_of,
    names_of,
    series_of,
)


@dataclass(frozen=True, slots=True)
class Variables:
    """All views of one series; each is ``None`` where there are too few values for it."""

    series: Series
    spread: Spread | None
    performance: Performance | None
    histogram: Histogram | None
    run_chart: RunChart | None
    control: ControlChart | None
    outliers: tuple[Value, ...]


@dataclass(frozen=True, slots=True)
class LotPoint:
    """One lot of a supplier in a trend."""

    lot: str
    first: datetime
    count: int
    spread: Spread | None
    performance: Performance | None


@dataclass(frozen=True, slots=True)
class Trend:
    """A supplier over time: all values in one row, and lot by lot.

    `between` is the chart of the lots' means, which shows a drift that no lot shows by itself.
    """

    supplier: str
    whole: Variables
    lots: tuple[LotPoint, ...]
    between: ControlChart | None


def variables_of(series: Series) -> Variables:
    """All views of a series."""
    numbers = series.numbers
    found = spread(numbers, series.bench_uncertainty())
    return Variables(
        series=series,
        spread=found,
        performance=None if found is None else performance(found, series.low, series.high),
        histogram=histogram(numbers),
        run_chart=run_chart(numbers),
        control=control_chart(numbers),
        outliers=tuple(series.value(at) for at in outliers(numbers)),
    )


@dataclass(frozen=True, slots=True)
class Summary:
    """One judged quantity in a line; `outside` units have a value beyond a limit."""

    series: Series
    spread: Spread | None
    performance: Performance | None
    outside: int


def summary_of(series: Series) -> Summary:
    """The line of a series."""
    numbers = series.numbers
    low = -np.inf if series.low is None else series.low
    high = np.inf if series.high is None else series.high
    found = spread(numbers, series.bench_uncertainty())
    index = None if found is None else performance(found, series.low, series.high)
    outside = int(np.count_nonzero((numbers < low) | (numbers > high)))
    return Summary(series, found, index, outside)


def summaries_in(archive: Archive, states: Sequence[LotState]) -> tuple[Summary, ...]:
    """Every quantity against which a limit stands, over the units of these lots."""
    with archive.reading() as connection:
        return tuple(summary_of(one) for one in every_series_of(connection, states))


def every_variables_in(archive: Archive, states: Sequence[LotState]) -> tuple[Variables, ...]:
    """All views of every quantity against which a limit stands, over the units of these lots."""
    with archive.reading() as connection:
        return tuple(variables_of(one) for one in every_series_of(connection, states))


def variables_in(archive: Archive, states: Sequence[LotState], wanted: str) -> Variables:
    """One quantity over the units of these lots; `LotRefused` if they have none of that name."""
    with archive.reading() as connection:
        name = name_of(names_of(connection, states), wanted)
        return variables_of(series_of(connection, states, name))


def trend_in(archive: Archive, states: Sequence[LotState], wanted: str) -> Trend:
    """One quantity over the lots of a supplier.

    Raises
    ------
    LotRefused : no lots, lots of different models, or no quantity of that name.
    """
    if not states:
        raise LotRefused("That supplier has no lots; `rungbench lot list` shows who has.")
    models = sorted({state.lot.sheet.model or "" for state in states})
    if len(models) > 1:
        raise LotRefused(f"That supplier has lots of {', '.join(models)}; say which with --model.")
    whole = variables_in(archive, states, wanted)
    points = tuple(_points(whole.series))
    means = [point.spread.mean for point in points if point.spread is not None]
    return Trend(states[0].lot.supplier, whole, points, control_chart(means))


def _points(series: Series) -> Iterable[LotPoint]:
    names = dict.fromkeys(place.lot for place in series.places)
    for part in (series.part(name) for name in names):
        found = spread(part.numbers, part.bench_uncertainty())
        index = None if found is None else performance(found, part.low, part.high)
        first = part.places[0]
        yield LotPoint(first.lot, first.run.started, len(part), found, index)
