"""Levels at the contact for this ladder, what the measuring path takes off, and the short.

Circuit of IEC 61851-1:2017 Annex A by `pilotsignal.synth.Circuit`.
"""

from dataclasses import dataclass

import standin_design as design

from pilotsignal.synth import Circuit

FULL_F = 3.1e-9 + 2.4e-9  # IEC 61851-1:2017 Tables A.2 and A.3: Cs + Cc and Cv at their limits
SHORTS_OHM = (80.0, 120.0)
WINDOW_E_V = 1.0  # IEC 61851-1:2017 Table A.4: E is -1 to 1 V
INPUTS_OHM = (100e3, 1e6, design.input_ohm())


def load_ohm(rung: str, which: str = "nominal") -> float:
    """Resistance behind the diode on B, C or D."""
    permanent = design.LADDER["permanent"][which].ohm
    if rung == "B":
        return permanent
    return 1.0 / (1.0 / permanent + 1.0 / design.LADDER[rung][which].ohm)


def plateau_v(rung: str, which: str = "nominal", rail_v: float = design.RAIL_V) -> float:
    """High plateau of a 1000 ohm source with a diode of 0.70 V."""
    return Circuit(open_high_v=rail_v, load_ohm=load_ohm(rung, which)).loaded_v(rail_v)


def loading_v(input_ohm: float, rung: str = "A") -> float:
    """Volts that a resistance between contact and PE takes off the high plateau."""
    if rung == "A":
        return design.RAIL_V * design.SOURCE_OHM / (design.SOURCE_OHM + input_ohm)
    load = load_ohm(rung)
    behind = design.SOURCE_OHM * load / (design.SOURCE_OHM + load)
    return plateau_v(rung) * behind / (behind + input_ohm)


def short_v(ohm: float, rail_v: float = design.RAIL_V, source: float = design.SOURCE_OHM) -> float:
    """Level at the contact with a resistor straight to PE."""
    return rail_v * ohm / (ohm + source)


@dataclass(frozen=True, slots=True)
class EdgeTimes:
    """Of an ideal generator at the contact: seconds in microseconds, capacitance in farad."""

    rung: str
    capacitance_f: float
    rise_us: float
    fall_us: float
    width_shift_us: float


def edge_times(rung: str, capacitance_f: float) -> EdgeTimes:
    """10 to 90 % times and the shift of the width at 0 V, in closed form."""
    width_us = 266.67
    circuit = Circuit(load_ohm=load_ohm(rung), capacitance_f=capacitance_f)
    truth = circuit.wave(1000.0, width_us).truth()
    rise, fall, width = truth.rise_time_us, truth.fall_time_us, truth.pulse_width_zero_us
    if rise is None or fall is None or width is None:
        raise ValueError(f"rung {rung} makes no pulses")
    return EdgeTimes(rung, capacitance_f, rise, fall, width - width_us)
