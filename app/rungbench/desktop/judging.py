"""The rows of readings: each quantity with its limit and verdict; no Qt."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

from pilotsignal.capture import Capture
from pilotsignal.errors import FoldError, QuantityError
from pilotsignal.judge import Judgement
from pilotsignal.quantity import Quantity
from rungbench.desktop.snapshots import Sampled
from rungbench.qualify.readings import ReadingBasis, judge_edges, judge_readings

if TYPE_CHECKING:
    from pilotsignal.fold import Folded
    from pilotsignal.measure import PilotMeasurement


@dataclass(frozen=True, slots=True)
class Row:
    """One reading: `judgement` is ``None`` where there is no limit."""

    key: str
    title: str
    quantity: Quantity | None
    judgement: Judgement | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """A stretch with all that was made of it; `origin` says where it comes from."""

    capture: Capture
    found: "PilotMeasurement"
    rows: tuple[Row, ...]
    folded: "Folded | None"
    at_s: float
    lost: str = ""
    origin: str = ""


def measured_stretch(sampled: Sampled, basis: ReadingBasis) -> Measured:
    """Measure, fold and judge a stretch of the live view."""
    # Late, here and below: what measures takes long to import, and the window is to come first.
    from pilotsignal.measure import measure

    found = measure(sampled.capture, sampled.edges, basis.profile)
    return _whole(sampled.capture, found, basis, (sampled.end_s, sampled.losses.text()))


def measured_capture(capture: Capture, basis: ReadingBasis) -> Measured:
    """The same of a capture from a file."""
    from pilotsignal.measure import measure

    return _whole(capture, measure(capture, profile=basis.profile), basis, (0.0, ""))


def _whole(
    capture: Capture, found: "PilotMeasurement", basis: ReadingBasis, when: tuple[float, str]
) -> Measured:
    from pilotsignal.fold import fold

    try:
        folded = fold(capture, found)
    except FoldError:
        folded = None
    rows = _rows(found, _judged(found, capture, basis))
    return Measured(capture, found, rows, folded, *when, origin=capture.origin)


def _judged(
    found: "PilotMeasurement", capture: Capture, basis: ReadingBasis
) -> Mapping[str, Judgement]:
    """Judgements by check; a set current that no duty stands for is said with the width."""
    try:
        judged = judge_readings(found, capture, basis)
    except QuantityError as problem:
        asked = replace(basis, set_current_a=None, ask_current=str(problem))
        judged = judge_readings(found, capture, asked)
    return dict(judged) | dict(judge_edges(found, capture, basis))


def _rows(found: "PilotMeasurement", judged: Mapping[str, Judgement]) -> tuple[Row, ...]:
    quantities = found.quantities()

    def row(name: str, title: str, check: str = "") -> Row:
        return Row(name, title, quantities[name], judged.get(check))

    levels = (
        row("high_plateau_v", "High level", "plateau-high"),
        row("low_plateau_v", "Low level", "plateau-low"),
    )
    # A steady pilot has one level, and the other is not missing.
    rows = tuple(one for one in levels if one.quantity is not None or found.pwm_on is not False)
    if found.pwm_on is False:
        return rows
    return (
        *rows,
        row("frequency_hz", "Frequency", "frequency"),
        row("duty_percent", "Duty"),
        _width(found, judged.get("pulse-width")),
        Row("advertised_current_a", "Advertised", found.advertised_current_a),
        row("rise_time_us", "Rise, 10–90 %", "rise-time"),
        row("fall_time_us", "Fall, 90–10 %", "fall-time"),
        row("width_jitter_us", "Jitter of width"),
    )


def _width(found: "PilotMeasurement", judgement: Judgement | None) -> Row:
    """The error of the width where the set current is known, else the width itself."""
    if judgement is not None and judgement.quantity is not None:
        return Row("pulse_width_us", "Width error", judgement.quantity, judgement)
    width = found.pulse_width_zero_us or found.pulse_width_mid_us
    return Row("pulse_width_us", "Pulse width", width, judgement)
