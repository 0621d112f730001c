"""What the pictures of the help show: pilots computed from the circuit, sound and with a fault.

No Qt.  Circuit and nominal parts are those of IEC 61851-1:2017 Annex A, Tables A.2 and A.3.
"""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from pilotsignal.circuit import Ladder, Load, PilotCircuit, Source
from pilotsignal.resistors import STATES, high_level

Floats = npt.NDArray[np.float64]

SPAN_US: Final = 1300.0
"""What a picture shows of time: one period and a bit."""

_BEGIN_US: Final = 120.0
_POINTS: Final = 1300
_USUAL: Final = Source(capacitance_f=1.0e-9)
_SIXTEEN_A_US: Final = 266.67
_STEADY: Final = 0.0
_LADDER: Final = Ladder()
DROP_V: Final = 0.70
"""Drop of the diode, as hand calculations have it."""


@dataclass(frozen=True, slots=True, eq=False)
class Wave:
    """Volts at the contact over `SPAN_US`: both of shape (n,)."""

    times_us: Floats
    volts: Floats


@dataclass(frozen=True, slots=True)
class Pulses:
    """A generator: frequency in hertz, width in microseconds, 0 where it is steady."""

    hz: float = 1000.0
    width_us: float = _SIXTEEN_A_US


@dataclass(frozen=True, slots=True)
class Pilot:
    """A pilot as the generator, the circuit and hum in volts make it."""

    source: Source = _USUAL
    load: Load = field(default_factory=lambda: _LADDER.load("B"))
    pulses: Pulses = field(default_factory=Pulses)
    hum_v: float = 0.0

    @property
    def circuit(self) -> PilotCircuit:
        """Source and load."""
        return PilotCircuit(self.source, self.load)


def wave(pilot: Pilot) -> Wave:
    """The pilot's voltage over a period and a bit; the generator rises at 120 us."""
    times = np.linspace(0.0, SPAN_US, _POINTS)
    circuit = pilot.circuit
    if pilot.pulses.width_us == _STEADY:
        volts = np.full(times.shape, circuit.high_v)
    else:
        volts = _pulsed(pilot, times)
    return Wave(times, volts + _hum(pilot.hum_v, times))


def _pulsed(pilot: Pilot, times: Floats) -> Floats:
    circuit = pilot.circuit
    period_us = 1e6 / pilot.pulses.hz
    volts = np.full(times.shape, circuit.low_v)
    rise, fall = circuit.rise(), circuit.fall()
    for start in np.arange(_BEGIN_US, SPAN_US, period_us):
        up, down = times >= start, times >= start + pilot.pulses.width_us
        volts[up] = rise.volts_at(times[up] - start)
        volts[down] = fall.volts_at(times[down] - start - pilot.pulses.width_us)
    return volts


def _hum(amplitude_v: float, times: Floats) -> Floats:
    """Hum at 50 Hz seen through a window of a millisecond is a slope; harmonics ripple on it."""
    turns = 2.0 * np.pi * times * 1e-6
    slow = np.sin(50.0 * turns - 0.2) + 0.5 * np.sin(3250.0 * turns) + 0.3 * np.sin(7450.0 * turns)
    shaped: Floats = amplitude_v * slow
    return shaped


@dataclass(frozen=True, slots=True)
class Fault:
    """A sound pilot and one with a fault, and what the fault is called in the picture."""

    faulty: Pilot
    text: str
    sound: Pilot = field(default_factory=Pilot)


def _of_source(**changed: float) -> Pilot:
    return Pilot(replace(_USUAL, **changed))


FAULTS: Final[Mapping[str, Callable[[], Fault]]] = {
    "rail-low": lambda: Fault(_of_source(low_v=-6.0), "low rail at −6 V"),
    "slow-edges": lambda: Fault(_of_source(capacitance_f=6e-9), "6 nF on the pilot"),
    "long-pulse": lambda: Fault(Pilot(pulses=Pulses(width_us=296.67)), "30 µs too long"),
    "frequency": lambda: Fault(Pilot(pulses=Pulses(hz=1050.0)), "1050 Hz"),
    "no-pwm": lambda: Fault(Pilot(pulses=Pulses(width_us=_STEADY)), "steady"),
    "five-percent": lambda: Fault(Pilot(pulses=Pulses(width_us=50.0)), "5 %"),
    "no-diode": lambda: Fault(Pilot(load=_LADDER.load("B", diode_in=False)), "no diode"),
    "short": lambda: Fault(Pilot(load=_LADDER.load("short")), "80 Ω to PE"),
    "hum": lambda: Fault(Pilot(hum_v=0.4), "hum and noise"),
}
"""Faults that show in the shape of one period."""

LEVEL_FAULTS: Final[Mapping[str, Callable[[], Fault]]] = {
    "source-high": lambda: Fault(_of_source(ohm=1200.0), "1200 Ω"),
    "rail-high": lambda: Fault(_of_source(high_v=13.0), "rail at 13 V"),
}
"""Faults that show in the levels of the states."""


def levels(source: Source) -> tuple[float, ...]:
    """High levels of A to D in volts, with nominal parts and 0.70 V at the diode."""
    values = {
        "high_rail": source.high_v,
        "source": source.ohm,
        "permanent": _LADDER.permanent_ohm,
        "switched_c": _LADDER.switched_c_ohm,
        "switched_d": _LADDER.switched_d_ohm,
        "diode": DROP_V,
    }
    return tuple(float(high_level(state, values)) for state in STATES)
