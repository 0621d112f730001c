"""The rows of readings: each quantity with its limit and verdict; no Qt."""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Final

from pilotsignal.capture import Capture
from pilotsignal.errors import FoldError, QuantityError
from pilotsignal.judge import Grounds, Judgement, Verdict, judge, withheld
from pilotsignal.limit import Limit
from pilotsignal.quantity import Quantity
from pilotsignal.standard import Profile, pulse_width_error_us
from rungbench.desktop.snapshots import Sampled

if TYPE_CHECKING:
    from pilotsignal.fold import Folded
    from pilotsignal.measure import PilotMeasurement

_NOT_CARRIED: Final = "The stretch does not carry it; see the notices."
_STATE_CURRENT: Final = "State the current that the charger is set to."


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


@dataclass(frozen=True, slots=True)
class Basis:
    """What is judged by; `simulated` and `doubt` are of the bench (`doubt` about its volts)."""

    profile: Profile
    set_current_a: float | None = None
    simulated: bool = False
    temperature_c: float | None = None
    doubt: str = ""


def measured_stretch(sampled: Sampled, basis: Basis) -> Measured:
    """Measure, fold and judge a stretch of the live view."""
    # Late, here and below: what measures takes long to import, and the window is to come first.
    from pilotsignal.measure import measure

    found = measure(sampled.capture, sampled.edges, basis.profile)
    return _whole(sampled.capture, found, basis, (sampled.end_s, sampled.losses.text()))


def measured_capture(capture: Capture, basis: Basis) -> Measured:
    """The same of a capture from a file."""
    from pilotsignal.measure import measure

    return _whole(capture, measure(capture, profile=basis.profile), basis, (0.0, ""))


def _whole(
    capture: Capture, found: "PilotMeasurement", basis: Basis, when: tuple[float, str]
) -> Measured:
    from pilotsignal.fold import fold

    try:
        folded = fold(capture, found)
    except FoldError:
        folded = None
    rows = _Rows(capture, found, basis).all()
    return Measured(capture, found, rows, folded, *when, origin=capture.origin)


class _Rows:
    def __init__(self, capture: Capture, found: "PilotMeasurement", basis: Basis) -> None:
        self._found, self._basis, self._profile = found, basis, basis.profile
        self._grounds = Grounds(
            capture.calibration,
            capture.time_base,
            datetime.now(UTC).date(),
            basis.simulated,
            basis.temperature_c,
        )

    def all(self) -> tuple[Row, ...]:
        found = self._found
        levels = [
            self._level("high_plateau_v", "High level", "high_level"),
            self._level("low_plateau_v", "Low level", "low_level"),
        ]
        # A steady pilot has one level, and the other is not missing.
        rows = [row for row in levels if row.quantity is not None or found.pwm_on is not False]
        if found.pwm_on is not False:
            rows += [
                self._row("frequency_hz", "Frequency", self._limit("frequency")),
                Row("duty_percent", "Duty", found.duty_percent),
                self._width(),
                Row("advertised_current_a", "Advertised", found.advertised_current_a),
                self._edge("rise_time_us", "Rise, 10–90 %"),
                self._edge("fall_time_us", "Fall, 90–10 %"),
                Row("width_jitter_us", "Jitter of width", found.width_jitter_us),
            ]
        return tuple(rows)

    def _limit(self, key: str, state: str | None = None) -> Limit | None:
        return self._profile.limit(key, state) if self._profile.has(key, state) else None

    def _row(self, name: str, title: str, limit: Limit | None) -> Row:
        quantity = self._found.quantities()[name]
        return Row(name, title, quantity, None if limit is None else self._judge(quantity, limit))

    def _judge(self, quantity: Quantity | None, limit: Limit) -> Judgement:
        if self._basis.doubt and quantity is not None and limit.unit == "V":
            why = f"uncalibrated: {self._basis.doubt}"
            return Judgement(Verdict.UNDECIDED, why, quantity, limit)
        return judge(
            quantity,
            limit,
            missing_why=_NOT_CARRIED,
            missing_verdict=Verdict.UNDECIDED,
            grounds=self._grounds,
        )

    def _level(self, name: str, title: str, key: str) -> Row:
        quantity = self._found.quantities()[name]
        states = self._found.state
        if quantity is None or len(states) != 1:
            return Row(name, title, quantity)
        return self._row(name, title, self._limit(key, states[0]))

    def _edge(self, name: str, title: str) -> Row:
        """Edge times: outside fails, inside proves nothing (IEC 61851-1:2017, Table A.11)."""
        states = self._found.state
        limit = self._limit(name, states[0]) if len(states) == 1 else None
        if limit is None or self._found.quantities()[name] is None:
            return Row(name, title, self._found.quantities()[name])
        return self._row(name, title, limit)

    def _width(self) -> Row:
        """Width against the set current, never against the one that the pulse itself advertises."""
        found, set_a = self._found, self._basis.set_current_a
        zero = self._profile.pulse_width_level == "zero"
        width = found.pulse_width_zero_us if zero else found.pulse_width_mid_us
        title = "Pulse width"
        limit = self._limit("pulse_width_error_us")
        if limit is None or width is None or found.frequency_hz is None:
            return Row("pulse_width_us", title, width)
        if set_a is None:
            return Row(
                "pulse_width_us", title, width, withheld(limit, Verdict.UNDECIDED, _STATE_CURRENT)
            )
        try:
            error = pulse_width_error_us(width, found.frequency_hz, set_a, self._profile)
        except QuantityError as problem:
            return Row(
                "pulse_width_us", title, width, withheld(limit, Verdict.UNDECIDED, str(problem))
            )
        judgement = judge(error, limit)
        return Row("pulse_width_us", "Width error", error, judgement)
