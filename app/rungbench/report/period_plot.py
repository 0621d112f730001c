"""Drawing of one period with its mask: the whole of it, and both edges enlarged."""

from dataclasses import dataclass
from typing import Final

from pilotsignal.capture import Capture, EdgeRecord
from pilotsignal.limit import Limit
from rungbench.archive.errors import ArchiveError
from rungbench.report.evidence import Captures, Evidence
from rungbench.report.figures import bounds
from rungbench.report.lines import FAINT, one_line
from rungbench.report.period import Mask, OnePeriod, View, lay_over, views
from rungbench.report.plot import Axis, Plot
from rungbench.report.sheet import LEFT, WIDTH, Sheet, plain
from rungbench.report.table import SMALL, STRONG, heading, paragraph

_VOLTS: Final = (-13.0, 13.0)
_VOLT_TICKS: Final = (-12.0, -6.0, 0.0, 6.0, 12.0)
_HEIGHT: Final = 118.0
_WHOLE: Final = 286.0
_EDGE: Final = 88.0
_BETWEEN: Final = 14.0
_BEFORE_US: Final = 20.0
_AFTER_US: Final = 30.0
# Where a plateau counts as reached: IEC 61851-1:2017, Table A.11 allows up to 13 us for an edge.
_SETTLED_US: Final = 15.0
_GATE_V: Final = 1.5
_ABOUT: Final = (
    "Samples by their time after the comparator's rising edge at 0 V, all periods of the capture "
    "laid over one another; grey: from the lowest to the highest. Blue: what the checks allow, the "
    "plateaus' windows and, in the enlarged falling edge, where the pulse may end. On the right "
    "both edges, every dot a sample."
)


def draw_periods(sheet: Sheet, evidence: Evidence) -> None:
    """The section with all plots of a record; nothing where there is nothing to draw."""
    drawn: list[tuple[View, OnePeriod]] = []
    missing: list[str] = []
    for view in views(evidence.record):
        pair = _pair(view, evidence.captures)
        if pair is None:
            missing.append(view.step)
        elif (period := lay_over(*pair)) is not None:
            drawn.append((view, period))
    if not drawn and not missing:
        return
    heading(sheet, "One period of the pilot", 190.0)
    paragraph(sheet, _ABOUT, SMALL)
    for view, period in drawn:
        _draw(sheet, view, period)
    if missing:
        told = ", ".join(missing)
        why = "; they expired" if evidence.record.expired else ""
        paragraph(sheet, f"The archive does not hold the captures of: {told}{why}.")


def _pair(view: View, captures: Captures) -> tuple[EdgeRecord, Capture] | None:
    """The last edges that have samples beside them: of two looks the second is the finer."""
    edges: EdgeRecord | None = None
    pair: tuple[EdgeRecord, Capture] | None = None
    for key in view.captures:
        try:
            found = captures(key)
        except ArchiveError:
            continue
        if isinstance(found, EdgeRecord):
            edges = found
        elif edges is not None:
            pair = (edges, found)
    return pair


@dataclass(frozen=True, slots=True)
class _Place:
    """A plot's place on its page: lower left corner and width."""

    x: float
    y: float
    width: float


def _draw(sheet: Sheet, view: View, period: OnePeriod) -> None:
    sheet.need(_HEIGHT + 48.0)
    sheet.down(14.0)
    title = f"{view.step}: {period.periods} periods of {period.period_us:.2f} µs"
    sheet.page.text(LEFT, sheet.y, one_line(title, WIDTH, STRONG))
    legend = one_line(_allowed(view.mask), WIDTH - 190.0, SMALL)
    sheet.page.right_text(LEFT + WIDTH, sheet.y, legend)
    bottom = sheet.y - 6.0 - _HEIGHT
    _whole(sheet, view.mask, period, _Place(LEFT + 16.0, bottom, _WHOLE))
    x = LEFT + 16.0 + _WHOLE + _BETWEEN
    _rising(sheet, view.mask, period, _Place(x, bottom, _EDGE))
    _falling(sheet, view.mask, period, _Place(x + _EDGE + _BETWEEN, bottom, _EDGE))
    sheet.y = bottom - 20.0


def _plot(sheet: Sheet, place: _Place, low: float, high: float) -> Plot:
    return Plot(
        sheet.page,
        Axis(low, high, place.x, place.width),
        Axis(*_VOLTS, place.y, _HEIGHT),
    )


def _whole(sheet: Sheet, mask: Mask, period: OnePeriod, place: _Place) -> None:
    plot = _plot(sheet, place, 0.0, period.period_us)
    plot.frame((0, 200, 400, 600, 800), _VOLT_TICKS, label=True)
    width = _width(mask, period)
    _window(plot, (_SETTLED_US, width), mask.high)
    _window(plot, (width + _SETTLED_US, period.period_us), mask.low)
    plot.band(period.bin_us, period.least_v, period.most_v)
    plot.curve(period.bin_us, period.mean_v)
    _under(sheet, place, "µs after the rising edge; upwards V")


def _rising(sheet: Sheet, mask: Mask, period: OnePeriod, place: _Place) -> None:
    plot = _plot(sheet, place, -_BEFORE_US, _AFTER_US)
    plot.frame((-20, 0, 20), _VOLT_TICKS, label=False)
    _window(plot, (_SETTLED_US, _AFTER_US), mask.high)
    _window(plot, (-_BEFORE_US, -1.0), mask.low)
    plot.dots(*period.near(-_BEFORE_US, _AFTER_US))
    _under(sheet, place, "rising edge, µs")


def _falling(sheet: Sheet, mask: Mask, period: OnePeriod, place: _Place) -> None:
    width = _width(mask, period)
    plot = _plot(sheet, place, -_BEFORE_US, _AFTER_US)
    plot.frame((-20, 0, 20), _VOLT_TICKS, label=False)
    _window(plot, (-_BEFORE_US, -1.0), mask.high)
    _window(plot, (_SETTLED_US, _AFTER_US), mask.low)
    gate = mask.width_limit
    middle = 0.0 if mask.at_zero else period.middle_v
    width += period.rise_us(middle)
    if mask.width_us is not None and gate is not None:
        ends = (gate.low or 0.0, gate.high or 0.0)
        plot.window(ends, (middle - _GATE_V, middle + _GATE_V))
    phase, volts = period.near(width - _BEFORE_US, width + _AFTER_US)
    plot.dots(phase - width, volts)
    _under(sheet, place, f"µs after {width:.1f} µs")


def _width(mask: Mask, period: OnePeriod) -> float:
    """The nominal width, or where the mean falls through 0 V."""
    if mask.width_us is not None:
        return mask.width_us
    high = period.bin_us[period.mean_v > 0.0]
    return float(high.max()) if high.size else 0.5 * period.period_us


def _window(plot: Plot, x: tuple[float, float], limit: Limit | None) -> None:
    if limit is not None:
        low = _VOLTS[0] if limit.low is None else limit.low
        plot.window(x, (low, _VOLTS[1] if limit.high is None else limit.high))


def _under(sheet: Sheet, place: _Place, text: str) -> None:
    x, y = place.x + 0.5 * place.width, place.y - 16.0
    sheet.page.centred_text(x, y, plain(text, 6.4, colour=FAINT))


def _allowed(mask: Mask) -> str:
    named = (
        ("high", mask.high),
        ("low", mask.low),
        ("width", mask.width_limit if mask.width_us is not None else None),
    )
    told = [f"{name} {bounds(limit)}" for name, limit in named if limit is not None]
    return f"allowed: {', '.join(told)}"
