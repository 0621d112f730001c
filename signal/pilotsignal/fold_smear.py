"""How far single edges lie beside one another in a fold: what smears it, in us."""

import math
from dataclasses import dataclass
from typing import Final

import numpy as np

from pilotsignal.capture import Capture
from pilotsignal.measure import PilotMeasurement
from pilotsignal.period_changes import EdgeTimes, Periods
from pilotsignal.quantity import Quantity
from pilotsignal.segments import Found, changes_of, edge_times
from pilotsignal.series import Series, recurrence, scatter
from pilotsignal.timing import Floats

_BLOCKS: Final = 48
_FEWEST: Final = 12  # periods from which a scatter can be told
_RARE: Final = 1.2  # total variation, in cells, of edges that samples hardly meet
_MOVING: Final = {
    "duty-step": ("fall",),
    "duty-drift": ("fall",),
    "frequency-step": ("rise", "fall"),
    "frequency-drift": ("rise", "fall"),
    "missing-samples": ("rise", "fall"),
}


@dataclass(frozen=True, slots=True)
class Smear:
    """Standard deviations in us of what moves edges against each other.

    Parameters
    ----------
    period_us : the period's uncertainty over the record.
    jitter_rise_us, jitter_fall_us : from period to period.
    wander_rise_us, wander_fall_us : slow or sudden changes that were recognised inside the record.
    """

    period_us: float
    jitter_rise_us: float
    jitter_fall_us: float
    wander_rise_us: float
    wander_fall_us: float

    @property
    def rise_us(self) -> float:
        """All of the rising edge."""
        return math.hypot(self.period_us, self.jitter_rise_us, self.wander_rise_us)

    @property
    def fall_us(self) -> float:
        """All of the falling edge."""
        return math.hypot(self.period_us, self.jitter_fall_us, self.wander_fall_us)

    def of(self, name: str) -> float:
        """Of ``rise`` or ``fall``."""
        return self.rise_us if name == "rise" else self.fall_us

    def why(self, name: str) -> str:
        """The largest part, with its figure."""
        rising = name == "rise"
        parts = {
            "uncertainty of the period": self.period_us,
            "jitter": self.jitter_rise_us if rising else self.jitter_fall_us,
            "changes inside the record": self.wander_rise_us if rising else self.wander_fall_us,
        }
        worst = max(parts, key=lambda part: parts[part])
        return f"{worst}: {parts[worst]:.3g} us"


def smear_of(capture: Capture, found: Found, measured: PilotMeasurement, period: float) -> Smear:
    """What smears a fold of a capture.

    Parameters
    ----------
    measured : of the same capture, with a frequency.
    period : of the fold, in sample intervals.
    """
    times = edge_times(capture, found)
    frequency = measured.frequency_hz
    relative = 0.0 if frequency is None else _of_the_fit(frequency) / frequency.value
    # Both ends of the record are off by half of it, evenly in between.
    doubt = relative * period * found.comb.cycles * times.unit_us / math.sqrt(12.0)
    periods = Periods.of(times)
    rise = _jitter(measured.period_jitter_us, periods.rise, found, times)
    if measured.period_jitter_us is not None:
        rise /= math.sqrt(2.0)  # of two edges
    width = _jitter(measured.width_jitter_us, periods.width, found, times)
    moved = {
        edge
        for change in changes_of(capture, found)
        for edge in _MOVING.get(change.code, ())
        if not change.reported
    }
    wander = {"rise": 0.0, "fall": 0.0}
    off = period - found.comb.period
    late = periods.rise.value - off * (periods.rise.cycle - 0.5 * found.comb.cycles)
    for edge, values in (("rise", late), ("fall", late + periods.width.value)):
        if edge in moved:
            wander[edge] = _wander(values) * times.unit_us
    return Smear(doubt, rise, math.hypot(rise, width), wander["rise"], wander["fall"])


def _jitter(told: Quantity | None, series: Series, found: Found, times: EdgeTimes) -> float:
    """Standard deviation in us of periods or widths, where it is seen at all.

    What was measured, if beyond its own uncertainty.  Where nothing was, the scatter of
    single edges by straight lines between samples, if well beyond what sampling and noise explain.
    """
    if told is not None:
        return told.value if told.value > told.expanded() else 0.0
    if series.value.size < _FEWEST:
        return 0.0
    seen = scatter(series)[0]
    # An edge lasts some two samples for each that lies in its middle half.
    lasts = 2.0 / times.variation
    noise = lasts * found.levels.noise / max(found.levels.swing, 1e-300)
    # Edges that come back to nearly their place meet the other sample in this share of cases.
    other = 0.5 * recurrence(series)[1] * series.edges * (0.5 * series.variation) ** 2
    explained = math.hypot(math.sqrt(other), 2.0 * noise)
    if times.variation > _RARE:  # hardly a sample lies on an edge: times are no finer than cells
        explained = max(explained, 0.25 * series.edges * series.variation)
    return seen * times.unit_us if seen > 1.5 * explained else 0.0


def _of_the_fit(frequency: Quantity) -> float:
    """Its uncertainty without the clock's, which all samples share, and changes, seen elsewhere."""
    other = ("timebase", "changes")
    rows = [row for row in frequency.rows if not row.id.startswith(other)]
    return math.sqrt(sum(row.contribution**2 for row in rows))


def _wander(values: Floats) -> float:
    """Standard deviation of means over parts of the record."""
    parts = np.array_split(values, min(_BLOCKS, values.size))
    return float(np.std([float(np.mean(part)) for part in parts]))
