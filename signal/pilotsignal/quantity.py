"""A value with its unit, its uncertainty and where the uncertainty comes from.

A quantity holds plain numbers, so that it can be stored and read back.  Budget
rows carry stable input ids: two quantities whose rows share an id share that
input, and their correlation can be rebuilt (see `budget.derive`).
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, Self

from pilotsignal.errors import QuantityError

_CONFIDENCE = 0.95
_LARGEST = 1e300  # so that no coverage factor takes it to infinity
_UNSTATED = "unstated-"


@dataclass(frozen=True, slots=True)
class BudgetRow:
    """One input of a quantity.

    Parameters
    ----------
    id : stable id of the input, such as ``gain@CAL-7``; the same id in another
        quantity is the same input.
    component : what it is, in words.
    kind : ``A`` (from statistics) or ``B`` (from anything else), GUM 4.2, 4.3.
    distribution : ``normal``, ``rectangular``, ``triangular`` or ``u-shaped``.
    u : standard uncertainty of the input, in `unit`, finite and not negative.
    unit : unit of the input.
    dof : degrees of freedom, at least 1, may be infinite.
    sensitivity : derivative of the quantity by the input, in the quantity's unit per `unit`.
    """

    id: str
    component: str
    kind: str
    distribution: str
    u: float
    unit: str
    dof: float
    sensitivity: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.u) and self.u >= 0 and math.isfinite(self.sensitivity)):
            raise QuantityError(f"budget row {self.id}: uncertainty {self.u} is not usable")
        if not self.dof >= 1:
            raise QuantityError(f"budget row {self.id}: {self.dof} degrees of freedom")

    @property
    def stated(self) -> bool:
        """False for an input whose uncertainty nobody knows: its `u` of zero is no statement."""
        return not self.id.startswith(_UNSTATED)

    @property
    def contribution(self) -> float:
        """Standard uncertainty that this input adds, in the quantity's unit."""
        return abs(self.sensitivity) * self.u

    def as_dict(self) -> dict[str, Any]:
        """Plain values; an infinite `dof` is ``None`` (JSON has no infinity)."""
        return {
            "id": self.id,
            "component": self.component,
            "kind": self.kind,
            "distribution": self.distribution,
            "u": self.u,
            "unit": self.unit,
            "dof": None if math.isinf(self.dof) else self.dof,
            "sensitivity": self.sensitivity,
        }

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> Self:
        """Inverse of `as_dict`."""
        dof = plain["dof"]
        return cls(**{**plain, "dof": math.inf if dof is None else dof})


def unstated(name: str, owner: str, component: str, unit: str, sensitivity: float) -> BudgetRow:
    """Row of an input whose uncertainty nobody stated.

    It adds nothing, and whatever is derived from it carries the mark on: `judge` decides nothing
    that rests on such a row.
    """
    row_id, text = f"{_UNSTATED}{name}@{owner}", f"{component}, not stated"
    return BudgetRow(row_id, text, "B", "normal", 0.0, unit, math.inf, sensitivity)


@dataclass(frozen=True, slots=True)
class Quantity:
    """A measured value.

    Parameters
    ----------
    name : stable name with the unit at its end, such as ``frequency_hz``.
    value : finite number in `unit`.
    unit : unit as printed, such as ``Hz``, ``%``, ``us``, ``V``, ``ohm``.
    u : combined standard uncertainty, in `unit`, finite and not negative.
    dof : effective degrees of freedom (Welch-Satterthwaite, GUM G.4), at least 1, may be infinite.
    method : how it was obtained, in a few words.
    rows : the budget.

    Raises
    ------
    QuantityError : NaN or infinite value or uncertainty: such a result is `None`
        with a notice, never a quantity.
    """

    name: str
    value: float
    unit: str
    u: float
    dof: float
    method: str
    rows: tuple[BudgetRow, ...] = ()

    def __post_init__(self) -> None:
        if not math.isfinite(self.value):
            raise QuantityError(f"{self.name}: {self.value} is not a result")
        if not 0 <= self.u <= _LARGEST:
            raise QuantityError(f"{self.name}: uncertainty {self.u} is not usable")
        if not self.dof >= 1:
            raise QuantityError(f"{self.name}: {self.dof} degrees of freedom")

    def coverage_factor(self) -> float:
        """Factor k for a 95 % interval from Student's t (GUM G.3)."""
        return _coverage_factor(self.dof)

    def expanded(self) -> float:
        """Half width of the 95 % interval, in `unit`."""
        return self.coverage_factor() * self.u

    def budget(self) -> tuple[BudgetRow, ...]:
        """The rows, largest contribution first."""
        return tuple(sorted(self.rows, key=lambda row: -row.contribution))

    def budget_lines(self) -> list[dict[str, Any]]:
        """`budget` as plain values for JSON, each row with its ``contribution``."""
        return [{**row.as_dict(), "contribution": row.contribution} for row in self.budget()]

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON and the archive, budget rows included."""
        return {
            "name": self.name,
            "value": self.value,
            "unit": self.unit,
            "u": self.u,
            "dof": None if math.isinf(self.dof) else self.dof,
            "method": self.method,
            "rows": [row.as_dict() for row in self.rows],
        }

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> Self:
        """Inverse of `as_dict`."""
        dof = plain["dof"]
        return cls(
            name=plain["name"],
            value=plain["value"],
            unit=plain["unit"],
            u=plain["u"],
            dof=math.inf if dof is None else dof,
            method=plain["method"],
            rows=tuple(BudgetRow.from_dict(row) for row in plain["rows"]),
        )


def _coverage_factor(dof: float) -> float:
    # Late: GTC takes half a second to import, and a quantity that is only read needs none of it.
    from pilotsignal.budget import coverage_factor

    return coverage_factor(dof, _CONFIDENCE)
