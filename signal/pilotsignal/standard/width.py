"""Pulse width against the current that a charger is set to.

The nominal duty is taken of the current set, never of the one advertised, and
times the measured period: a time base that is off shifts both alike.
"""

from pilotsignal.errors import QuantityError
from pilotsignal.quantity import Quantity
from pilotsignal.standard.decode import duty_of_current
from pilotsignal.standard.profile import Profile


def nominal_width_us(
    set_current_a: float, period_us: float, profile: Profile | None = None
) -> float:
    """Nominal pulse width in microseconds at the measured period.

    Parameters
    ----------
    set_current_a : current that the charger is set to, amperes per phase.
    period_us : measured period, positive.
    profile : default: IEC 61851-1:2017, Table A.7.

    Raises
    ------
    QuantityError : no duty is defined for the current; a period that is not a positive number.

    Examples
    --------
    >>> nominal_width_us(30.0, 1000.0)
    500.0
    """
    if not 0.0 < period_us < 1e9:
        raise QuantityError(f"A period of {period_us} us cannot be; measure it again.")
    return _fraction(set_current_a, profile) * period_us


def pulse_width_error_us(
    width_us: Quantity,
    frequency_hz: Quantity,
    set_current_a: float,
    profile: Profile | None = None,
) -> Quantity:
    """Measured width less the nominal one, in microseconds.

    Parameters
    ----------
    width_us, frequency_hz : of the same capture; inputs that they share (the time base) cancel
        as far as they do.
    set_current_a : current that the charger is set to, amperes per phase.

    Raises
    ------
    QuantityError : no duty is defined for the current; units other than ``us`` and ``Hz``.
    """
    # Late: GTC takes half a second to import, and nothing else here needs it.
    from pilotsignal.budget import derive

    if width_us.unit != "us" or frequency_hz.unit != "Hz":
        raise QuantityError("A pulse width in us and a frequency in Hz are needed.")
    fraction = _fraction(set_current_a, profile)
    return derive(
        "pulse_width_error_us",
        "us",
        f"width less {fraction * 100.0:.4g} % of the measured period",
        lambda width, frequency: width - fraction * 1e6 / frequency,
        (width_us, frequency_hz),
    )


def _fraction(set_current_a: float, profile: Profile | None) -> float:
    nominal = duty_of_current(set_current_a, profile)
    if nominal.duty_percent is None:
        raise QuantityError(f"Set current: {nominal.text}; state the current that it is set to.")
    return nominal.duty_percent / 100.0
