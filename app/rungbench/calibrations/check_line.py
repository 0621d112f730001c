"""One line of a board's check of itself."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType
from typing import Final, Self

from pilotsignal.judge import Verdict

_NOTHING: Final[Mapping[str, float]] = MappingProxyType({})


class Line(StrEnum):
    """What is looked at."""

    GROUND = "converter ground"
    HALF = "half reference"
    INTERNAL = "internal reference"
    NOISE = "converter noise"
    LEVEL = "pilot contact"
    DITHER = "dither"
    CODES = "missing codes"
    PACE = "converter clock"
    LOST = "lost conversions"
    OVERRUNS = "overruns"
    RELAYS = "relay settings"
    CLOCK = "board clock"


@dataclass(frozen=True, slots=True)
class CheckLine:
    """What was found: a verdict, a text for people, and its figures by name with their unit."""

    line: Line
    verdict: Verdict
    text: str
    figures: Mapping[str, float] = field(default_factory=lambda: _NOTHING)

    @classmethod
    def sound(cls, line: Line, text: str, figures: Mapping[str, float] = _NOTHING) -> Self:
        """As it should be."""
        return cls(line, Verdict.PASS, text, figures)

    @classmethod
    def fault(cls, line: Line, text: str, figures: Mapping[str, float] = _NOTHING) -> Self:
        """Not as it should be: the bench cannot be relied on."""
        return cls(line, Verdict.BENCH_FAULT, text, figures)

    @classmethod
    def doubt(cls, line: Line, text: str, figures: Mapping[str, float] = _NOTHING) -> Self:
        """What was seen does not decide."""
        return cls(line, Verdict.UNDECIDED, text, figures)

    @classmethod
    def shown(cls, line: Line, text: str, figures: Mapping[str, float] = _NOTHING) -> Self:
        """Told, and no fault."""
        return cls(line, Verdict.OBSERVED, text, figures)

    @classmethod
    def left_out(cls, line: Line, why: str) -> Self:
        """Not looked at."""
        return cls(line, Verdict.NOT_RUN, why)

    @classmethod
    def nothing(cls, line: Line) -> Self:
        """The board did not send what it takes."""
        return cls(
            line, Verdict.BENCH_FAULT, "The board sent no samples of it; update its firmware."
        )
