"""The voltage scale: the windows of the standard as bands, what was measured as marks.

The scale runs from -13 to +13 V, the range that IEC 61851-1:2017, Table A.4 divides into states.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from pilotsignal.errors import ProfileError
from pilotsignal.judge import Judgement
from pilotsignal.standard import load_profile
from pilotsignal.standard.rows import Window
from rungbench.archive.record import Record
from rungbench.report.figures import figure
from rungbench.report.lines import FAINT, Style, one_line
from rungbench.report.plot import ALLOWED, ALLOWED_EDGE, Axis
from rungbench.report.sheet import LEFT, RIGHT, Page, plain
from rungbench.report.verdicts import COLOURS, SHAPES

_ENDS: Final = (-13.0, 13.0)
_TICKS: Final = (-12, -9, -6, -3, 0, 3, 6, 9, 12)
_LABELS: Final = 122.0
_VALUES: Final = 96.0
_ROW: Final = 14.0
_STRIP: Final = 15.0
_BAND: Final = "#ececec"
_SHOWN: Final = ("high_plateau_v", "low_plateau_v")
_NOT_BANDS: Final = ("invalid", "diode")
_NAMES: Final = {"F": "F, low plateau"}


@dataclass(frozen=True, slots=True)
class Mark:
    """One measured level: what it is, and how it was judged."""

    label: str
    judgement: Judgement


def marks(record: Record, most: int) -> tuple[Mark, ...]:
    """Judged plateaus, each check's last one, in the order of the run."""
    found = {
        (result.check, judgement.limit.clause): Mark(result.title, judgement)
        for result in record.checks
        for judgement in result.judgements
        if judgement.quantity is not None and judgement.quantity.name in _SHOWN
    }
    return tuple(found.values())[:most]


def bands(record: Record) -> tuple[tuple[str, Window], ...]:
    """The windows of states of the record's profile; none if the profile is not at hand."""
    try:
        profile = load_profile(record.header.profile)
    except ProfileError:
        return ()
    if profile.hash != record.header.profile_hash:
        return ()
    named = ((name, window) for name, window in profile.windows.items() if name not in _NOT_BANDS)
    return tuple(named)


def scale_height(count: int) -> float:
    """Height of the figure with that many marks."""
    return _STRIP + count * _ROW + 16.0


def draw_scale(page: Page, top: float, record: Record, shown: Iterable[Mark]) -> None:
    """The figure, downwards from `top` over the width of the page."""
    rows = tuple(shown)
    axis = Axis(*_ENDS, LEFT + _LABELS, RIGHT - LEFT - _LABELS - _VALUES)
    bottom = top - _STRIP - len(rows) * _ROW - 3.0
    for name, window in bands(record):
        left, right = axis.at(window.low), axis.at(window.high)
        page.box(left, bottom, (right - left, top - bottom), fill=_BAND)
        text = plain(_NAMES.get(name, name), 7.0, bold=True, colour=FAINT)
        page.centred_text(0.5 * (left + right), top - 9.0, text)
    page.rule(axis.start, bottom, (axis.start + axis.length, bottom), thin=0.6)
    for value in _TICKS:
        x = axis.at(value)
        page.rule(x, bottom, (x, bottom - 2.5), thin=0.4)
        page.centred_text(x, bottom - 9.5, plain(f"{value}".replace("-", "−"), 6.2, colour=FAINT))
    page.text(axis.start + axis.length + 5.0, bottom - 9.5, plain("V", 6.2, colour=FAINT))
    for number, mark in enumerate(rows):
        _draw_mark(page, axis, top - _STRIP - (number + 0.5) * _ROW, mark)


def _draw_mark(page: Page, axis: Axis, y: float, mark: Mark) -> None:
    judgement, quantity = mark.judgement, mark.judgement.quantity
    if quantity is None:
        return
    colour = COLOURS[judgement.verdict.value]
    page.text(LEFT, y - 2.4, one_line(mark.label, _LABELS - 8.0, Style(6.8)))
    limit = judgement.limit
    low = axis.at(_ENDS[0] if limit.low is None else limit.low)
    high = axis.at(_ENDS[1] if limit.high is None else limit.high)
    page.box(low, y - 4.2, (high - low, 8.4), fill=ALLOWED, stroke=ALLOWED_EDGE, thin=0.4)
    x, reach = axis.at(quantity.value), quantity.expanded()
    page.rule(x, y - 5.6, (x, y + 5.6), stroke=colour, thin=1.1)
    ends = axis.at(quantity.value - reach), axis.at(quantity.value + reach)
    page.rule(ends[0], y, (ends[1], y), stroke=colour, thin=1.6)
    text = f"{SHAPES[judgement.verdict.value]} {figure(quantity)}"
    value = one_line(text, _VALUES - 6.0, Style(6.8, colour=colour))
    page.text(axis.start + axis.length + 6.0, y - 2.4, value)
