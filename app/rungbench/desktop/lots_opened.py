"""What an opened lot shows, read from the archive on the thread of errands; no Qt."""

import time
from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final

from pilotsignal.figures import decimals
from rungbench.archive.rows import search_key
from rungbench.archive.store import Archive
from rungbench.desktop.errands import Cancel
from rungbench.desktop.figures import number, unit_text
from rungbench.desktop.lots_chart import Chart
from rungbench.desktop.lots_plan_charts import characteristic_chart
from rungbench.desktop.lots_words import decision_of
from rungbench.desktop.records_facts import name_words
from rungbench.lots.characteristic import Risks, risks
from rungbench.lots.errors import LotRefused
from rungbench.lots.failures import Failure, failures_in
from rungbench.lots.lot import Lot, LotOrder, LotState
from rungbench.lots.sampling import SamplingPlan
from rungbench.lots.store import Lots
from rungbench.lots.switching import Advice
from rungbench.lots.values import Name, names_of, titles_of
from rungbench.lots.variables import (
    Summary,
    Trend,
    Variables,
    summaries_in,
    trend_in,
    variables_in,
)

_NO_TITLES: Final[Mapping[str, str]] = MappingProxyType({})
SUMMARY_HEADINGS: Final = ("Quantity", "Ppk", "Out", "n", "Mean", "Deviation", "Unit")
LOT_HEADINGS: Final = ("Decision", "Lot", "Mean", "Ppk", "n", "Inspection", "First run (UTC)")


@dataclass(frozen=True, slots=True)
class OpenedLot:
    """A lot with what failed, a line for each judged quantity, and all quantities there are.

    `summaries` come with the one nearest to its limit first, `titles` are those of checks by
    their ids.  `took_s` is how long it took.
    """

    state: LotState
    failures: tuple[Failure, ...]
    summaries: tuple[Summary, ...]
    names: tuple[Name, ...]
    titles: Mapping[str, str] = field(default_factory=lambda: _NO_TITLES)
    took_s: float = 0.0

    def words(self, name: Name) -> str:
        """A quantity for people: the title of its check, and its own name if it is not alone."""
        alone = sum(one.check == name.check for one in self.names) <= 1
        title = self.title(name)
        return title if alone else f"{title}: {name_words(name.quantity)}"

    def title(self, name: Name) -> str:
        """The title of the check of a quantity."""
        return self.titles.get(name.check) or name.check.replace("-", " ")


@dataclass(frozen=True, slots=True)
class PlanViews:
    """A plan's risks and its operating characteristic."""

    risks: Risks
    chart: Chart


@dataclass(frozen=True, slots=True)
class SupplierViews:
    """The lots of a supplier of one model, the oldest first, and one quantity over them.

    `advice` is what the switching rules ask for now; `why` says why there is no trend.
    """

    states: tuple[LotState, ...]
    advice: Advice
    trend: Trend | None
    why: str = ""


def open_lot(archive: Archive, name: str, cancel: Cancel) -> OpenedLot:
    """The lot of that name.

    Raises
    ------
    NoSuchLot : there is none.
    ArchiveError : the archive cannot be read.
    Interrupted : it was cancelled.
    """
    began = time.perf_counter()
    state = Lots(archive).state(name)
    cancel.check()
    failures = failures_in(archive, state)
    cancel.check()
    summaries = sorted(summaries_in(archive, [state]), key=_nearness)
    cancel.check()
    with archive.reading() as connection:
        names = names_of(connection, [state])
        titles = titles_of(connection, [state])
    took_s = time.perf_counter() - began
    return OpenedLot(state, failures, tuple(summaries), names, titles, took_s)


def _nearness(one: Summary) -> tuple[bool, bool, float]:
    """Those with values beyond a limit first, then by Ppk, last those that have none."""
    ppk = None if one.performance is None else one.performance.ppk
    return one.outside == 0, ppk is None, 0.0 if ppk is None else ppk


def plan_views(plan: SamplingPlan) -> PlanViews:
    """Risks and characteristic of a plan; the first call loads the distributions."""
    found = risks(plan)
    return PlanViews(found, characteristic_chart(plan, found))


def quantity_of(archive: Archive, state: LotState, name: str) -> Variables:
    """All views of one quantity; errors as `variables.variables_in`."""
    return variables_in(archive, [state], name)


def supplier_views(archive: Archive, lot: Lot, name: str, cancel: Cancel) -> SupplierViews:
    """The supplier's lots of the same model, and one quantity over them (empty name: none).

    Raises
    ------
    ArchiveError : the archive cannot be read.
    Interrupted : it was cancelled.
    """
    lots = Lots(archive)
    states = tuple(one for one in lots.states(lot.supplier) if _same_model(one.lot, lot))
    cancel.check()
    advice = lots.advice(LotOrder(lot.name, lot.supplier, lot.sheet, lot.basis, lot.plan))
    if not name:
        return SupplierViews(states, advice, None, "No run counts yet; test units first.")
    try:
        return SupplierViews(states, advice, trend_in(archive, states, name))
    except LotRefused as problem:
        return SupplierViews(states, advice, None, str(problem))


def _same_model(one: Lot, other: Lot) -> bool:
    pairs = ((one.sheet.maker, other.sheet.maker), (one.sheet.model, other.sheet.model))
    return all(search_key(left or "") == search_key(right or "") for left, right in pairs)


def summary_names(opened: OpenedLot) -> tuple[str, ...]:
    """The judged quantities in words: the check alone where it judges but one."""
    several = Counter(one.series.name.check for one in opened.summaries)
    names = [one.series.name for one in opened.summaries]
    return tuple(
        opened.title(name) if several[name.check] == 1 else opened.words(name) for name in names
    )


def summary_cells(name: str, one: Summary) -> tuple[str, ...]:
    """One quantity in a line, as in `SUMMARY_HEADINGS`."""
    series, spread, index = one.series, one.spread, one.performance
    mean = deviation = ""
    if spread is not None:
        places = _places(spread.deviation or 2.0 * spread.u_bench)
        mean, deviation = number(spread.mean, places), number(spread.deviation, places)
    return (
        name,
        "" if index is None else number(index.ppk, 2),
        f"{one.outside}",
        f"{len(series)}",
        mean,
        deviation,
        unit_text(series.unit),
    )


def _places(width: float) -> int:
    """Decimals that show two digits of a width."""
    return decimals(width) if width > 0.0 else 0


def lot_rows(found: SupplierViews) -> list[tuple[str, ...]]:
    """The supplier's lots, a line each, as in `LOT_HEADINGS`."""
    points = {} if found.trend is None else {point.lot: point for point in found.trend.lots}
    rows: list[tuple[str, ...]] = []
    for state in found.states:
        lot, point = state.lot, points.get(state.lot.name)
        again = ", presented again" if lot.resubmits else ""
        spread = None if point is None else point.spread
        index = None if point is None else point.performance
        rows.append(
            (
                f"{decision_of(state)}{'' if state.end is None else ', closed'}",
                lot.name,
                "" if spread is None else number(spread.mean, _places(2.0 * spread.u_mean)),
                "" if index is None else number(index.ppk, 2),
                "" if point is None else f"{point.count}",
                f"{lot.plan.severity}{again}",
                "" if point is None else f"{point.first:%Y-%m-%d}",
            )
        )
    return rows
