"""Pictures of the help, drawn when a page is shown, in the theme's colours and size."""

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial
from typing import Final

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QImage, QPainter, QPen, QPolygonF

from pilotsignal.resistors import STATES
from pilotsignal.standard import load_profile
from rungbench.desktop.figures import number
from rungbench.desktop.help_circuit import draw_circuit, draw_divider
from rungbench.desktop.help_waves import (
    FAULTS,
    LEVEL_FAULTS,
    SPAN_US,
    Fault,
    Pilot,
    Wave,
    levels,
    wave,
)
from rungbench.desktop.scale_model import bands
from rungbench.desktop.theme import Theme

_WIDTH, _LEAST_WIDTH, _HEIGHT = 560, 480, 240
_LOW_HEIGHT: Final = {"divider": 130}
_LOW_V, _HIGH_V = -14.0, 14.0
_ALIGN: Final = Qt.AlignmentFlag
Draw = Callable[[QPainter, QRectF, Theme], None]


def names() -> tuple[str, ...]:
    """All pictures that there are."""
    return (*_DRAWN, *FAULTS, *LEVEL_FAULTS)


def picture(name: str, theme: Theme, room_px: float = math.inf) -> QImage | None:
    """A picture by its name in the pages, no wider than `room_px`; ``None`` where there is none.

    Where even the least width has no room it is drawn smaller as a whole.
    """
    if name in FAULTS:
        draw: Draw = partial(_draw_fault, fault=FAULTS[name]())
    elif name in LEVEL_FAULTS:
        draw = partial(_draw_levels, fault=LEVEL_FAULTS[name]())
    elif name in _DRAWN:
        draw = _DRAWN[name]
    else:
        return None
    width = max(theme.px(_LEAST_WIDTH), min(theme.px(_WIDTH), room_px))
    height = theme.px(_LOW_HEIGHT.get(name, _HEIGHT))
    share = min(1.0, max(0.25, room_px / width))
    size = QSize(int(width * share), int(height * share))
    image = QImage(size, QImage.Format.Format_RGB32)
    image.fill(theme.colour("sheet"))
    painter = QPainter(image)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.scale(share, share)
    painter.setFont(theme.font(0.9))
    try:
        draw(painter, QRectF(0.0, 0.0, width, height), theme)
    finally:
        painter.end()
    return image


@dataclass(frozen=True, slots=True)
class _Axes:
    """Where volts and microseconds lie in a picture."""

    box: QRectF
    low_v: float = _LOW_V
    high_v: float = _HIGH_V

    def x(self, us: float) -> float:
        return self.box.left() + self.box.width() * us / SPAN_US

    def y(self, volts: float) -> float:
        share = (self.high_v - volts) / (self.high_v - self.low_v)
        return self.box.top() + self.box.height() * share


def _axes(painter: QPainter, box: QRectF, theme: Theme, ticks: tuple[int, ...]) -> _Axes:
    """The ground of a picture: volts on the left, lines at the ticks."""
    inner = box.adjusted(theme.px(46), theme.px(10), -theme.px(10), -theme.px(10))
    low = _LOW_V if min(ticks) < 0 else -1.0
    axes = _Axes(inner, low)
    for volts in map(float, ticks):
        y = axes.y(volts)
        painter.setPen(QPen(theme.colour("grid"), theme.px(1)))
        painter.drawLine(QPointF(inner.left(), y), QPointF(inner.right(), y))
        painter.setPen(theme.colour("faint"))
        label = QRectF(box.left(), y - theme.px(9), theme.px(40), theme.px(18))
        text = f"{number(volts, 0)} V" if volts == 12.0 else number(volts, 0)
        painter.drawText(label, _ALIGN.AlignRight | _ALIGN.AlignVCenter, text)
    return axes


def _curve(painter: QPainter, axes: _Axes, found: Wave) -> None:
    points = [
        QPointF(axes.x(us), axes.y(volts))
        for us, volts in zip(found.times_us.tolist(), found.volts.tolist(), strict=True)
    ]
    painter.drawPolyline(QPolygonF(points))


