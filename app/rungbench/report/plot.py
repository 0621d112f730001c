"""A rectangle with two axes, and what is drawn in it: all of it lines, none of it pixels."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from rungbench.report.lines import FAINT
from rungbench.report.sheet import Page, plain

Floats = npt.NDArray[np.float64]

TRACE: Final = "#1a1a1a"
SPREAD: Final = "#bdbdbd"
ALLOWED: Final = "#cfe6f5"
ALLOWED_EDGE: Final = "#0072b2"
_GRID: Final = "#e2e2e2"
_FRAME: Final = "#808080"


@dataclass(frozen=True, slots=True)
class Axis:
    """Values from `low` to `high` along `length` points from `start`."""

    low: float
    high: float
    start: float
    length: float

    def at(self, value: float) -> float:
        """Where a value lies; beyond the ends it is held at them."""
        share = (value - self.low) / (self.high - self.low)
        return self.start + min(1.0, max(0.0, share)) * self.length


@dataclass(frozen=True, slots=True)
class Plot:
    """A plot on a page."""

    page: Page
    across: Axis
    up: Axis

    def window(self, x: tuple[float, float], y: tuple[float, float]) -> None:
        """What is allowed: values of x and y between two bounds each."""
        left, right = self.across.at(x[0]), self.across.at(x[1])
        bottom, top = self.up.at(y[0]), self.up.at(y[1])
        if right > left and top > bottom:
            size = (right - left, top - bottom)
            self.page.box(left, bottom, size, fill=ALLOWED, stroke=ALLOWED_EDGE, thin=0.4)

    def frame(self, x_ticks: Sequence[float], y_ticks: Sequence[float], *, label: bool) -> None:
        """Border, grid and numbers; those of the upward axis only with `label`."""
        left, bottom = self.across.start, self.up.start
        right, top = left + self.across.length, bottom + self.up.length
        for value in y_ticks:
            y = self.up.at(value)
            self.page.rule(left, y, (right, y), stroke=_GRID, thin=0.3)
            if label:
                self.page.right_text(left - 3.0, y - 2.2, _number(value))
        for value in x_ticks:
            x = self.across.at(value)
            self.page.rule(x, bottom, (x, top), stroke=_GRID, thin=0.3)
            self.page.centred_text(x, bottom - 8.0, _number(value))
        size = (self.across.length, self.up.length)
        self.page.box(left, bottom, size, stroke=_FRAME, thin=0.5)

    def curve(self, x: Floats, y: Floats, **ink: Any) -> None:
        """A line through points."""
        if x.size > 1:
            self.page.outline(self._points(x, y), **{"stroke": TRACE, "thin": 0.7, **ink})

    def band(self, x: Floats, low: Floats, high: Floats) -> None:
        """The area between two lines."""
        if x.size > 1:
            edge = self._points(x, high) + self._points(x[::-1], low[::-1])
            self.page.outline(edge, close=True, fill=SPREAD)

    def dots(self, x: Floats, y: Floats) -> None:
        """Small squares."""
        for left, bottom in self._points(x, y):
            self.page.box(left - 0.45, bottom - 0.45, (0.9, 0.9), fill=TRACE)

    def _points(self, x: Floats, y: Floats) -> list[tuple[float, float]]:
        pairs = zip(x.tolist(), y.tolist(), strict=True)
        return [(round(self.across.at(a), 2), round(self.up.at(b), 2)) for a, b in pairs]


def ticks(low: float, high: float, most: int = 5) -> tuple[float, ...]:
    """Round numbers from `low` to `high`, steps of 1, 2 or 5 times a power of ten."""
    if not low < high:
        return (low,)
    rough = (high - low) / most
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(one * power for one in (1.0, 2.0, 5.0, 10.0) if one * power >= rough)
    first, last = math.ceil(low / step), math.floor(high / step)
    return tuple(round(number * step, 12) for number in range(first, last + 1))


def _number(value: float) -> Any:
    text = f"{value:g}".replace("-", "−")
    return plain(text, 6.2, colour=FAINT)
