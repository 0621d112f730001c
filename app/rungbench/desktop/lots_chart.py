"""What a chart shows, worked out before anything is drawn; no Qt but the user's locale."""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Final

from rungbench.desktop.figures import number

_MOST_TICKS: Final = 6


@dataclass(frozen=True, slots=True)
class Axis:
    """A range with its ticks; `places` are decimals of their figures."""

    low: float
    high: float
    ticks: tuple[float, ...]
    places: int = 0
    title: str = ""

    def text(self, tick: float) -> str:
        """The figure at a tick."""
        return number(tick, self.places)


@dataclass(frozen=True, slots=True)
class Line:
    """A line across the chart (or upright, along the other axis) with its name at the end.

    An upright one has it at the top, or at the bottom if `low`.
    """

    value: float
    label: str
    colour: str = "faint"
    dashed: bool = True
    low: bool = False


@dataclass(frozen=True, slots=True)
class Point:
    """A value; `about` tells it in words, `key` is what it leads to, `half` a whisker's length.

    `label` stands beside it.
    """

    x: float
    y: float
    about: str = ""
    key: str = ""
    stands_out: bool = False
    half: float = 0.0
    label: str = ""


@dataclass(frozen=True, slots=True)
class Bar:
    """So many values between two edges."""

    low: float
    high: float
    count: int
    about: str = ""


@dataclass(frozen=True, slots=True)
class Curve:
    """Places joined by lines."""

    x: tuple[float, ...]
    y: tuple[float, ...]
    colour: str = "measured"
    dashed: bool = False


@dataclass(frozen=True, slots=True)
class Chart:
    """One chart; `notes` are sentences for below it and for those who do not see it.

    `joined` draws a thin line from point to point.
    """

    title: str
    x: Axis
    y: Axis
    notes: tuple[str, ...] = ()
    across: tuple[Line, ...] = ()
    upright: tuple[Line, ...] = ()
    bars: tuple[Bar, ...] = ()
    points: tuple[Point, ...] = ()
    curves: tuple[Curve, ...] = ()
    joined: bool = False


def axis(low: float, high: float, title: str = "", most: int = _MOST_TICKS) -> Axis:
    """An axis from `low` to `high` with up to `most` ticks at round figures.

    A range without any width is widened.

    Raises
    ------
    ValueError : a bound that is no number, or a range upside down.
    """
    if not (math.isfinite(low) and math.isfinite(high)) or low > high:
        raise ValueError("an axis goes from one number to a higher one")
    if high - low <= 1e-12 * max(abs(low), abs(high), 1e-300):
        half = 0.5 * abs(low) * 1e-3 or 0.5
        low, high = low - half, high + half
    step = _step((high - low) / most)
    first = math.ceil(low / step - 1e-9)
    last = math.floor(high / step + 1e-9)
    places = max(0, -math.floor(math.log10(step) + 1e-9))
    ticks = tuple(round(step * count, places + 1) for count in range(first, last + 1))
    return Axis(low, high, ticks, places, title)


def _step(least: float) -> float:
    """The smallest of 1, 2, 5 times a power of ten that is not below."""
    power = 10.0 ** math.floor(math.log10(least))
    return next(power * one for one in (1.0, 2.0, 5.0, 10.0) if power * one >= least * (1 - 1e-9))


def counting(last: int, title: str) -> Axis:
    """An axis of whole numbers from 1 on, with room on both sides."""
    step = max(1, round(_step(max(last, 1) / _MOST_TICKS)))
    ticks = (1, *range(step, last + 1, step)) if step > 1 else range(1, last + 1)
    return Axis(0.5, last + 0.5, tuple(float(one) for one in dict.fromkeys(ticks)), 0, title)


def span(values: Sequence[float], near: Iterable[float] = (), times: float = 3.0) -> Axis:
    """An axis over `values`, a little wider, that takes in what of `near` lies near enough.

    Something is near enough if the axis stays at most `times` as wide as the values need.
    """
    low, high = min(values), max(values)
    width = high - low or abs(low) * 1e-3 or 1.0
    for one in sorted(near, key=lambda place: max(low - place, place - high)):
        if max(high, one) - min(low, one) <= times * width:
            low, high = min(low, one), max(high, one)
    room = 0.06 * (high - low or width)
    return axis(low - room, high + room)


def inside(lines: Iterable[Line], where: Axis) -> tuple[Line, ...]:
    """Those lines that lie on an axis."""
    return tuple(line for line in lines if where.low <= line.value <= where.high)


def beyond(lines: Iterable[Line], where: Axis) -> str:
    """A sentence about lines that lie off an axis; empty without any."""
    away = [line.label for line in lines if not where.low <= line.value <= where.high]
    return f"Off the chart: {', '.join(away)}." if away else ""


def notes(*sentences: str) -> tuple[str, ...]:
    """Those that say something."""
    return tuple(filter(None, sentences))
