"""A record as plain values for JSON, schema ``rungbench.run/1``.

``qualify --json`` and ``records show --json`` print the same, from here.  Names
are only ever added to version 1.  ``null`` is an unlimited side of a limit,
infinitely many degrees of freedom, or what nobody stated.
"""

import math
from collections.abc import Iterable
from dataclasses import asdict
from datetime import UTC, datetime
from typing import Any, Final

from pilotsignal.judge import Judgement, Limit
from pilotsignal.quantity import Quantity
from rungbench.archive.record import CheckResult, Origin, Record
from rungbench.archive.rows import plain
from rungbench.archive.search import RunSummary

SCHEMA: Final = "rungbench.run/1"


def run_document(record: Record, *, budget: bool = False) -> dict[str, Any]:
    """The record in plain values; with `budget` each quantity carries its rows and method."""
    header = record.header
    return {
        "schema": SCHEMA,
        "simulated": header.simulated,
        "verdict": record.verdict.value,
        "record": header.run_id,
        "charger": asdict(header.charger),
        "operator": header.operator,
        "bench": header.bench_url,
        "board": plain(header.board),
        "calibration": plain(header.calibration),
        "profile": {"name": header.profile, "hash": header.profile_hash},
        "plan": {"name": header.plan, "hash": header.plan_hash},
        "versions": plain(header.versions),
        "started": _moment(header.started),
        "finished": None if record.finished is None else _moment(record.finished),
        "interrupted": record.interrupted,
        "planned": list(header.planned),
        "left_out": [{"check": check, "why": why} for check, why in header.left_out],
        "checks": [_check(result, budget) for result in record.checks],
        "make_safe": plain(record.make_safe),
        "captures": dict(record.capture_names),
        "captures_expired": {key: _moment(moment) for key, moment in record.expired},
        "origin": None if header.origin is None else _origin(header.origin),
        "followed_by": list(record.followed_by),
    }


def _origin(origin: Origin) -> dict[str, Any]:
    return {
        "how": origin.kind.value,
        "record": origin.record,
        "sha256": origin.sha256,
        "reason": origin.reason,
        "entered": _moment(origin.entered),
    }


def quantity_document(quantity: Quantity, *, budget: bool = False) -> dict[str, Any]:
    """Value, expanded uncertainty (95 %), coverage factor, degrees of freedom, unit."""
    document: dict[str, Any] = {
        "value": quantity.value,
        "expanded_uncertainty": quantity.expanded(),
        "coverage_factor": quantity.coverage_factor(),
        "degrees_of_freedom": None if math.isinf(quantity.dof) else quantity.dof,
        "unit": quantity.unit,
    }
    if budget:
        document["method"] = quantity.method
        document["budget"] = quantity.budget_lines()
    return document


def limit_document(limit: Limit) -> dict[str, Any]:
    """A limit with its source and the rule it is applied by."""
    return {
        "low": limit.low,
        "high": limit.high,
        "unit": limit.unit,
        "profile": limit.profile,
        "clause": limit.clause,
        "rule": limit.rule_text,
        "confidence": limit.confidence,
    }


def deciding(result: CheckResult) -> Judgement | None:
    """The judgement that made the check's verdict: the first that says the same."""
    same = (one for one in result.judgements if one.verdict is result.verdict)
    return next(same, result.judgements[0] if result.judgements else None)


def _check(result: CheckResult, budget: bool) -> dict[str, Any]:
    decided = deciding(result)
    return {
        "check": result.check,
        "title": result.title,
        "role": result.role.value,
        "verdict": result.verdict.value,
        "why": result.why,
        "attempt": result.attempt,
        "quantities": {
            one.name: quantity_document(one, budget=budget) for one in result.quantities
        },
        "limit": None if decided is None else limit_document(decided.limit),
        "judgements": [_judgement(one) for one in result.judgements],
        "observations": plain(result.observations),
        "captures": list(result.captures),
        "start_tick": result.start_tick,
        "end_tick": result.end_tick,
    }


def _judgement(judgement: Judgement) -> dict[str, Any]:
    quantity = judgement.quantity
    return {
        "quantity": None if quantity is None else quantity.name,
        "value": None if quantity is None else quantity_document(quantity),
        "limit": limit_document(judgement.limit),
        "verdict": judgement.verdict.value,
        "why": judgement.why,
        "conformance_probability": judgement.conformance_probability,
    }


def _moment(moment: datetime) -> str:
    return moment.astimezone(UTC).isoformat(timespec="milliseconds").replace("+00:00", "Z")


def list_document(pages: Iterable[Iterable[RunSummary]]) -> dict[str, Any]:
    """A list of runs in plain values, schema ``rungbench.records/1``."""
    return {
        "schema": "rungbench.records/1",
        "records": [_line(one) for page in pages for one in page],
    }


def _line(one: RunSummary) -> dict[str, Any]:
    return {
        "record": one.run_id,
        "simulated": one.simulated,
        "verdict": one.verdict.value,
        "started": _moment(one.started),
        "finished": None if one.finished is None else _moment(one.finished),
        "interrupted": one.interrupted,
        "maker": one.maker,
        "model": one.model,
        "serial": one.serial,
        "plan": one.plan,
        "profile": one.profile,
        "operator": one.operator,
        "follows": one.follows,
        "how": one.how,
    }
