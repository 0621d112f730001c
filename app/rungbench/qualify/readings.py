"""Limits and verdicts of single readings, of a recording or a live stretch: no plan, no record.

The same for the command line and the window.
"""

from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Final

from pilotsignal.calibration import UNKNOWN_TIME_BASE
from pilotsignal.capture import Capture
from pilotsignal.judge import Grounds, Judgement, Limit, Verdict, judge, withheld
from pilotsignal.quantity import Quantity
from pilotsignal.standard import Profile, pulse_width_error_us

if TYPE_CHECKING:
    # What measures takes long to import, and a window that shows readings comes first.
    from pilotsignal.measure import PilotMeasurement

Judged = tuple[str, Judgement]

STATE_THE_CURRENT: Final = "State the current that the charger is set to."
_NOT_MEASURED: Final = "The capture does not carry it; see the notices."
_OF_NO_STATE: Final = (
    "The level is that of no state that a limit is known for; check load and wiring."
)


@dataclass(frozen=True, slots=True)
class ReadingBasis:
    """What is judged by.

    `simulated`, `temperature_c` and `doubt` are of the bench; with a `doubt` about its volts no
    voltage is judged.  `ask_current` is said where the set current is needed and not stated.
    """

    profile: Profile
    set_current_a: float | None = None
    simulated: bool = False
    temperature_c: float | None = None
    doubt: str = ""
    ask_current: str = STATE_THE_CURRENT


def judge_readings(
    found: "PilotMeasurement", capture: Capture, basis: ReadingBasis
) -> tuple[Judged, ...]:
    """Judgements by check: frequency, pulse width, plateaus of the state that was recognised.

    Raises
    ------
    QuantityError : no duty is defined for the set current.
    """
    return _Judge(found, capture, basis).all()


def judge_edges(
    found: "PilotMeasurement", capture: Capture, basis: ReadingBasis
) -> tuple[Judged, ...]:
    """Rise and fall time: outside fails, inside proves nothing (IEC 61851-1:2017, Table A.11).

    Nothing where the state is not known, or an edge time was not measured.
    """
    return tuple(_Judge(found, capture, basis).edges())


class _Judge:
    def __init__(self, found: "PilotMeasurement", capture: Capture, basis: ReadingBasis) -> None:
        self._found, self._basis, self._profile = found, basis, basis.profile
        clock = capture.time_base
        if clock.kind == "unknown":
            clock = UNKNOWN_TIME_BASE  # its uncertainty is that of printed times, not of the clock
        today = datetime.now(UTC).date()
        self._grounds = Grounds(
            capture.calibration, clock, today, basis.simulated, basis.temperature_c
        )

    def all(self) -> tuple[Judged, ...]:
        """See `judge_readings`."""
        judged: list[Judged] = []
        if self._found.pwm_on is not False:
            limit = self._profile.limit("frequency")
            judged.append(("frequency", self._judge("frequency_hz", limit)))
            judged.append(("pulse-width", self._pulse_width()))
        return (*judged, *self._plateaus())

    def _judge(self, name: str, limit: Limit) -> Judgement:
        quantity = self._found.quantities()[name]
        if self._basis.doubt and quantity is not None and limit.unit == "V":
            why = f"uncalibrated: {self._basis.doubt}"
            return Judgement(Verdict.UNDECIDED, why, quantity, limit)
        return judge(
            quantity,
            limit,
            missing_why=_NOT_MEASURED,
            missing_verdict=Verdict.UNDECIDED,
            grounds=self._grounds,
        )

    @property
    def _width(self) -> Quantity | None:
        zero = self._profile.pulse_width_level == "zero"
        found = self._found
        return found.pulse_width_zero_us if zero else found.pulse_width_mid_us

    def _pulse_width(self) -> Judgement:
        """Against the set current, never against the one that the pulse itself advertises."""
        limit = self._profile.limit("pulse_width_error_us")
        set_a, frequency = self._basis.set_current_a, self._found.frequency_hz
        if set_a is None:
            return withheld(limit, Verdict.UNDECIDED, self._basis.ask_current)
        if self._width is None or frequency is None:
            return withheld(limit, Verdict.UNDECIDED, _NOT_MEASURED)
        return judge(pulse_width_error_us(self._width, frequency, set_a, self._profile), limit)

    def edges(self) -> list[Judged]:
        """See `judge_edges`."""
        states, judged = self._found.state, []
        for check, name in (("rise-time", "rise_time_us"), ("fall-time", "fall_time_us")):
            known = len(states) == 1 and self._profile.has(name, states[0])
            if known and self._found.quantities()[name] is not None:
                judged.append((check, self._judge(name, self._profile.limit(name, states[0]))))
        return judged

    def _plateaus(self) -> list[Judged]:
        levels = [("plateau-high", "high_level", "high_plateau_v")]
        if self._found.pwm_on:
            levels.append(("plateau-low", "low_level", "low_plateau_v"))
        states = self._found.state
        if states == ("invalid",) and self._above_all():
            states = ("A",)  # the highest level that any state allows
        judged = []
        for check, key, name in levels:
            limits = [
                self._profile.limit(key, one) for one in states if self._profile.has(key, one)
            ]
            if len(states) == 1 and limits:
                judged.append((check, self._judge(name, limits[0])))
            elif limits:
                both = " and ".join(states)
                why = f"The level lies between the windows of {both}: the load is not known."
                judged.append((check, withheld(limits[0], Verdict.UNDECIDED, why)))
            elif self._found.pwm_on:
                # Pulses alone, on a level that no state has, must not end as a pass.
                missing = withheld(self._profile.limit(key, "A"), Verdict.UNDECIDED, _OF_NO_STATE)
                judged.append((check, missing))
        return judged

    def _above_all(self) -> bool:
        """Whether the high plateau lies above what is read as state A."""
        high = self._found.high_plateau_v
        return high is not None and high.value > self._profile.windows["A"].high
