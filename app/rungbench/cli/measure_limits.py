"""Which limits apply to a recorded pilot, and the verdicts under them."""

from datetime import UTC, datetime

from pilotsignal.calibration import UNKNOWN_TIME_BASE
from pilotsignal.capture import Capture
from pilotsignal.judge import Grounds, Judgement, Limit, Verdict, judge, withheld
from pilotsignal.measure import PilotMeasurement
from pilotsignal.standard import Profile, pulse_width_error_us

Judged = tuple[str, Judgement]

_NOT_MEASURED = "The capture does not carry it; see the notices."
_OF_NO_STATE = "The level is that of no state that a limit is known for; check load and wiring."
_STATE_THE_CURRENT = "State the current that the charger is set to (--set-current)."


def judge_measurement(
    found: PilotMeasurement, capture: Capture, profile: Profile, set_current_a: float | None
) -> tuple[Judged, ...]:
    """Judgements by check: frequency, pulse width, plateaus of the state that was recognised.

    Raises
    ------
    QuantityError : no duty is defined for the set current.
    """
    clock = capture.time_base
    if clock.kind == "unknown":
        clock = UNKNOWN_TIME_BASE  # its uncertainty is that of printed times, not of the clock
    grounds = Grounds(capture.calibration, clock, datetime.now(UTC).date())
    judged: list[Judged] = []
    if found.pwm_on is not False:
        limit = profile.limit("frequency")
        judged.append(("frequency", _judge(found, limit, "frequency_hz", grounds)))
        judged.append(("pulse-width", _pulse_width(found, profile, set_current_a)))
    judged += _plateaus(found, profile, grounds)
    return tuple(judged)


def _judge(found: PilotMeasurement, limit: Limit, name: str, grounds: Grounds) -> Judgement:
    return judge(
        found.quantities()[name],
        limit,
        missing_why=_NOT_MEASURED,
        missing_verdict=Verdict.UNDECIDED,
        grounds=grounds,
    )


def _pulse_width(
    found: PilotMeasurement, profile: Profile, set_current_a: float | None
) -> Judgement:
    limit = profile.limit("pulse_width_error_us")
    zero = profile.pulse_width_level == "zero"
    width = found.pulse_width_zero_us if zero else found.pulse_width_mid_us
    if set_current_a is None:
        return withheld(limit, Verdict.UNDECIDED, _STATE_THE_CURRENT)
    if width is None or found.frequency_hz is None:
        return withheld(limit, Verdict.UNDECIDED, _NOT_MEASURED)
    return judge(pulse_width_error_us(width, found.frequency_hz, set_current_a, profile), limit)


def _plateaus(found: PilotMeasurement, profile: Profile, grounds: Grounds) -> list[Judged]:
    levels = [("plateau-high", "high_level", "high_plateau_v")]
    if found.pwm_on:
        levels.append(("plateau-low", "low_level", "low_plateau_v"))
    states = found.state
    if states == ("invalid",) and _above_all(found, profile):
        states = ("A",)  # the highest level that any state allows
    judged = []
    for check, key, name in levels:
        limits = [profile.limit(key, one) for one in states if profile.has(key, one)]
        if len(states) == 1 and limits:
            judged.append((check, _judge(found, limits[0], name, grounds)))
        elif limits:
            both = " and ".join(states)
            why = f"The level lies between the windows of {both}: the load is not known."
            judged.append((check, withheld(limits[0], Verdict.UNDECIDED, why)))
        elif found.pwm_on:
            # Pulses alone, on a level that no state has, must not end as a pass.
            missing = withheld(profile.limit(key, "A"), Verdict.UNDECIDED, _OF_NO_STATE)
            judged.append((check, missing))
    return judged


def _above_all(found: PilotMeasurement, profile: Profile) -> bool:
    """Whether the high plateau lies above what is read as state A."""
    high = found.high_plateau_v
    return high is not None and high.value > profile.windows["A"].high
