"""A limit, the rule it is applied by, and the probability of lying inside it.

References
----------
.. [1] JCGM 106:2012, 7.2 (conformance probability), 8.2 (simple acceptance), 8.3 (guard bands).
.. [2] ILAC-G8:09/2019, 4.2 and table 1: guard bands of 0, 0.83 U, U, 1.5 U and their risks.
"""

import math
from collections.abc import Mapping
from dataclasses import asdict, dataclass, replace
from enum import StrEnum
from typing import Any, Self

from pilotsignal.errors import ProfileError
from pilotsignal.quantity import Quantity

CONFIDENCES = ("H", "S", "M", "MEM")


class Rule(StrEnum):
    """How a limit and an uncertainty make a verdict; U is the expanded uncertainty (95 %)."""

    GUARDED = "guarded"
    """Inside by the guard band passes, outside by it fails, between is undecided."""
    SIMPLE = "simple acceptance"
    """The value alone decides: up to half of the verdicts at the limit itself are wrong."""
    REJECT_BEYOND_U = "reject only beyond U"
    """Inside passes, outside by no more than the guard band is undecided, beyond it fails."""


@dataclass(frozen=True, slots=True)
class Limit:
    """Bounds with their source and the rule to judge by.

    Parameters
    ----------
    low, high : bounds in `unit`, which belong to what is allowed; ``None``: no bound on that side.
    unit : unit of the bounds, that of the quantity judged.
    profile : name of the profile; with a hash if it is somebody's own.
    clause : edition and table or clause.
    rule : decision rule.
    confidence : ``H`` two or more independent texts or recomputed exactly, ``S`` several standards
        agree, ``M`` one text, ``MEM`` from memory: such a limit is shown and never decides.
    nominal : value aimed at, if the source names one.
    decides : ``False``: shown beside the value, never a verdict.
    can_pass : ``False``: being outside proves a failure, being inside proves nothing.
    guard_factor : guard band as a multiple of U.
    note : what to know about it, a sentence.

    Raises
    ------
    ProfileError : a bound that is not a number, bounds in the wrong order or none on a limit that
        decides, an unknown confidence, a negative guard band.
    """

    low: float | None
    high: float | None
    unit: str
    profile: str
    clause: str
    rule: Rule
    confidence: str
    nominal: float | None = None
    decides: bool = True
    can_pass: bool = True
    guard_factor: float = 1.0
    note: str = ""

    def __post_init__(self) -> None:
        for bound in (self.low, self.high, self.nominal):
            if bound is not None and not math.isfinite(bound):
                raise ProfileError(f"{bound} is not a number that a limit can have")
        if self.low is not None and self.high is not None and self.low > self.high:
            raise ProfileError(f"the lower limit {self.low} lies above the upper one {self.high}")
        if self.decides and self.low is None and self.high is None:
            raise ProfileError("a limit that decides needs a lower or an upper bound")
        if self.confidence not in CONFIDENCES:
            raise ProfileError(f"the confidence {self.confidence!r} is none of H, S, M, MEM")
        if not (math.isfinite(self.guard_factor) and self.guard_factor >= 0):
            raise ProfileError(f"a guard band of {self.guard_factor} U cannot be used")

    @property
    def deciding(self) -> bool:
        """Whether it may make a verdict: it is meant to, and it is not from memory."""
        return self.decides and self.confidence != "MEM"

    @property
    def rule_text(self) -> str:
        """The rule for people, with its guard band w."""
        if self.rule is Rule.SIMPLE:
            return str(self.rule)
        factor = "U" if self.guard_factor == 1.0 else f"{self.guard_factor:g} U"
        return f"{self.rule}, w = {factor}"

    def under(self, rule: Rule, guard_factor: float = 1.0) -> "Limit":
        """The same limit under another rule."""
        return replace(self, rule=rule, guard_factor=guard_factor)

    def guard_band(self, expanded: float) -> float:
        """Width of the guard band in `unit` for an expanded uncertainty; 0 if the rule has none."""
        return 0.0 if self.rule is Rule.SIMPLE else self.guard_factor * expanded

    def acceptance(self, expanded: float) -> tuple[float, float]:
        """Lowest and highest value that passes at this expanded uncertainty.

        An open side is infinite.  Where the guard bands meet the first lies above the second:
        nothing passes.
        """
        inward = self.guard_band(expanded) if self.rule is Rule.GUARDED else 0.0
        low = -math.inf if self.low is None else self.low + inward
        high = math.inf if self.high is None else self.high - inward
        return low, high

    def rejection(self, expanded: float) -> tuple[float, float]:
        """Values below the first or above the second fail; an open side is infinite."""
        outward = self.guard_band(expanded)
        low = -math.inf if self.low is None else self.low - outward
        high = math.inf if self.high is None else self.high + outward
        return low, high

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON and the archive."""
        return {**asdict(self), "rule": str(self.rule)}

    @classmethod
    def from_dict(cls, plain: Mapping[str, Any]) -> Self:
        """Inverse of `as_dict`."""
        return cls(**{**plain, "rule": Rule(plain["rule"])})


def conformance_probability(quantity: Quantity, limit: Limit) -> float | None:
    """Probability that the true value lies inside `limit`, given `quantity` [1]_.

    Normal for infinite degrees of freedom, else Student's t scaled by u.  ``None`` if the limit
    has no bound.  With no uncertainty at all it is 0 or 1.
    """
    if limit.low is None and limit.high is None:
        return None
    if quantity.u == 0.0:
        low, high = limit.rejection(0.0)
        return 1.0 if low <= quantity.value <= high else 0.0
    below = above = 0.0
    if limit.low is not None:
        below = _tail((quantity.value - limit.low) / quantity.u, quantity.dof)
    if limit.high is not None:
        above = _tail((limit.high - quantity.value) / quantity.u, quantity.dof)
    return max(0.0, 1.0 - below - above)


def _tail(distance: float, dof: float) -> float:
    """Probability of being off by more than `distance` standard uncertainties to one side."""
    if math.isinf(dof):
        return 0.5 * math.erfc(distance / math.sqrt(2.0))
    # Late: only a finite number of degrees of freedom needs it, and it takes long to import.
    from scipy.special import stdtr

    return float(stdtr(dof, -distance))
