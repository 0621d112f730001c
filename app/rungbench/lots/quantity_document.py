"""Views of a quantity as plain values for JSON; `json_documents.md` describes every name."""

from dataclasses import asdict
from typing import Any, Final

from rungbench.lots.control import D2, D4, ControlChart
from rungbench.lots.document import moment
from rungbench.lots.sequence import Histogram
from rungbench.lots.values import Series, Value
from rungbench.lots.variables import LotPoint, Trend, Variables

QUANTITY: Final = "rungbench.lot-quantity/1"
TREND: Final = "rungbench.lot-trend/1"
CONSTANTS: Final = "ISO 7870-2:2013, moving ranges of two"


def quantity_document(lot: str, found: Variables, *, simulated: bool) -> dict[str, Any]:
    """One quantity over the units of a lot."""
    return {"schema": QUANTITY, "simulated": simulated, "lot": lot, **_views(found)}


def trend_document(found: Trend, *, simulated: bool) -> dict[str, Any]:
    """One quantity over the lots of a supplier."""
    return {
        "schema": TREND,
        "simulated": simulated,
        "supplier": found.supplier,
        "lots": [_point(point) for point in found.lots],
        "between_lots": _control(found.between),
        **_views(found.whole),
    }


def _views(found: Variables) -> dict[str, Any]:
    series, index, runs = found.series, found.performance, found.run_chart
    return {
        **_series(series),
        "spread": None if found.spread is None else asdict(found.spread),
        "performance": None if index is None else asdict(index),
        "histogram": _histogram(found.histogram),
        "run_chart": None if runs is None else {**asdict(runs), "score": runs.score},
        "control": _control(found.control),
        "outliers": [one.run_id for one in found.outliers],
    }


def _series(series: Series) -> dict[str, Any]:
    return {
        "quantity": series.name.text,
        "unit": series.unit,
        "low": series.low,
        "high": series.high,
        "note": series.note,
        "values": [_value(one) for one in series.values],
    }


def _value(one: Value) -> dict[str, Any]:
    return {
        "lot": one.lot,
        "record": one.run_id,
        "unit_number": one.place.run.unit,
        "serial": one.serial,
        "started": moment(one.started),
        "value": one.value,
        "standard_uncertainty": one.u,
    }


def _histogram(found: Histogram | None) -> dict[str, Any] | None:
    if found is None:
        return None
    return {"edges": found.edges.tolist(), "counts": found.counts.tolist()}


def _control(chart: ControlChart | None) -> dict[str, Any] | None:
    if chart is None:
        return None
    names = ("centre", "mean_range", "sigma", "low", "high", "range_high")
    return {
        **{name: getattr(chart, name) for name in names},
        "beyond": list(chart.beyond),
        "jumps": list(chart.jumps),
        "constants": {"d2": D2, "D4": D4, "source": CONSTANTS},
    }


def _point(point: LotPoint) -> dict[str, Any]:
    return {
        "lot": point.lot,
        "first": moment(point.first),
        "count": point.count,
        "spread": None if point.spread is None else asdict(point.spread),
        "performance": None if point.performance is None else asdict(point.performance),
    }
