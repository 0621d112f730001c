"""The board's clock against a known frequency at the pilot contact."""

import math
from typing import Final

from pilotsignal.calibration_fit import Known, clock_correction
from rungbench.calibrations.answers import Question, number
from rungbench.calibrations.contact import Pulses
from rungbench.calibrations.desk import Desk, Worked, ask_instrument
from rungbench.errors import BenchError
from rungbench.link.words import Oscillator
from rungbench.standin.calibration import uncalibrated

_RECORD_S: Final = 10.0
_FARTHEST: Final = 0.02  # of the frequency that was typed
# What a clock may wander within a year and some kelvin, in ppm either way.  Crystal: 5 a year and
# 0.5 a kelvin; ceramic resonator: 0.3 % by temperature and age together.  Common practice, no
# source.
_WANDER_PPM: Final = {Oscillator.CRYSTAL: "10", Oscillator.RESONATOR: "3000"}
_UNKNOWN_PPM: Final = "3000"


def calibrate_clock(desk: Desk) -> Worked:
    """Ask for the frequency, time it, and work out the true rate of the clock.

    Raises
    ------
    BenchError : the board sees another frequency, or none.
    """
    answers = desk.answers
    source = ask_instrument(answers, "clock", "frequency reference", "Hz")
    hz = answers.get(
        Question(
            "clock.frequency_hz",
            "Apply pulses of a known frequency to the pilot contact, from below -3 V to above "
            "+3 V; type the frequency in Hz",
            number(100.0, 5000.0, "Hz"),
        )
    )
    oscillator = desk.contact.identity.oscillator
    wander = answers.get(
        Question(
            "clock.wander_ppm",
            f"How far this {oscillator} may wander until the calibration ends, in ppm either way",
            number(0.1, 10_000.0, "ppm"),
            _WANDER_PPM.get(oscillator, _UNKNOWN_PPM),
        )
    )
    nominal = uncalibrated(desk.contact.identity).time_base
    if desk.contact.waiting:
        answers.person.tell(f"pulses of {hz:g} Hz at the contact: {desk.contact.waiting}")
    timing = desk.contact.pulses(Pulses(hz, 0.4e6 / hz), _RECORD_S, nominal)
    seen = timing.frequency_hz
    if seen is None or abs(seen.value / hz - 1.0) > _FARTHEST:
        value = "nothing" if seen is None else f"{seen.value:.3f} Hz"
        answers.again("clock.frequency_hz", f"{hz:g} Hz were typed and the board sees {value}.")
        raise BenchError(f"{hz:g} Hz were typed and the board sees {value}; check both.")
    reference = Known(hz, source.standard.u(hz))
    found = clock_correction(reference, seen, wander * 1e-6 / math.sqrt(3.0))
    readings = {
        "reference_hz": hz,
        "u_reference_hz": reference.u,
        "seen_hz": seen.value,
        "u_seen_hz": seen.u,
        "method": seen.method,
        "wander_ppm": wander,
    }
    line = (
        f"clock: {found.value * 1e6:+.2f} ppm off its nominal rate, standard uncertainty "
        f"{found.u * 1e6:.2f} ppm"
    )
    result = {"correction": found.value, "u_relative": found.u}
    return Worked((source,), readings, result, (line,))
