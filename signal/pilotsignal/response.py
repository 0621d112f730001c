"""Times between what the pilot shows and what another sense shows, with the doubt of both.

Nothing here knows which command was given when: a response begins where the
pilot itself leaves its old level, and each end is an interval in which the
true instant lies.
"""

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from pilotsignal.budget import clock_rows, combine, half_width
from pilotsignal.calibration import TimeBase
from pilotsignal.capture import Capture, EdgeRecord
from pilotsignal.errors import CaptureError
from pilotsignal.quantity import BudgetRow, Quantity

# A pilot edge at the contact settles within this time: 13 us for 10-90 % at the full capacitance
# (IEC 61851-1:2017, Table A.11), and some room.
_SETTLED_S = 20e-6
# Below this the pilot is in its low half, where the diode hides the ladder.
_LOW_HALF_V = -6.0
# Of this many settled samples most must be outside: a single spike starts nothing.
_WITNESSES = 3
# A relay's contact bounces for up to a millisecond (common practice, no source), so that its first
# touch may lie about half of that before what is seen.
_BOUNCE_S = 0.5e-3
_FIRST_TOUCH_S = 5e-3

Flags = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class Instant:
    """A point in time: the best estimate, and how far the true one may lie from it at most.

    Parameters
    ----------
    tick, doubt : in ticks; `doubt` not negative.
    bounce : further doubt in ticks, where a contact may have touched before it was seen.

    Raises
    ------
    CaptureError : numbers that are none, a negative doubt.
    """

    tick: float
    doubt: float
    bounce: float = 0.0

    def __post_init__(self) -> None:
        for number in (self.tick, self.doubt, self.bounce):
            if not math.isfinite(number):
                raise CaptureError("An instant is not a number; the board's clock is at fault.")
        if min(self.doubt, self.bounce) < 0:
            raise CaptureError("An instant ends before it begins; the board's clock is at fault.")


@dataclass(frozen=True, slots=True)
class Window:
    """Volts, both bounds included."""

    low_v: float
    high_v: float


def leaving(
    capture: Capture, window: Window, tick_s: float, not_before: float = -math.inf
) -> Instant | None:
    """Where the pilot's high level leaves `window`.

    Only settled samples of the high half count: while the pilot is low the diode hides the ladder,
    so that the doubt reaches from the last settled sample inside to the first one outside.
    Missing samples widen it in the same way.  A contact that bounces may have touched unseen while
    the pilot was low and be seen only later, which is a doubt of its own.

    Parameters
    ----------
    capture : with `first_tick`; its gaps are stepped over.
    window : what the old setting's high level lies in.
    tick_s : seconds per tick.
    not_before : tick before which leaving is not looked for.

    Returns
    -------
    Instant or None : ``None`` if it never leaves, or if no sample lay inside before it did.

    Raises
    ------
    CaptureError : the capture does not know its first tick.
    """
    if capture.first_tick is None:
        raise CaptureError("The capture carries no board time; record it through the board.")
    volts = capture.volts()
    ticks = _ticks(capture, tick_s)
    reach = max(1, math.ceil(_SETTLED_S / capture.interval_s))
    settled = _settled(volts, reach)
    inside = settled & (volts >= window.low_v) & (volts <= window.high_v)
    first = _first_outside(
        ticks[settled], ~inside[settled] & (ticks[settled] >= not_before), tick_s
    )
    if first is None:
        return None
    before = ticks[inside & (ticks < first)]
    if before.size == 0:
        return None
    half = 0.5 * (first - float(before[-1]))
    return Instant(first - half, half, _BOUNCE_S / tick_s)


def elapsed(
    name: str, unit: str, span: tuple[Instant, Instant], tick_s: float, clock: TimeBase
) -> Quantity:
    """Time from one instant to another, both doubts and the clock's in the budget.

    Parameters
    ----------
    name : name of the quantity, which is part of the row ids.
    unit : ``s`` or ``ms``.
    span : start and end.

    Raises
    ------
    KeyError : another unit.
    """
    scale = {"s": 1.0, "ms": 1e3}[unit] * tick_s / (1.0 + clock.correction)
    start, end = span
    value = (end.tick - start.tick) * scale
    bounce = start.bounce + end.bounce
    rows: list[BudgetRow] = [
        half_width(f"{name}-start", "doubt of the start", start.doubt * scale, unit),
        half_width(f"{name}-end", "doubt of the end", end.doubt * scale, unit),
        half_width(f"{name}-bounce", "contact that bounces", bounce * scale, unit),
    ]
    rows += clock_rows(clock, -value)
    return combine(name, unit, value, "pilot leaves its window to mains conduction", rows)


