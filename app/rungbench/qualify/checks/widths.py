"""What the edges of a record tell about the width of the pulses, and when it changes."""

from collections.abc import Iterable
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from pilotsignal.response import Instant, Pulses, pulses
from pilotsignal.standard import DutyKind, Profile, current_of_duty
from rungbench.standin.record import BoardRecord

# Each ampere of the set current moves the pulse by 16.7 us; 3 us are no ampere, and no jitter.
MOVED_TICKS = 48.0
_FEWEST = 8
# Of so many neighbours the middle one counts: a spike makes one odd pulse, or two.
_NEIGHBOURS = 5


def duty_percent(record: BoardRecord) -> float | None:
    """High time over period, in percent, by the middle pulse; ``None`` without pulses.

    To tell what a charger asks for; it is no measurement.
    """
    found = pulses(record.edges)
    if found.rise.size < _FEWEST:
        return None
    period = float(np.median(np.diff(found.rise)))
    return min(100.0, 100.0 * float(np.median(found.width)) / period)


def asks_digital(record: BoardRecord, profile: Profile) -> bool:
    """Whether the pulses ask for digital communication, so that no current is offered."""
    duty = duty_percent(record)
    return duty is not None and current_of_duty(duty, profile).kind is DutyKind.DIGITAL


def changes(records: Iterable[BoardRecord]) -> tuple[Instant, ...]:
    """When the width went from one value to another, over records that follow one another.

    A change is one that three of five neighbouring pulses share.
    """
    found = [pulses(record.edges) for record in records]
    whole = Pulses(
        np.concatenate([one.rise for one in found]) if found else np.empty(0),
        np.concatenate([one.width for one in found]) if found else np.empty(0),
    )
    if whole.width.size < _FEWEST:
        return ()
    return tuple(_instant(whole, at) for at in _steps(_smoothed(whole.width)))


def last_change(records: Iterable[BoardRecord], after: float) -> Instant | None:
    """The last change from tick `after` on, or ``None``: the width stayed."""
    later = [one for one in changes(records) if one.tick >= after]
    return later[-1] if later else None


def least_apart(records: Iterable[BoardRecord]) -> tuple[Instant, Instant] | None:
    """The two changes in a row that lie closest together; ``None`` where there are not two."""
    every = changes(records)
    return min(pairwise(every), key=lambda pair: pair[1].tick - pair[0].tick, default=None)


def _smoothed(widths: npt.NDArray[np.float64]) -> npt.NDArray[np.float64]:
    half = _NEIGHBOURS // 2
    padded = np.pad(widths, half, mode="edge")
    windows = np.lib.stride_tricks.sliding_window_view(padded, _NEIGHBOURS)
    return np.median(windows, axis=1)


def _steps(widths: npt.NDArray[np.float64]) -> list[int]:
    """Index of the first pulse of each new width."""
    found: list[int] = []
    start, level = 0, float(widths[0])
    while True:
        moved = np.abs(widths[start:] - level) > MOVED_TICKS
        if not moved.any():
            return found
        at = start + int(np.argmax(moved))
        found.append(at)
        start = min(at + _NEIGHBOURS, widths.size - 1)
        level = float(widths[start])


def _instant(whole: Pulses, at: int) -> Instant:
    """Between the last old pulse and the first new one."""
    half = 0.5 * float(whole.rise[at] - whole.rise[at - 1]) if at else 0.0
    return Instant(float(whole.rise[at]) - half, half)