def _draw_fault(painter: QPainter, box: QRectF, theme: Theme, fault: Fault) -> None:
    """One period: the sound one thin, the fault thick, both named."""
    axes = _axes(painter, box, theme, (-12, -6, 0, 6, 12))
    painter.setPen(QPen(theme.colour("neutral"), theme.px(1)))
    _curve(painter, axes, wave(fault.sound))
    painter.setPen(QPen(theme.colour("fail"), theme.px(3)))
    _curve(painter, axes, wave(fault.faulty))
    right = QRectF(axes.x(560.0), axes.y(12.6), axes.box.width() * 0.55, theme.px(20))
    _legend(painter, right, theme, fault.text)


def _legend(painter: QPainter, right: QRectF, theme: Theme, text: str) -> None:
    """What thin and thick lines are."""
    for place, (words, colour, width) in enumerate((("sound", "neutral", 1), (text, "fail", 3))):
        y = right.top() + theme.px(10) + place * theme.px(20)
        painter.setPen(QPen(theme.colour(colour), theme.px(width)))
        painter.drawLine(QPointF(right.left(), y), QPointF(right.left() + theme.px(30), y))
        painter.setPen(theme.colour("ink"))
        line = QRectF(right.left() + theme.px(38), y - theme.px(10), right.width(), theme.px(20))
        painter.drawText(line, _ALIGN.AlignLeft | _ALIGN.AlignVCenter, words)


def _draw_period(painter: QPainter, box: QRectF, theme: Theme) -> None:
    """One sound period in B, with its levels, its width and its period."""
    axes = _axes(painter, box, theme, (-12, -6, 0, 6, 12))
    pilot = Pilot()
    painter.setPen(QPen(theme.colour("measured"), theme.px(2)))
    _curve(painter, axes, wave(pilot))
    painter.setPen(theme.colour("ink"))
    words = (
        (400.0, 9.6, f"high level {number(levels(pilot.source)[1], 2)} V in B"),
        (400.0, -9.4, f"low level {number(pilot.source.low_v, 2)} V"),
    )
    for us, volts, text in words:
        painter.drawText(QPointF(axes.x(us), axes.y(volts)), text)
    _span(painter, axes, theme, (120.0, 386.67, 2.0, "266.67 µs: 16 A"))
    _span(painter, axes, theme, (120.0, 1120.0, -4.0, "1000 µs"))


def _span(
    painter: QPainter, axes: _Axes, theme: Theme, span: tuple[float, float, float, str]
) -> None:
    """A length between two times at a height, with words beside it."""
    begin, end, volts, words = span
    y, side = axes.y(volts), theme.px(4)
    painter.setPen(QPen(theme.colour("faint"), theme.px(1)))
    painter.drawLine(QPointF(axes.x(begin), y), QPointF(axes.x(end), y))
    for us in (begin, end):
        painter.drawLine(QPointF(axes.x(us), y - side), QPointF(axes.x(us), y + side))
    painter.setPen(theme.colour("ink"))
    painter.drawText(QPointF(axes.x(min(end, 500.0)) + theme.px(8), y - theme.px(5)), words)


def _windows(painter: QPainter, axes: _Axes, theme: Theme) -> None:
    """Windows of Table A.4, and in them what a charger may show."""
    for band in bands(load_profile()):
        if band.high <= axes.low_v:
            continue
        for low, high, colour in (
            (band.low, band.high, "band"),
            (band.low_allowed, band.high_allowed, "allowed"),
        ):
            if low is None or high is None:
                continue
            top, bottom = axes.y(min(high, 13.0)), axes.y(max(low, axes.low_v))
            left, width = axes.box.left(), axes.box.width()
            painter.fillRect(QRectF(left, top, width, bottom - top), theme.colour(colour))


def _draw_states(painter: QPainter, box: QRectF, theme: Theme) -> None:
    """Nominal levels of A to D within their windows."""
    axes = _axes(painter, box, theme, (0, 3, 6, 9, 12))
    _windows(painter, axes, theme)
    for place, (state, volts) in enumerate(zip(STATES, levels(Pilot().source), strict=True)):
        _level(painter, axes, theme, (place, volts, "measured"))
        x = _column(axes, place)
        painter.setPen(theme.colour("ink"))
        words = f"{state}  {number(volts, 2)} V"
        painter.drawText(QPointF(x - theme.px(22), axes.y(volts) - theme.px(6)), words)


