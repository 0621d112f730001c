"""Lots as plain values for JSON; `json_documents.md` describes every name.

Names are only ever added to version 1.  ``null`` is what nobody stated, what does not apply, or a
figure for which there are too few values.
"""

from collections.abc import Iterable, Sequence
from dataclasses import asdict
from datetime import UTC, datetime
from typing import Any, Final

from rungbench.lots import characteristic, drawing, switching
from rungbench.lots.counting import LotRun, Unit
from rungbench.lots.decision import Standing
from rungbench.lots.failures import Failure
from rungbench.lots.lot import Lot, LotEnd, LotState, sheet_row
from rungbench.lots.moving import Move
from rungbench.lots.sampling import SamplingPlan
from rungbench.lots.switching import Advice
from rungbench.lots.variables import Summary

SAMPLING: Final = "rungbench.sampling/1"
LOT: Final = "rungbench.lot/1"
LOTS: Final = "rungbench.lots/1"
NEXT: Final = "rungbench.lot-next/1"


def sampling_document(plan: SamplingPlan) -> dict[str, Any]:
    """A plan, its risks and its operating characteristic."""
    return {
        "schema": SAMPLING,
        "plan": plan_document(plan),
        "risks": asdict(characteristic.risks(plan)),
        "curve": [asdict(point) for point in characteristic.curve(plan)],
    }


def plan_document(plan: SamplingPlan) -> dict[str, Any]:
    """A sampling plan in plain values."""
    return {
        "lot_size": plan.lot_size,
        "aql_percent": plan.aql,
        "level": plan.level,
        "severity": plan.severity.value,
        "letter": plan.letter,
        "sample_size": plan.sample_size,
        "accept": plan.accept,
        "reject": plan.reject,
        "every_unit": plan.every_unit,
        "standard": plan.standard,
    }


def lot_document(
    state: LotState, failures: Iterable[Failure] = (), quantities: Iterable[Summary] = ()
) -> dict[str, Any]:
    """A lot with all its units and all their runs."""
    lot = state.lot
    return {
        "schema": LOT,
        **_head(lot),
        "operator": lot.operator,
        "notes": lot.notes,
        "sheet": sheet_row(lot.sheet),
        "basis": asdict(lot.basis),
        "sampling": plan_document(lot.plan),
        "draw": {
            "seed": lot.seed,
            "seed_given": lot.seed_given,
            "method": drawing.METHOD,
            "from": "serials" if lot.listed else "places",
            "list_sha256": lot.list_sha256,
            "units": [unit.number for unit in state.units],
        },
        "advice": advice_document(lot.advice),
        "resubmitted_as": list(state.again),
        "standing": standing_document(state.standing),
        "end": None if state.end is None else end_document(state.end),
        "units": [_unit(unit) for unit in state.units],
        "moves": [_move(one) for one in state.moves],
        "failures": [asdict(failure) for failure in failures],
        "quantities": [summary_document(one) for one in quantities],
    }


def _head(lot: Lot) -> dict[str, Any]:
    return {
        "simulated": lot.simulated,
        "lot": lot.name,
        "made": moment(lot.made),
        "supplier": lot.supplier,
        "maker": lot.sheet.maker,
        "model": lot.sheet.model,
        "resubmits": lot.resubmits,
    }


def advice_document(advice: Advice) -> dict[str, Any]:
    """What the switching rules ask; `confidence` says where they come from."""
    return {
        "severity": None if advice.severity is None else advice.severity.value,
        "stopped": advice.stopped,
        "why": advice.why,
        "confidence": switching.CONFIDENCE,
        "note": switching.FROM_MEMORY,
    }


def standing_document(standing: Standing) -> dict[str, Any]:
    """The decision as far as it is certain."""
    return {
        "decision": standing.decision.value,
        "why": standing.why,
        "tally": asdict(standing.tally),
    }


def end_document(end: LotEnd) -> dict[str, Any]:
    """How a lot was closed."""
    return {
        "decision": end.decision.value,
        "reason": end.reason,
        "operator": end.operator,
        "closed": moment(end.closed),
        "tally": asdict(end.tally),
    }


def _unit(unit: Unit) -> dict[str, Any]:
    counting = unit.counts
    return {
        "unit": unit.number,
        "serial": unit.serial or None,
        "outcome": unit.outcome.value,
        "record": None if counting is None else counting.run_id,
        "runs": [_run(run, counting) for run in unit.runs],
    }


def _run(run: LotRun, counting: LotRun | None) -> dict[str, Any]:
    return {
        "record": run.run_id,
        "started": moment(run.started),
        "verdict": run.verdict.value,
        "interrupted": run.interrupted,
        "operator": run.operator,
        "retest": run.reason or None,
        "counts": run is counting,
    }


def _move(one: Move) -> dict[str, Any]:
    return {
        "record": one.run_id,
        "before": one.before,
        "unit": one.unit,
        "serial": one.serial,
        "reason": one.reason,
        "operator": one.operator,
        "moved": moment(one.moved),
    }


def summary_document(summary: Summary) -> dict[str, Any]:
    """One judged quantity in a line."""
    series, index = summary.series, summary.performance
    return {
        "quantity": series.name.text,
        "unit": series.unit,
        "low": series.low,
        "high": series.high,
        "note": series.note,
        "count": len(series),
        "outside": summary.outside,
        "spread": None if summary.spread is None else asdict(summary.spread),
        "performance": None if index is None else asdict(index),
    }


def next_document(state: LotState) -> dict[str, Any]:
    """The unit to test next."""
    unit = state.next_unit
    return {
        "schema": NEXT,
        "simulated": state.lot.simulated,
        "lot": state.lot.name,
        "next": None if unit is None else {"unit": unit.number, "serial": unit.serial or None},
        "closed": state.end is not None,
        "standing": standing_document(state.standing),
    }


def lots_document(states: Sequence[LotState]) -> dict[str, Any]:
    """A list of lots."""
    return {"schema": LOTS, "lots": [_line(state) for state in states]}


def _line(state: LotState) -> dict[str, Any]:
    return {
        **_head(state.lot),
        "sampling": plan_document(state.lot.plan),
        "standing": standing_document(state.standing),
        "end": None if state.end is None else end_document(state.end),
    }


def moment(when: datetime) -> str:
    """A moment as text: UTC, milliseconds."""
    return when.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")
