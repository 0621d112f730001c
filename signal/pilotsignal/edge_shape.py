"""The shape of an edge as the pilot circuit makes it, with its derivatives.

Below the knee of the vehicle's diode the node relaxes with one time constant, above it with
another. Where they meet the diode's current begins from nothing, so that the slope is the same on
both sides (circuit of IEC 61851-1:2017 Annex A: source resistor, capacitance, diode and
load). One relaxation alone is the case of two equal constants.
"""

import math
from dataclasses import dataclass
from typing import NamedTuple

import numpy as np

from pilotsignal.timing import Floats

NAMES = ("start", "end", "delay", "after", "ratio", "knee")


class Shape(NamedTuple):
    """An edge from `start` to `end` (sample units); times in sample intervals.

    Parameters
    ----------
    delay : when the generator switches.
    after : logarithm of the time constant after the knee.
    ratio : logarithm of the constant before the knee over the one after it.
    knee : level at which one follows the other, between start and end.
    straight : a straight line from start to end instead, which takes the time whose logarithm
        `after` is; `ratio` and `knee` mean nothing then.
    """

    start: float
    end: float
    delay: float
    after: float
    ratio: float
    knee: float

    straight: bool = False

    @property
    def tau_after(self) -> float:
        """Time constant after the knee."""
        return math.exp(self.after)

    @property
    def tau_before(self) -> float:
        """Time constant before the knee."""
        return math.exp(self.after + self.ratio)

    @property
    def target(self) -> float:
        """Level that the edge would reach without the knee."""
        return self.knee + (self.end - self.knee) * math.exp(self.ratio)

    @property
    def corners(self) -> tuple[tuple[float, float], ...]:
        """Times at which the slope jumps, and by how much."""
        if self.straight:
            jump = (self.end - self.start) / self.tau_after
            return ((self.delay, jump), (self.delay + self.tau_after, -jump))
        return ((self.delay, (self.target - self.start) / self.tau_before),)

    @property
    def knee_time(self) -> float:
        """Time from the switching to the knee."""
        share = (self.start - self.target) / (self.knee - self.target)
        return self.tau_before * math.log(share)

    @property
    def sound(self) -> bool:
        """Whether the knee lies between start and end and all numbers are usable."""
        span = self.end - self.start
        if not (math.isfinite(span) and span != 0.0 and abs(self.after) < 40 > abs(self.ratio)):
            return False
        return 0.0 < (self.knee - self.start) / span < 1.0

    def crossing(self, level: float) -> float:
        """Time at which `level`, strictly between start and end, is passed."""
        if self.straight:
            share = (level - self.start) / (self.end - self.start)
            return self.delay + self.tau_after * share
        gain, after = math.exp(self.ratio), math.exp(self.after)
        target = self.knee + (self.end - self.knee) * gain
        if (level - self.start) / (self.knee - self.start) <= 1.0:
            share = (self.start - target) / (level - target)
            return self.delay + after * gain * math.log(share)
        before = after * gain * math.log((self.start - target) / (self.knee - target))
        share = (self.knee - self.end) / (level - self.end)
        return self.delay + before + after * math.log(share)

    def level(self, fraction: float) -> float:
        """Level at a fraction of the way: 0 is start, 1 is end."""
        return self.start + fraction * (self.end - self.start)

    def duration(self) -> float:
        """10 to 90 % time."""
        return self.crossing(self.level(0.9)) - self.crossing(self.level(0.1))


@dataclass(frozen=True, slots=True, eq=False)
class Drawn:
    """A shape at many times.

    Parameters
    ----------
    value, slope, bend : float64, shape (n,): value, first and second derivative by time.
    by : float64, shape (6, n): derivatives by the parameters in the order of `NAMES`.
    """

    value: Floats
    slope: Floats
    bend: Floats
    by: Floats


def draw(shape: Shape, time: Floats) -> Drawn:
    """Value and derivatives at `time`, shape (n,)."""
    if shape.straight:
        return _draw_line(shape, time)
    before, after, target = shape.tau_before, shape.tau_after, shape.target
    start, end, knee, knee_time = shape.start, shape.end, shape.knee, shape.knee_time
    since = time - shape.delay
    begun = since > 0.0
    late = since >= knee_time
    tau = np.where(late, after, before)
    run = np.maximum(np.where(late, since - knee_time, since), 0.0) / tau
    fade = np.exp(-run)
    goal, origin = np.where(late, end, target), np.where(late, knee, start)
    away = (origin - goal) * fade
    value = goal + away
    slope = np.where(begun, -away / tau, 0.0)
    bend = np.where(begun, away / tau**2, 0.0)
    rise = 1.0 - fade
    stretch = away * run  # by the logarithm of the time constant in force
    # How the target and the instant of the knee go with the parameters.
    gain = math.exp(shape.ratio)
    target_by = np.array([0.0, gain, 0.0, 0.0, (end - knee) * gain, 1.0 - gain])
    first, second = start - target, knee - target
    knee_by = -before * target_by * (1.0 / first - 1.0 / second)
    knee_by += [before / first, 0.0, 0.0, knee_time, knee_time, -before / second]
    early_rise = np.where(late, 0.0, np.where(begun, rise, 0.0))
    push = np.where(late, -slope, 0.0)
    by = target_by[:, None] * early_rise + knee_by[:, None] * push
    by[0] += np.where(late, 0.0, fade)
    by[1] += np.where(late, rise, 0.0)
    by[2] -= slope
    by[3] += stretch
    by[4] += np.where(late, 0.0, stretch)
    by[5] += np.where(late, fade, 0.0)
    return Drawn(value, slope, bend, by)


def trace(shape: Shape, time: Floats) -> tuple[Floats, Floats]:
    """Value and slope at `time`, shape (n,), without derivatives by the parameters."""
    if shape.straight:
        drawn = _draw_line(shape, time)
        return drawn.value, drawn.slope
    since = time - shape.delay
    late = since >= shape.knee_time
    tau = np.where(late, shape.tau_after, shape.tau_before)
    goal = np.where(late, shape.end, shape.target)
    origin = np.where(late, shape.knee, shape.start)
    fade = np.exp(-np.maximum(np.where(late, since - shape.knee_time, since), 0.0) / tau)
    away = (origin - goal) * fade
    return goal + away, np.where(since > 0.0, -away / tau, 0.0)


def _draw_line(shape: Shape, time: Floats) -> Drawn:
    span, duration = shape.end - shape.start, shape.tau_after
    since = (time - shape.delay) / duration
    share = np.clip(since, 0.0, 1.0)
    slope = np.where((since > 0.0) & (since < 1.0), span / duration, 0.0)
    none = np.zeros_like(time)
    by = np.array([1.0 - share, share, -slope, -slope * since * duration, none, none])
    return Drawn(shape.start + span * share, slope, none, by)