def _draw_levels(painter: QPainter, box: QRectF, theme: Theme, fault: Fault) -> None:
    """Levels of A to D, sound and with the fault, within their windows."""
    axes = _axes(painter, box, theme, (0, 3, 6, 9, 12))
    _windows(painter, axes, theme)
    sound, faulty = levels(fault.sound.source), levels(fault.faulty.source)
    for place, state in enumerate(STATES):
        _level(painter, axes, theme, (place, sound[place], "neutral"))
        _level(painter, axes, theme, (place, faulty[place], "fail"))
        x = _column(axes, place)
        painter.setPen(theme.colour("ink"))
        y = axes.y(faulty[place]) - theme.px(9)
        text = QRectF(x + theme.px(26), y, theme.px(90), theme.px(18))
        painter.drawText(text, _ALIGN.AlignVCenter, f"{state} {number(faulty[place], 2)} V")
    legend = QRectF(axes.x(30.0), axes.y(0.9), theme.px(120), theme.px(20))
    _legend(painter, legend, theme, fault.text)


def _column(axes: _Axes, place: int) -> float:
    """Middle of a state's line; its words stand to the right of it."""
    return axes.box.left() + axes.box.width() * (place + 0.28) / 4.0


def _level(painter: QPainter, axes: _Axes, theme: Theme, level: tuple[int, float, str]) -> None:
    """A short line at a level, in the column of its state."""
    place, volts, colour = level
    x = _column(axes, place)
    half = theme.px(22)
    painter.setPen(QPen(theme.colour(colour), theme.px(3 if colour == "fail" else 2)))
    painter.drawLine(QPointF(x - half, axes.y(volts)), QPointF(x + half, axes.y(volts)))


def _draw_guarded(painter: QPainter, box: QRectF, theme: Theme) -> None:
    """Four values with their U against a limit from 970 to 1030."""
    left, right = box.left() + box.width() * 0.3, box.left() + box.width() * 0.7
    top, bottom = box.top() + theme.px(24), box.bottom() - theme.px(14)
    painter.fillRect(QRectF(left, top, right - left, bottom - top), theme.colour("allowed"))
    painter.setPen(theme.colour("ink"))
    for x, words in ((left, "lower limit"), (right, "upper limit")):
        painter.drawLine(QPointF(x, top), QPointF(x, bottom))
        label = QRectF(x - theme.px(60), box.top() + theme.px(4), theme.px(120), theme.px(18))
        painter.drawText(label, _ALIGN.AlignCenter, words)
    verdicts = (
        (0.5, "pass", "inside by more than U"),
        (0.68, "undecided", "inside, by less than U"),
        (0.73, "undecided", "outside, by less than U"),
        (0.82, "fail", "outside by more than U"),
    )
    reach = box.width() * 0.06
    for place, (share, verdict, words) in enumerate(verdicts):
        x = box.left() + box.width() * share
        y = top + (bottom - top) * (place + 0.5) / len(verdicts)
        painter.setPen(QPen(theme.colour(verdict), theme.px(2)))
        painter.drawLine(QPointF(x - reach, y), QPointF(x + reach, y))
        for end in (x - reach, x + reach):
            painter.drawLine(QPointF(end, y - theme.px(5)), QPointF(end, y + theme.px(5)))
        painter.setBrush(theme.colour(verdict))
        painter.drawEllipse(QPointF(x, y), theme.px(4), theme.px(4))
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(theme.colour("ink"))
        label = QRectF(box.left() + theme.px(8), y - theme.px(18), left - box.left(), theme.px(36))
        painter.drawText(label, _ALIGN.AlignLeft | _ALIGN.AlignVCenter, f"{verdict}:\n{words}")


_DRAWN: Final[Mapping[str, Draw]] = {
    "circuit": draw_circuit,
    "divider": draw_divider,
    "states": _draw_states,
    "period": _draw_period,
    "guarded": _draw_guarded,
}
