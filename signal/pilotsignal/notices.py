"""Remarks that travel with a measurement: a stable code and a sentence."""

from dataclasses import dataclass
from typing import Final

CODES: Final = frozenset(
    {
        "no-pwm",
        "too-few-periods",
        "coherent-sampling",
        "edges-unresolved",
        "clipped",
        "outliers",
        "not-periodic",
        "hum",
        "missing-samples",
        "inverted",
        "low-contrast",
        "coarse-voltage",
        "uncalibrated",
        "not-pilot",
        "two-currents",
        "duty-step",
        "duty-drift",
        "frequency-step",
        "frequency-drift",
        "level-step",
        "level-drift",
        "noise-burst",
        "pwm-pause",
    }
)


@dataclass(frozen=True, slots=True)
class Notice:
    """One remark.

    Parameters
    ----------
    code : one of `CODES`, for programs.
    text : a sentence for people, with the figures.

    Raises
    ------
    ValueError : a code that is not listed.
    """

    code: str
    text: str

    def __post_init__(self) -> None:
        if self.code not in CODES:
            raise ValueError(f"unknown notice code {self.code!r}")
