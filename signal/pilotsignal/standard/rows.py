"""Rows of a profile, and how they are read from a table without guessing.

Every complaint names the file, the table and the key.
"""

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any, Final, NoReturn

from pilotsignal.errors import ProfileError
from pilotsignal.limit import CONFIDENCES

_INTERVAL: Final = re.compile(r"\s*([\[(])\s*([^,\s]+)\s*,\s*([^,\s]+)\s*([\])])\s*")


@dataclass(frozen=True, slots=True)
class Interval:
    """Numbers from `low` to `high`; each end belongs to it or not."""

    low: float
    high: float
    low_in: bool
    high_in: bool

    def __contains__(self, value: float) -> bool:
        """Whether `value` lies inside, exactly as the brackets say; NaN never does."""
        above = value >= self.low if self.low_in else value > self.low
        below = value <= self.high if self.high_in else value < self.high
        return above and below

    def __str__(self) -> str:
        left, right = "[" if self.low_in else "(", "]" if self.high_in else ")"
        return f"{left}{self.low:g}, {self.high:g}{right}"

    def before(self, other: "Interval") -> bool:
        """Whether all of it lies below `other`."""
        touching = self.high == other.low and not (self.high_in and other.low_in)
        return self.high < other.low or touching


@dataclass(frozen=True, slots=True)
class Source:
    """Where a row comes from: edition with clause, and how well that is confirmed."""

    clause: str
    confidence: str


@dataclass(frozen=True, slots=True)
class DutyBand:
    """Duties in percent that mean the same: ``slope * (duty - zero)`` or `current_a` amperes."""

    duty: Interval
    kind: str
    text: str
    source: Source
    current_a: float | None = None
    slope: float = 0.0
    zero: float = 0.0


@dataclass(frozen=True, slots=True)
class CurrentBand:
    """Currents in amperes shown as ``current / slope + zero`` percent."""

    current: Interval
    slope: float
    zero: float
    source: Source


@dataclass(frozen=True, slots=True)
class SpecialDuty:
    """A duty in percent that stands for no current."""

    duty: float
    text: str
    source: Source


@dataclass(frozen=True, slots=True)
class ContactBand:
    """Resistances (ohm) or voltages (V) at the proximity contact that mean the same."""

    quantity: str
    band: Interval
    kind: str
    text: str
    source: Source
    nominal: float | None = None
    current_a: float | None = None
    one_phase_a: float | None = None


@dataclass(frozen=True, slots=True)
class Window:
    """Voltages from `low` to `high`, ends included, that are read as one state."""

    low: float
    high: float
    source: Source

    def __contains__(self, volts: float) -> bool:
        return self.low <= volts <= self.high


@dataclass(frozen=True, slots=True)
class Part:
    """A resistor or diode drop that the edition names, with its tolerance."""

    low: float
    nominal: float
    high: float
    unit: str
    source: Source


@dataclass(slots=True)
class Table:
    """One table of a file while it is being read; every key must be asked for once."""

    file: str
    name: str
    entries: Mapping[str, Any]
    edition: str
    _asked: set[str] = field(default_factory=set)

    def fail(self, key: str, problem: str) -> NoReturn:
        """Raise `ProfileError` with file, table and key."""
        raise ProfileError(f"{self.file}, table {self.name}, key {key!r}: {problem}.")

    def number(self, key: str) -> float:
        """A finite number that must be there."""
        value = self.maybe_number(key)
        if value is None:
            self.fail(key, "it is missing; add a number")
        return value

    def maybe_number(self, key: str) -> float | None:
        """A finite number, or ``None`` if the key is absent."""
        value = self._take(key)
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            self.fail(key, f"{value!r} is not a number; write one without quotes")
        if not math.isfinite(value):
            self.fail(key, f"{value} cannot be used; leave the key out where there is no bound")
        return float(value)

    def text(self, key: str) -> str:
        """Text that must be there."""
        value = self.maybe_text(key)
        if not value:
            self.fail(key, "it is missing or empty; add a text in quotes")
        return value

    def maybe_text(self, key: str, default: str = "") -> str:
        """Text, or `default`."""
        value = self._take(key)
        if value is None:
            return default
        if not isinstance(value, str):
            self.fail(key, f"{value!r} is not a text; put it in quotes")
        return value.strip()

    def flag(self, key: str, default: bool) -> bool:
        """``true`` or ``false``."""
        value = self._take(key)
        if value is None:
            return default
        if not isinstance(value, bool):
            self.fail(key, f"{value!r} is neither true nor false")
        return value

    def choice(self, key: str, allowed: tuple[str, ...], default: str = "") -> str:
        """One of `allowed`."""
        value = self.maybe_text(key, default)
        if value not in allowed:
            self.fail(key, f"{value!r} is none of {', '.join(allowed)}")
        return value

    def interval(self, key: str) -> Interval:
        """An interval such as ``[8, 10)``."""
        written = self.text(key)
        match = _INTERVAL.fullmatch(written)
        if match is None:
            self.fail(key, f"{written!r} is not an interval; write it like '[8, 10)'")
        try:
            low, high = float(match[2]), float(match[3])
        except ValueError:
            self.fail(key, f"{written!r} has an end that is not a number")
        if not low < high:
            self.fail(key, f"{written!r} does not rise from left to right")
        return Interval(low, high, match[1] == "[", match[4] == "]")

    def source(self) -> Source:
        """Clause and confidence, which every row has; `edition` if it is another one."""
        edition = self.maybe_text("edition") or self.edition
        clause = f"{edition}, {self.text('clause')}"
        return Source(clause, self.choice("confidence", CONFIDENCES))

    def finish(self) -> None:
        """Refuse keys that nobody asked for: a misspelt bound must not vanish."""
        for key in self.entries:
            if key not in self._asked:
                known = ", ".join(sorted(self._asked))
                self.fail(key, f"it is not known here; the keys are {known}")

    def _take(self, key: str) -> Any:
        self._asked.add(key)
        return self.entries.get(key)
