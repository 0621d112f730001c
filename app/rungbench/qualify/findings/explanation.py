"""An explanation: what may be wrong, why one thinks so, what to measure next."""

from collections.abc import Callable
from dataclasses import asdict, dataclass
from enum import IntEnum
from typing import Any

from rungbench.qualify.findings.facts import Facts


class Weight(IntEnum):
    """How much the evidence says for an explanation."""

    HINT = 1
    """One thing fits, and others would fit it too."""
    LIKELY = 2
    """Several things fit, or one that little else explains."""
    STRONG = 3
    """What was seen is the thing itself."""


@dataclass(frozen=True, slots=True)
class Explanation:
    """One explanation with its evidence; never without.

    Raises
    ------
    ValueError : no evidence.
    """

    cause: str
    weight: Weight
    where: str
    evidence: tuple[str, ...]
    next: str

    def __post_init__(self) -> None:
        if not self.evidence:
            raise ValueError(f"{self.cause}: an explanation needs evidence")

    def as_dict(self) -> dict[str, Any]:
        """Plain values for JSON."""
        return {**asdict(self), "weight": self.weight.name.lower(), "evidence": [*self.evidence]}


Rule = Callable[[Facts], Explanation | None]