def _ticks(capture: Capture, tick_s: float) -> npt.NDArray[np.float64]:
    """Tick of each sample, shape (n,)."""
    index = np.arange(capture.samples.size, dtype=np.float64)
    for gap in capture.gaps:
        index[gap.index :] += gap.missing
    return float(capture.first_tick or 0) + index * (capture.interval_s / tick_s)


def _settled(volts: npt.NDArray[np.float64], reach: int) -> Flags:
    """Samples whose `reach` neighbours before and one after are in the high half as well."""
    high = volts > _LOW_HALF_V
    settled = high.copy()
    for step in range(1, reach + 1):
        settled[step:] &= high[:-step]
        settled[:step] = False
    settled[:-1] &= high[1:]
    settled[-1:] = False
    return settled


def _first_outside(ticks: npt.NDArray[np.float64], outside: Flags, tick_s: float) -> float | None:
    """Tick of the first sample outside of a change that lasts; settled samples only, in order.

    Of pulses as short as those of 5 % each may hold but one.
    """
    if ticks.size == 0:
        return None
    witnessed = np.convolve(outside, np.ones(_WITNESSES), mode="full")[_WITNESSES - 1 :]
    lasting = np.flatnonzero(outside & (witnessed * 2 > _WITNESSES))
    if lasting.size == 0:
        return None
    touches = ticks[outside & (ticks >= ticks[lasting[0]] - _FIRST_TOUCH_S / tick_s)]
    return float(touches[0])


@dataclass(frozen=True, slots=True, eq=False)
class Pulses:
    """High pulses of an edge record, read-only float64 arrays of shape (n,).

    Parameters
    ----------
    rise : tick of each rising edge.
    width : ticks to the falling edge that follows.
    """

    rise: npt.NDArray[np.float64]
    width: npt.NDArray[np.float64]


def pulses(edges: EdgeRecord) -> Pulses:
    """Whole high pulses: a rising edge and the falling one behind it, no gap between them."""
    whole = edges.rising[:-1] & ~edges.rising[1:]
    for gap in edges.gaps:
        if 0 < gap.index < edges.times.size:
            whole[gap.index - 1] = False
    at = np.flatnonzero(whole)
    rise = edges.times[at].astype(np.float64)
    width = edges.times[at + 1].astype(np.float64) - rise
    rise.flags.writeable = width.flags.writeable = False
    return Pulses(rise, width)


def new_width(found: Pulses, after: float, least: float) -> Instant | None:
    """Where the pulse width first leaves what it was before `after`, and stays away.

    Parameters
    ----------
    after : tick from which on a change is looked for.
    least : ticks by which a pulse must differ from the median of those before `after`.

    Returns
    -------
    Instant or None : between the last old pulse and the first new one; ``None`` if there is no
        pulse before `after`, or if the width does not leave.
    """
    old = found.width[found.rise < after]
    if old.size == 0:
        return None
    moved = (np.abs(found.width - np.median(old)) > least) & (found.rise >= after)
    # Three in a row: a spike makes one odd pulse, or two.
    lasting = moved[:-2] & moved[1:-1] & moved[2:]
    first = int(np.argmax(lasting)) if lasting.any() else None
    if first is None or first == 0:
        return None
    half = 0.5 * float(found.rise[first] - found.rise[first - 1])
    return Instant(float(found.rise[first]) - half, half)


def silence(edges: EdgeRecord, end: float, least: float) -> tuple[Instant, Instant, bool] | None:
    """The first stretch of at least `least` ticks without an edge, up to `end`.

    Returns
    -------
    (start, stop, ended) or None : the last edge before it, the first one after it (or `end`), and
        whether an edge ended it; each exact to the counter's resolution.  ``None`` if there is no
        such stretch behind an edge.
    """
    if edges.times.size == 0:
        return None
    times = edges.times.astype(np.float64)
    gaps = np.diff(np.append(times, end))
    long = np.flatnonzero(gaps >= least)
    if long.size == 0:
        return None
    at = int(long[0])
    doubt = float(edges.quantum_ticks)
    ended = at + 1 < times.size
    stop = float(times[at + 1]) if ended else end
    return Instant(float(times[at]), doubt), Instant(stop, doubt), ended
