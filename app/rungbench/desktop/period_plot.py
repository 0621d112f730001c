"""One period in equivalent time, the limits behind it, the newest samples as they came."""

from dataclasses import replace
from typing import Any, Final

import numpy as np

from pilotsignal.errors import QuantityError
from pilotsignal.standard import Profile, nominal_width_us
from rungbench.desktop.history import laid_by_period
from rungbench.desktop.judging import Measured
from rungbench.desktop.plots import FixedPlot, Frame
from rungbench.desktop.snapshots import Floats, Stretch
from rungbench.desktop.theme import Theme

_X: Final = (-60.0, 1060.0)
_FRAME: Final = Frame(
    "One period in equivalent time, V over µs after the rising edge",
    x=_X,
    y=(-13.5, 13.5),
    x_ticks=(0, 200, 400, 600, 800, 1000),
    y_ticks=(-12, -9, -6, -3, 0, 3, 6, 9, 12),
    x_unit="µs",
    y_unit="V",
)
_MOST: Final = 3000  # points of the curve; more than the pixels that it crosses


class PeriodPlot(FixedPlot):
    """The limits are those of the state that was recognised, and of the set current."""

    def __init__(self, theme: Theme, profile: Profile) -> None:
        super().__init__(theme, _FRAME)
        self._profile = profile
        self._high, self._low, self._width = (self.box("allowed") for _ in range(3))
        self._raw = self.dots("raw", 2.0)
        self._curve: Any = self.curve("measured")
        self.follow(self._curve)

    def show_raw(self, stretch: Stretch) -> None:
        """The newest samples."""
        x, y = laid_by_period(stretch)
        inside = (x >= _X[0]) & (x <= _X[1])
        if x.size:
            self._raw.set_points(x[inside], y[inside])

    def clear_raw(self) -> None:
        """No samples."""
        self._raw.set_points(np.zeros(0), np.zeros(0))

    def show_measured(self, measured: Measured | None, set_current_a: float | None) -> None:
        """The folded period with its limits, or nothing."""
        folded = measured.folded if measured is not None else None
        if folded is None or measured is None:
            self.draw(self._curve, np.zeros(0), np.zeros(0))
            for box in (self._high, self._low, self._width):
                box.hide()
            return
        self._fit(max(abs(folded.high_v.value), abs(folded.low_v.value)))
        x, y = _wrapped(folded.phase_us, folded.mean_v, folded.period_us)
        self.draw(self._curve, *decimated(x, y, _MOST))
        self._limits(measured, folded.period_us, set_current_a)

    def _fit(self, volts: float) -> None:
        """The usual range, or a wider one where a file goes beyond it."""
        frame = _FRAME
        if volts > -frame.y[0]:
            frame = replace(frame, y=(-1.1 * volts, 1.1 * volts))
        if self.wanted.y != frame.y:
            self.set_frame(frame)

    def _limits(self, measured: Measured, period_us: float, set_current_a: float | None) -> None:
        found = measured.found
        width = found.pulse_width_zero_us or found.pulse_width_mid_us
        for box in (self._high, self._low, self._width):
            box.hide()
        if width is None or len(found.state) != 1:
            return
        self._window(self._high, "high_level", found.state[0], (0.0, width.value))
        self._window(self._low, "low_level", found.state[0], (width.value, period_us))
        limit = self._profile.limit("pulse_width_error_us")
        if set_current_a is None or limit.low is None or limit.high is None:
            return
        try:
            nominal = nominal_width_us(set_current_a, period_us, self._profile)
        except QuantityError:
            return
        self.place_box(self._width, (nominal + limit.low, nominal + limit.high), self.frame.y)

    def _window(self, box: Any, key: str, state: str, x: tuple[float, float]) -> None:
        if not self._profile.has(key, state):
            return
        limit = self._profile.limit(key, state)
        if limit.low is not None and limit.high is not None:
            self.place_box(box, x, (limit.low, limit.high))


def _wrapped(phase: Floats, volts: Floats, period: float) -> tuple[Floats, Floats]:
    """The period, with a little of its neighbours, in rising order inside the plot."""
    x = np.concatenate([phase - period, phase, phase + period])
    y = np.concatenate([volts, volts, volts])
    inside = (x >= _X[0]) & (x <= _X[1])
    order = np.argsort(x[inside], kind="stable")
    return x[inside][order], y[inside][order]


def decimated(x: Floats, y: Floats, most: int) -> tuple[Floats, Floats]:
    """At most about `most` points: of each run of points the lowest and the highest, in order."""
    if x.size <= most:
        return x, y
    runs = most // 2
    size = x.size // runs
    x, y = x[: size * runs].reshape(runs, size), y[: size * runs].reshape(runs, size)
    rows = np.arange(runs)
    first = np.minimum(y.argmin(axis=1), y.argmax(axis=1))
    second = np.maximum(y.argmin(axis=1), y.argmax(axis=1))
    place = np.column_stack([first, second])
    return x[rows[:, None], place].ravel(), y[rows[:, None], place].ravel()
