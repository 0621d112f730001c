"""From a quantity and a limit to a verdict.

`judge` is the only place that makes one.  It fails closed: no quantity, no
calibration, a limit from memory or one that is only shown never passes.

References
----------
.. [1] JCGM 106:2012, 8 (decision rules).
.. [2] ILAC-G8:09/2019, 4 (decision rules with guard bands).
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Any, Final, Self

from pilotsignal.calibration import TimeBase, VoltCalibration
from pilotsignal.errors import QuantityError
from pilotsignal.figures import bounds, figure
from pilotsignal.grounds import (
    NO_GROUNDS,
    Grounds,
    Need,
    budget_doubt,
    clock_doubt,
    need_of,
    time_base_doubt,
    volts_doubt,
)
from pilotsignal.limit import Limit, Rule, conformance_probability
from pilotsignal.quantity import Quantity

__all__ = [
    "Grounds",
    "Judgement",
    "Limit",
    "Rule",
    "Verdict",
    "conformance_probability",
    "judge",
    "judge_frequency",
    "judge_voltage",
    "withheld",
]


class Verdict(StrEnum):
    """What one check came to."""

    PASS = "pass"
    FAIL = "fail"
    UNDECIDED = "undecided"
    NOT_RUN = "not run"
    BENCH_FAULT = "bench fault"
    OBSERVED = "observed"


_WITHOUT_VALUE: Final = (Verdict.UNDECIDED, Verdict.NOT_RUN, Verdict.BENCH_FAULT)


@dataclass(frozen=True, slots=True)
class Judgement:
    """A verdict with what it rests on.

    Parameters
    ----------
    verdict : the verdict.
    why : a sentence for people.
    quantity : what was judged, or ``None``: there was nothing to judge.
    limit : what it was judged by.
    conformance_probability : JCGM 106, 7.2; ``None`` where it cannot be told.

    Raises
    ------
    QuantityError : a pass without a quantity, in another unit, outside its limit, or by a limit
        that may not decide.
    """

    verdict: Verdict
    why: str
    quantity: Quantity | None
    limit: Limit
    conformance_probability: float | None = None

    def __post_init__(self) -> None:
        if self.verdict is not Verdict.PASS:
            return
        if self.quantity is None:
            raise QuantityError("Nothing was measured, so nothing can pass.")
        low, high = self.limit.acceptance(0.0)
        inside = self.quantity.unit == self.limit.unit and low <= self.quantity.value <= high
        if not (inside and self.limit.deciding and self.limit.can_pass):
            raise QuantityError(f"{self.quantity.name} cannot pass by this limit.")

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON and the archive."""
        return {
            "verdict": str(self.verdict),
            "why": self.why,
            "quantity": None if self.quantity is None else self.quantity.as_dict(),
            "limit": self.limit.as_dict(),
            "conformance_probability": self.conformance_probability,
        }

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> Self:
        """Inverse of `as_dict`."""
        quantity = plain["quantity"]
        return cls(
            Verdict(plain["verdict"]),
            plain["why"],
            None if quantity is None else Quantity.from_dict(quantity),
            Limit.from_dict(plain["limit"]),
            plain["conformance_probability"],
        )


def withheld(limit: Limit, verdict: Verdict, why: str) -> Judgement:
    """Judgement of something that was not measured.

    Raises
    ------
    QuantityError : a verdict that needs a value.
    """
    if verdict not in _WITHOUT_VALUE:
        raise QuantityError(f"Without a value the verdict cannot be {verdict!s}.")
    return Judgement(verdict, why or "It was not measured.", None, limit)


