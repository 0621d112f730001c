"""How the simulated charger tells what is plugged in, and what it then offers.

The charger's own knowledge: its thresholds and formulas are kept apart from
those that judge it, so that one mistake cannot hide another.
"""

import math
from dataclasses import dataclass

from rungbench.simulated.traits import Traits

_DIODE_BORDER_V = -10.0
# Borders between the codes of IEC 61851-1:2017 Table B.2, at geometric midpoints of our own.
_SHORTED_OHM = 60.0
_CODES = ((148.0, "63"), (387.0, "32"), (1010.0, "20"), (3300.0, "13"))
FILTER_S = 0.002


@dataclass(frozen=True, slots=True)
class Seen:
    """What stands at the charger's contacts: plateaus, the return, the proximity resistor."""

    high_v: float
    low_v: float
    return_closed: bool = True
    cable_ohm: float = math.inf


@dataclass(frozen=True, slots=True)
class Vehicle:
    """What the charger makes of it."""

    state: str
    diode: bool
    return_closed: bool
    cable_ohm: float


def recognise(seen: Seen, traits: Traits) -> Vehicle:
    """State by the high plateau and the charger's own borders; diode by the low plateau.

    The usual borders are the midpoints between the windows: common practice, no source.
    """
    borders = (
        (traits.border_ab_v, "A"),
        (traits.border_bc_v, "B"),
        (traits.border_cd_v, "C"),
        (traits.border_de_v, "D"),
    )
    shift_v = traits.high_threshold_shift_v
    state = next((word for border, word in borders if seen.high_v > border + shift_v), "E")
    return Vehicle(state, seen.low_v < _DIODE_BORDER_V, seen.return_closed, seen.cable_ohm)


def cable_current(cable_ohm: float, traits: Traits) -> float | None:
    """Current in amperes that a plug's resistor allows to this charger; None: no plug to it.

    Infinite where it takes a plug without a known code for one that is good for everything.
    """
    if cable_ohm < _SHORTED_OHM:
        return math.inf if traits.offers_shorted else None
    code = next((code for border, code in _CODES if cable_ohm < border), None)
    if code is None:
        return math.inf if traits.offers_without_code else None
    taken = {
        "13": traits.cable_13_a,
        "20": traits.cable_20_a,
        "32": traits.cable_32_a,
        "63": traits.cable_63_a,
    }
    return taken[code]


def duty_of(current_a: float) -> float:
    """Part of the period that offers a current."""
    percent = current_a / 0.6 if current_a <= 51.0 else current_a / 2.5 + 64.0
    return percent / 100.0


class Filter:
    """Takes a change for real once it has lasted; remembers when it began."""

    def __init__(self, first: Vehicle) -> None:
        self.accepted = first
        self._raw = first
        self._since = 0.0
        self._left: float | None = None

    @property
    def due(self) -> float:
        """When the pending change will have lasted, or infinity."""
        return (
            math.inf
            if self._raw == self.accepted and self._left is None
            else (self._since + FILTER_S)
        )

    def see(self, time: float, raw: Vehicle) -> None:
        """Take note of what stands there now."""
        if raw == self._raw:
            return
        if self._left is None:
            self._left = time
        self._raw, self._since = raw, time

    def settle(self) -> float | None:
        """At `due`: accept; returns when the old state was left, or None if it came back."""
        left, self._left = self._left, None
        if self._raw == self.accepted or left is None:
            return None
        self.accepted = self._raw
        return left
