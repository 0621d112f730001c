"""Lots as rows of the tables and back: no database in sight."""

from collections.abc import Mapping
from dataclasses import asdict
from datetime import datetime
from typing import Any

from rungbench.archive.record import utc_now
from rungbench.archive.rows import search_key
from rungbench.lots.decision import LotDecision, Tally
from rungbench.lots.drawing import check_seed, new_seed
from rungbench.lots.lot import Basis, Lot, LotEnd, LotOrder, sheet_of, sheet_row
from rungbench.lots.sampling import SamplingPlan, Severity
from rungbench.lots.serials import list_hash
from rungbench.lots.switching import Advice

Row = dict[str, Any]
Stored = Mapping[Any, Any]

_BASIS = ("plan", "plan_hash", "profile", "profile_hash")
_TEXTS = ("name", "supplier", "operator", "notes")


def lot_row(order: LotOrder, advice: Advice, resubmits: int | None) -> Row:
    """Row of `lots`; a seed is made where none was given."""
    plan, basis = order.plan, order.basis
    severity = advice.severity
    return {
        **{name: getattr(order, name) for name in _TEXTS},
        **{name: getattr(basis, name) for name in _BASIS},
        "name_key": search_key(order.name),
        "supplier_key": search_key(order.supplier),
        "made": utc_now(),
        "sheet": sheet_row(order.sheet),
        "planned": list(basis.planned),
        "lot_size": plan.lot_size,
        "aql": plan.aql,
        "level": plan.level,
        "severity": plan.severity.value,
        "letter": plan.letter,
        "sample_size": plan.table_size,
        "accept": plan.accept,
        "standard": plan.standard,
        "seed": check_seed(order.seed) if order.seed else new_seed(),
        "seed_given": bool(order.seed),
        "list_sha256": list_hash(order.serials) if order.serials else None,
        "advice": {"severity": None if severity is None else severity.value, "why": advice.why},
        "resubmits": resubmits,
    }


def lot_of(row: Stored, resubmits: str | None, *, simulated: bool) -> Lot:
    """Inverse of `lot_row`; `resubmits` is the name of the lot before."""
    severity = row["advice"]["severity"]
    return Lot(
        number=row["number"],
        made=row["made"],
        simulated=simulated,
        sheet=sheet_of(row["sheet"]),
        basis=Basis(planned=tuple(row["planned"]), **{name: row[name] for name in _BASIS}),
        plan=_plan_of(row),
        seed=row["seed"],
        seed_given=row["seed_given"],
        list_sha256=row["list_sha256"],
        advice=Advice(None if severity is None else Severity(severity), row["advice"]["why"]),
        resubmits=resubmits,
        **{name: row[name] for name in _TEXTS},
    )


def _plan_of(row: Stored) -> SamplingPlan:
    return SamplingPlan(
        lot_size=row["lot_size"],
        aql=row["aql"],
        level=row["level"],
        severity=Severity(row["severity"]),
        letter=row["letter"],
        table_size=row["sample_size"],
        accept=row["accept"],
        standard=row["standard"],
    )


def end_row(lot: int, end: LotEnd) -> Row:
    """Row of `lot_ends`."""
    return {
        "lot": lot,
        "decision": end.decision.value,
        "reason": end.reason,
        "operator": end.operator,
        "closed": end.closed,
        "tally": asdict(end.tally),
    }


def end_of(row: Stored) -> LotEnd:
    """Inverse of `end_row`."""
    closed: datetime = row["closed"]
    decision = LotDecision(row["decision"])
    return LotEnd(decision, Tally(**row["tally"]), closed, row["reason"], row["operator"])