def judge(
    quantity: Quantity | None,
    limit: Limit,
    *,
    missing_why: str = "",
    missing_verdict: Verdict = Verdict.NOT_RUN,
    grounds: Grounds = NO_GROUNDS,
) -> Judgement:
    """Judge `quantity` by `limit`, under the limit's own rule.

    Parameters
    ----------
    quantity : what was measured, in the limit's unit, or ``None``.
    missing_why : why it is ``None``, a sentence.
    missing_verdict : `NOT_RUN`, `UNDECIDED` or `BENCH_FAULT`, for ``None``.
    grounds : calibration and time base; a limit in V, ohm or pF is undecided without the first, a
        limit in Hz, s or ms without the second (see `pilotsignal.grounds`).

    Raises
    ------
    QuantityError : units differ, or `missing_verdict` is one that needs a value.

    Examples
    --------
    >>> limit = Limit(-5.0, 5.0, "us", "example", "clause 1", Rule.GUARDED, "H")
    >>> judge(Quantity("error_us", 1.2, "us", 0.1, math.inf, "edges"), limit).verdict.value
    'pass'
    """
    if quantity is None:
        return withheld(limit, missing_verdict, missing_why)
    if quantity.unit != limit.unit:
        raise QuantityError(
            f"{quantity.name} is in {quantity.unit} and its limit in {limit.unit}; use one unit."
        )
    probability = conformance_probability(quantity, limit)
    if not limit.deciding:
        return Judgement(Verdict.OBSERVED, _observed_why(limit), quantity, limit, probability)
    if doubt := _doubt(quantity, grounds):
        return Judgement(Verdict.UNDECIDED, doubt, quantity, limit)
    verdict, why = _decide(quantity, limit)
    if verdict is Verdict.PASS:
        verdict, why = _may_pass(verdict, why, limit, grounds)
    return Judgement(verdict, why, quantity, limit, probability)


def judge_voltage(
    quantity: Quantity | None,
    limit: Limit,
    calibration: VoltCalibration,
    on: date | None = None,
    missing_why: str = "",
) -> Judgement:
    """`judge` of a voltage measured through `calibration` on the day `on`."""
    grounds = Grounds(volts=calibration, on=on)
    return judge(quantity, limit, missing_why=missing_why, grounds=grounds)


def judge_frequency(
    quantity: Quantity | None,
    limit: Limit,
    time_base: TimeBase,
    on: date | None = None,
    missing_why: str = "",
) -> Judgement:
    """`judge` of a frequency measured by `time_base` on the day `on`."""
    grounds = Grounds(time_base=time_base, on=on)
    return judge(quantity, limit, missing_why=missing_why, grounds=grounds)


def _doubt(quantity: Quantity, grounds: Grounds) -> str:
    """Why neither a pass nor a fail would be sure, a sentence; empty if both may be."""
    need = need_of(quantity.unit)
    if need is Need.VOLTS and (doubt := volts_doubt(grounds)):
        return doubt
    if need in (Need.TIME_BASE, Need.CLOCK) and (doubt := clock_doubt(quantity, grounds)):
        return doubt
    return budget_doubt(quantity, grounds)


def _may_pass(verdict: Verdict, why: str, limit: Limit, grounds: Grounds) -> tuple[Verdict, str]:
    """Take a pass back where it would prove nothing."""
    if not limit.can_pass:
        return Verdict.OBSERVED, f"{why} That alone does not prove it. {limit.note}".strip()
    if need_of(limit.unit) is Need.TIME_BASE and (doubt := time_base_doubt(grounds)):
        return Verdict.UNDECIDED, doubt
    return verdict, why


def _decide(quantity: Quantity, limit: Limit) -> tuple[Verdict, str]:
    expanded = quantity.expanded()
    told = figure(quantity.value, expanded, quantity.unit)
    room = bounds(limit.low, limit.high, limit.unit)
    low, high = limit.acceptance(expanded)
    if low <= quantity.value <= high:
        return Verdict.PASS, f"{told} lies inside {room}."
    low, high = limit.rejection(expanded)
    if quantity.value < low or quantity.value > high:
        return Verdict.FAIL, f"{told} lies outside {room}."
    return (
        Verdict.UNDECIDED,
        f"{told} is too close to {room} for its uncertainty.",
    )


def _observed_why(limit: Limit) -> str:
    if limit.confidence == "MEM":
        return "The limit is from memory and unconfirmed; it is shown and does not decide."
    if limit.low is None and limit.high is None:
        return f"There is no limit. {limit.note}".strip()
    return f"The limit is shown and does not decide. {limit.note}".strip()
