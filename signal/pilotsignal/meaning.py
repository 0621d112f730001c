"""What plateaus and duty mean, by a profile's tables."""

from pilotsignal.budget import combine, scaled
from pilotsignal.quantity import Quantity
from pilotsignal.standard.decode import current_of_duty
from pilotsignal.standard.decode import state_of as decode_state
from pilotsignal.standard.profile import Profile


def state_of(
    high: Quantity | None, low: Quantity | None, pwm_on: bool | None, profile: Profile
) -> tuple[str, ...]:
    """State by the plateaus; two neighbours in a grey band, empty where nothing is known."""
    if pwm_on is None or (high is None and low is None):
        return ()
    level = high if high is not None else low
    assert level is not None
    return decode_state(level.value, low.value if low else None, pwm_on, profile)


def advertised_current(duty: Quantity | None, profile: Profile) -> Quantity | None:
    """Current per phase that the duty advertises; None where the duty means no current."""
    if duty is None:
        return None
    decoded = current_of_duty(duty.value, profile)
    if decoded.current_a is None:
        return None  # digital communication, or a band that the edition leaves open
    rows = [scaled(row, row.sensitivity * decoded.slope_a_per_percent) for row in duty.rows]
    return combine("advertised_current_a", "A", decoded.current_a, decoded.clause, rows)
