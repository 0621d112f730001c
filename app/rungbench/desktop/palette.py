"""Colours: the Okabe-Ito palette, which colour-blind eyes tell apart, for light and dark.

Reference: M. Okabe, K. Ito, "Color Universal Design", 2008.  Where a colour carries text it is
darkened or lightened until the contrast is 4.5 to 1 (WCAG 2.1, 1.4.3).
"""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Final

_LIGHT: Final = {
    "paper": "#fbfaf7",
    "sheet": "#ffffff",
    "ink": "#1b1b1b",
    "faint": "#5d5d5d",
    "rule": "#c9c6be",
    "grid": "#e6e3db",
    "band": "#e9e6de",
    "allowed": "#cfe8de",
    "focus": "#0072b2",
    "measured": "#0072b2",
    "raw": "#b9c9d6",
    "presented": "#8a4a00",
    "pass": "#00724f",
    "fail": "#b24600",
    "undecided": "#0069a4",
    "bench fault": "#964370",
    "neutral": "#5d5d5d",
    "simulated": "#f0e442",
    "on simulated": "#1b1b1b",
    "alarm": "#a83200",
    "on alarm": "#ffffff",
    "armed": "#e69f00",
    "on armed": "#1b1b1b",
    "duty": "#0072b2",
    "current": "#00724f",
    "high": "#b24600",
    "low": "#7d3c62",
    "event": "#5d5d5d",
}
_DARK: Final = {
    "paper": "#17191b",
    "sheet": "#1f2225",
    "ink": "#ececea",
    "faint": "#a9adb0",
    "rule": "#474c50",
    "grid": "#2d3135",
    "band": "#2c3034",
    "allowed": "#1d4437",
    "focus": "#56b4e9",
    "measured": "#56b4e9",
    "raw": "#4b5f6e",
    "presented": "#f0b95a",
    "pass": "#2fc597",
    "fail": "#ff8a47",
    "undecided": "#6cbdf0",
    "bench fault": "#e29ac2",
    "neutral": "#a9adb0",
    "simulated": "#f0e442",
    "on simulated": "#1b1b1b",
    "alarm": "#d55e00",
    "on alarm": "#000000",
    "armed": "#e69f00",
    "on armed": "#1b1b1b",
    "duty": "#56b4e9",
    "current": "#2fc597",
    "high": "#ff8a47",
    "low": "#e29ac2",
    "event": "#a9adb0",
}
COLOURS: Final[Mapping[str, Mapping[str, str]]] = MappingProxyType(
    {"light": MappingProxyType(_LIGHT), "dark": MappingProxyType(_DARK)}
)

VERDICT_COLOURS: Final[Mapping[str, str]] = MappingProxyType(
    {
        "pass": "pass",
        "fail": "fail",
        "undecided": "undecided",
        "bench fault": "bench fault",
        "incomplete": "ink",
        "not run": "neutral",
        "observed": "neutral",
    }
)
"""The colour of each verdict by its name in `COLOURS`."""
