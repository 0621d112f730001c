"""What plateaus and duty mean, by a profile's tables."""

import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

from pilotsignal.budget import combine, scaled
from pilotsignal.notices import Notice
from pilotsignal.quantity import Quantity
from pilotsignal.standard.decode import DecodedDuty, current_of_duty
from pilotsignal.standard.decode import state_of as decode_state
from pilotsignal.standard.profile import Profile

_SAME_A = 1e-6  # two bands that meet agree to rounding
_MOST_K = 12.71  # coverage factor of a single degree of freedom, JCGM 100:2008, Table G.2


@dataclass(frozen=True, slots=True)
class Advertised:
    """What a duty may say, its uncertainty considered.

    Parameters
    ----------
    current : amperes per phase; ``None`` where the duty says nothing about it, or where its
        uncertainty reaches into a range that says something else.
    readings : the one thing that it says, or all that it may say, in rising order of the duty.
    currents : each of `readings` that is a current, as a quantity.
    notice : the sentence where it may say several things.
    """

    current: Quantity | None
    readings: tuple[DecodedDuty, ...]
    currents: tuple[Quantity, ...]
    notice: Notice | None = None


def state_of(
    high: Quantity | None, low: Quantity | None, pwm_on: bool | None, profile: Profile
) -> tuple[str, ...]:
    """State by the plateaus; two neighbours in a grey band, empty where nothing is known."""
    if pwm_on is None or (high is None and low is None):
        return ()
    level = high if high is not None else low
    assert level is not None
    return decode_state(level.value, low.value if low else None, pwm_on, profile)


def read_duty(duty: Quantity, profile: Profile) -> Advertised:
    """What a duty says or, within its expanded uncertainty, may say.

    IEC 61851-1:2017, Table A.8 jumps from 51 A to 52.5 A at 85 %, and from currents to none: a duty
    that lies closer to such a seam than its uncertainty has no single meaning.
    """
    readings = tuple(_readings(duty, profile))
    currents = tuple(
        _current(duty, reading) for reading in readings if reading.current_a is not None
    )
    if len(readings) > 1:
        return Advertised(None, readings, currents, _several(duty, readings))
    return Advertised(currents[0] if currents else None, readings, currents)


def advertised_current(duty: Quantity | None, profile: Profile) -> Quantity | None:
    """Current per phase that the duty advertises; None where it means none, or may mean two."""
    return None if duty is None else read_duty(duty, profile).current


def duty_notices(duty: Quantity | None, profile: Profile) -> list[Notice]:
    """``two-currents`` where the duty may mean more than one thing."""
    notice = None if duty is None else read_duty(duty, profile).notice
    return [] if notice is None else [notice]


def _readings(duty: Quantity, profile: Profile) -> Iterator[DecodedDuty]:
    """Readings within the uncertainty, lowest duty first; what goes on without a jump comes once.

    Of each stretch without a jump the duty nearest to the measured one speaks, with the steepest
    slope of the stretch.
    """
    value = _percent(duty.value)
    stretch: list[tuple[float, DecodedDuty]] = []
    for point in _points(duty, profile):
        reading = current_of_duty(point, profile)
        if stretch and not _goes_on(stretch[-1], (point, reading)):
            yield _speaker(stretch, value)
            stretch = []
        stretch.append((point, reading))
    yield _speaker(stretch, value)


def _points(duty: Quantity, profile: Profile) -> list[float]:
    """The measured duty, both ends of its interval, and both sides of each border between."""
    value = _percent(duty.value)
    borders = {end for band in profile.duty_bands for end in (band.duty.low, band.duty.high)}
    if not any(abs(border - duty.value) <= _MOST_K * duty.u for border in borders):
        return [value]  # the usual case, without the price of a coverage factor
    expanded = duty.expanded()
    low, high = _percent(duty.value - expanded), _percent(duty.value + expanded)
    points = {low, value, high}
    for border in borders:
        points |= {math.nextafter(border, -math.inf), border, math.nextafter(border, math.inf)}
    return sorted(point for point in points if low <= point <= high)


def _goes_on(left: tuple[float, DecodedDuty], right: tuple[float, DecodedDuty]) -> bool:
    """Whether the second reading continues the first one without a jump."""
    (start, before), (end, after) = left, right
    if before.kind is not after.kind:
        return False
    steepest = max(before.slope_a_per_percent, after.slope_a_per_percent)
    step = abs((after.current_a or 0.0) - (before.current_a or 0.0))
    return step <= steepest * (end - start) + _SAME_A


def _speaker(stretch: list[tuple[float, DecodedDuty]], value: float) -> DecodedDuty:
    if len(stretch) == 1:
        return stretch[0][1]
    _, nearest = min(stretch, key=lambda pair: abs(pair[0] - value))
    steepest = max(reading.slope_a_per_percent for _, reading in stretch)
    return replace(nearest, slope_a_per_percent=steepest)


def _current(duty: Quantity, reading: DecodedDuty) -> Quantity:
    slope = reading.slope_a_per_percent
    rows = [scaled(row, row.sensitivity * slope) for row in duty.rows]
    return combine("advertised_current_a", "A", reading.current_a or 0.0, reading.clause, rows)


def _several(duty: Quantity, readings: tuple[DecodedDuty, ...]) -> Notice:
    said = " or ".join(dict.fromkeys(reading.text for reading in readings))
    clause = next((reading.clause for reading in readings if reading.clause), "")
    return Notice(
        "two-currents",
        f"A duty of {duty.value:.3f} % ± {duty.expanded():.2g} % may mean {said} ({clause}); "
        "record longer, or set another current.",
    )


def _percent(value: float) -> float:
    """A duty that noise took past its ends is at its end."""
    return min(100.0, max(0.0, value))
