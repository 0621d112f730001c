"""Headers and checks as rows of the tables and back: no database in sight."""

from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass
from datetime import date
from enum import Enum
from typing import Any

from pilotsignal.judge import Judgement, Limit, Verdict
from pilotsignal.quantity import Quantity
from rungbench.archive.record import (
    ChargerIdentity,
    CheckResult,
    Derivation,
    Origin,
    Role,
    RunHeader,
    utc_now,
)
from rungbench.redact import without_password

Row = dict[str, Any]
# A row as it is read: its keys are the names of the columns.
Stored = Mapping[Any, Any]

_LIMIT_COLUMNS = ("low", "high", "unit", "profile", "clause", "rule", "confidence")
_CHARGER_COLUMNS = (
    "maker",
    "model",
    "serial",
    "rated_current_a",
    "set_current_a",
    "phases",
    "outlet",
    "notes",
)
_HEADER_COLUMNS = (
    "run_id",
    "simulated",
    "operator",
    "profile",
    "profile_hash",
    "plan",
    "plan_hash",
    "started",
)
_CHECK_COLUMNS = ("attempt", "title", "why", "start_tick", "end_tick")


def search_key(text: str) -> str:
    """What a search for a maker or a serial compares."""
    return text.strip().casefold()


def plain(value: Any) -> Any:
    """`value` as JSON holds it: mappings, lists, text, numbers; dates become text."""
    if isinstance(value, Mapping):
        return {str(key): plain(item) for key, item in value.items()}
    if isinstance(value, list | tuple | set | frozenset):
        return [plain(item) for item in value]
    if isinstance(value, Enum):
        return value.value
    return value.isoformat() if isinstance(value, date) else value


def header_row(header: RunHeader) -> Row:
    """Row of `runs`; a password in the bench's address stays out."""
    charger = header.charger
    return {
        **{name: getattr(header, name) for name in _HEADER_COLUMNS},
        **{name: getattr(charger, name) for name in _CHARGER_COLUMNS},
        "maker_key": search_key(charger.maker),
        "serial_key": search_key(charger.serial),
        "ventilation": charger.ventilation or None,
        "bench_url": without_password(header.bench_url),
        "board": plain(header.board),
        "calibration": plain(header.calibration),
        "versions": plain(header.versions),
        "left_out": [list(pair) for pair in header.left_out],
        "planned": list(header.planned),
    }


def header_of(row: Stored, origin: Origin | None = None) -> RunHeader:
    """Inverse of `header_row`; `origin` stands in a row of its own."""
    charger = {name: row[name] for name in _CHARGER_COLUMNS}
    return RunHeader(
        charger=ChargerIdentity(**charger, ventilation=row["ventilation"] or ""),
        **{name: row[name] for name in _HEADER_COLUMNS},
        **{name: row[name] for name in ("bench_url", "board", "calibration", "versions")},
        left_out=tuple((check, why) for check, why in row["left_out"]),
        planned=tuple(row["planned"]),
        origin=origin,
    )


def origin_row(run: int, origin: Origin) -> Row:
    """Row of `run_origins`."""
    return {"run": run, **asdict(origin), "kind": origin.kind.value}


def origin_of(row: Stored) -> Origin:
    """Inverse of `origin_row`."""
    names = ("record", "sha256", "reason", "entered")
    return Origin(Derivation(row["kind"]), **{name: row[name] for name in names})


def check_row(run: int, result: CheckResult) -> Row:
    """Row of `checks`."""
    return {
        **{name: getattr(result, name) for name in _CHECK_COLUMNS},
        "run": run,
        "check_id": result.check,
        "role": result.role.value,
        "verdict": result.verdict.value,
        "observations": plain(result.observations),
        "stored": utc_now(),
    }


@dataclass(frozen=True, slots=True)
class Measured:
    """Rows below one check: quantities, their budgets, judgements."""

    quantities: tuple[Row, ...]
    budgets: tuple[Row, ...]
    judgements: tuple[Row, ...]


def measured_rows(run: int, check: int, result: CheckResult) -> Measured:
    """Each quantity once: those of the result, then those that only a judgement holds."""
    every = list(result.quantities)
    for judgement in result.judgements:
        if judgement.quantity is not None and judgement.quantity not in every:
            every.append(judgement.quantity)
    listed = len(result.quantities)
    return Measured(
        tuple(
            {"check": check, "position": at, "run": run, "listed": at < listed, **_number(quantity)}
            for at, quantity in enumerate(every)
        ),
        tuple(
            {"check": check, "position": at, "rows": [row.as_dict() for row in quantity.rows]}
            for at, quantity in enumerate(every)
        ),
        tuple(
            {"check": check, "position": at, **_judgement_row(judgement, every)}
            for at, judgement in enumerate(result.judgements)
        ),
    )


def _number(quantity: Quantity) -> Row:
    numbers = quantity.as_dict()
    del numbers["rows"]
    return numbers


def _judgement_row(judgement: Judgement, every: list[Quantity]) -> Row:
    limit = judgement.limit.as_dict()
    quantity = judgement.quantity
    return {
        "verdict": judgement.verdict.value,
        "why": judgement.why,
        "quantity": None if quantity is None else every.index(quantity),
        "conformance_probability": judgement.conformance_probability,
        **{name: limit.pop(name) for name in _LIMIT_COLUMNS},
        "limit_more": limit,
    }


@dataclass(frozen=True, slots=True)
class CheckRows:
    """All rows of one check, as read back."""

    check: Stored
    quantities: tuple[Stored, ...]
    judgements: tuple[Stored, ...]
    captures: tuple[str, ...]


def check_of(rows: CheckRows) -> CheckResult:
    """The result as it was added."""
    row = rows.check
    every = [_quantity_of(quantity) for quantity in rows.quantities]
    listed = sum(bool(quantity["listed"]) for quantity in rows.quantities)
    return CheckResult(
        check=row["check_id"],
        role=Role(row["role"]),
        verdict=Verdict(row["verdict"]),
        judgements=tuple(_judgements_of(rows.judgements, every)),
        quantities=tuple(every[:listed]),
        observations=row["observations"],
        captures=rows.captures,
        **{name: row[name] for name in _CHECK_COLUMNS},
    )


def _quantity_of(row: Stored) -> Quantity:
    names = ("name", "value", "unit", "u", "dof", "method", "rows")
    return Quantity.from_dict({name: row[name] for name in names})


def _judgements_of(rows: Iterable[Stored], every: list[Quantity]) -> Iterable[Judgement]:
    for row in rows:
        limit = {**row["limit_more"], **{name: row[name] for name in _LIMIT_COLUMNS}}
        at = row["quantity"]
        yield Judgement(
            Verdict(row["verdict"]),
            row["why"],
            None if at is None else every[at],
            Limit.from_dict(limit),
            row["conformance_probability"],
        )
