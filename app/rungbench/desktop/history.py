"""The last minutes in bins of a tenth of a second: lowest and highest of each; no Qt."""

from collections import deque
from dataclasses import dataclass
from typing import Final

import numpy as np

from pilotsignal.errors import QuantityError
from pilotsignal.standard import Profile, current_of_duty
from rungbench.desktop.snapshots import Floats, Stretch

SPAN_S: Final = 120.0
BIN_S: Final = 0.1
_BINS: Final = round(SPAN_S / BIN_S)
_MOST_MARKS: Final = 200
_SETTLED_US: Final = 30.0  # after an edge no level is read


class Strip:
    """One quantity over time, as a ring of bins."""

    def __init__(self) -> None:
        self._low: Floats = np.full(_BINS, np.nan)
        self._high: Floats = np.full(_BINS, np.nan)
        self._last = -1

    def add(self, at_s: float, values: Floats, since_s: float | None = None) -> None:
        """Values seen from `since_s` to `at_s`; bins that time has left are emptied."""
        self.reach(at_s)
        if not values.size:
            return
        last = int(at_s / BIN_S)
        first = last if since_s is None else min(last, int(since_s / BIN_S))
        places = np.arange(max(first, last - _BINS + 1), last + 1) % _BINS
        self._low[places] = np.fmin(self._low[places], values.min())
        self._high[places] = np.fmax(self._high[places], values.max())

    def reach(self, at_s: float) -> None:
        """Let time pass without values."""
        number = int(at_s / BIN_S)
        for passed in range(max(self._last + 1, number - _BINS + 1), number + 1):
            self._low[passed % _BINS] = self._high[passed % _BINS] = np.nan
        self._last = max(self._last, number)

    def curve(self, now_s: float) -> tuple[Floats, Floats]:
        """Seconds before now (negative) and values: lowest and highest of each bin in turn."""
        order = (np.arange(_BINS) + self._last + 1) % _BINS
        first = self._last - _BINS + 1
        times = (first + np.arange(_BINS) + 0.5) * BIN_S - now_s
        values = np.column_stack([self._low[order], self._high[order]]).ravel()
        return np.repeat(times, 2), values


@dataclass(frozen=True, slots=True)
class Mark:
    """Something that happened at `at_s` of board time."""

    at_s: float
    text: str
    number: int = 0


class History:
    """Strips of duty, advertised current, both levels, and marks."""

    def __init__(self, profile: Profile) -> None:
        self._profile = profile
        self.clear()

    def clear(self) -> None:
        """Begin anew: another bench."""
        self.now_s = 0.0
        self._count = 0
        self.duty, self.current = Strip(), Strip()
        self.high, self.low = Strip(), Strip()
        self.marks: deque[Mark] = deque(maxlen=_MOST_MARKS)

    def add(self, at_s: float, stretch: Stretch) -> None:
        """What a snapshot brought."""
        if at_s < self.now_s:
            self.clear()
        self.now_s = at_s
        pulses_s = float(stretch.pulses_s[0]) if stretch.pulses_s.size else at_s
        self.duty.add(at_s, stretch.duty_percent, pulses_s)
        self.current.add(at_s, self._currents(stretch.duty_percent), pulses_s)
        high, low = levels(stretch)
        samples_s = float(stretch.samples_s[0]) if stretch.samples_s.size else at_s
        self.high.add(at_s, high, samples_s)
        self.low.add(at_s, low, samples_s)
        for when, text in stretch.marks:
            self._count += 1
            self.marks.append(Mark(when, text, self._count))

    def recent_marks(self) -> tuple[Mark, ...]:
        """Marks that the strips still reach."""
        return tuple(mark for mark in self.marks if self.now_s - mark.at_s < SPAN_S)

    def _currents(self, duty: Floats) -> Floats:
        if not duty.size:
            return duty
        found = []
        for percent in (duty.min(), duty.max()):
            try:
                current = current_of_duty(min(100.0, max(0.0, float(percent))), self._profile)
            except QuantityError:
                continue
            if current.current_a is not None:
                found.append(current.current_a)
        return np.array(found)


def levels(stretch: Stretch) -> tuple[Floats, Floats]:
    """Median of what is settled high, and low: to look at, no measurement."""
    volts = stretch.volts
    if not volts.size:
        return volts, volts
    middle = 0.5 * (float(volts.min()) + float(volts.max()))
    if volts.max() - volts.min() < 2.0:
        one = np.array([np.median(volts)])
        return (one, np.zeros(0)) if one[0] > -5.0 else (np.zeros(0), one)
    high, low = volts[volts > middle], volts[volts <= middle]
    return np.array([np.median(high)]), np.array([np.median(low)])


def laid_by_period(stretch: Stretch, most: int = 24) -> tuple[Floats, Floats]:
    """Samples of the newest periods by their time after the rising edge, in µs.

    Of a steady pilot the newest millisecond is given.
    """
    times, volts = stretch.samples_s, stretch.volts
    rises, period = stretch.rises_s, stretch.period_s
    if not times.size:
        return times, volts
    if period is None or not rises.size:
        recent = times > times[-1] - 1e-3
        return (times[recent] - times[-1] + 1e-3) * 1e6, volts[recent]
    place = np.searchsorted(rises, times, side="right") - 1
    usable = (place >= max(0, rises.size - 1 - most)) & (place >= 0)
    times, volts, place = times[usable], volts[usable], place[usable]
    phase = (times - rises[place]) * 1e6
    inside = phase < 1.5e6 * period
    return phase[inside], volts[inside]
