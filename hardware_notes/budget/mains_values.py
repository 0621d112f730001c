"""Sense of one phase by hand: threshold, blind time, leakage, burden, insulation.

Insulation distances are from memory of IEC 60664-1:2020 and unconfirmed.
"""

import math
from dataclasses import dataclass

import standin_design as design

NOMINAL_V, HIGH_V, LOW_V = 230.0, 253.0, 207.0  # 230 V, 10 % either way
FREQUENCY_HZ = 50.0
SUPPRESSION_F = 100e-9  # over an open contact of the charger, taken as the case to ignore
SUPPRESSION_TOLERANCE = 0.2
BLIND_LIMIT_S = 0.8e-3

SERIES_OHM, SERIES_PARTS = 940.0, 2
SINK_A, SINK_TOLERANCE = 17e-3, 0.1
CUTOFF_V = -2.2  # of the example transistor in the netlist; each one is set by R2
SOURCE_OHM = 95.0
RECTIFIER_V = 1.4
LIMIT_PART_OHM, LIMIT_PARTS = 6800.0, 3
LIMIT_TOLERANCE = 0.05
ZENER_V, ZENER_TOLERANCE = 22.0, 0.05
ZENER_FORWARD_V = (0.6, 0.8)
LAMP_V = (1.0, 1.4)
TRANSFER = 0.5  # least at 0.5 mA, hot and aged: half of 100 %
TRANSFER_MOST = 6.0
PULL_UP_OHM = 47e3
PIN_PULL_UP_OHM = (20e3, 50e3)
PIN_LOW_V, PIN_HIGH_V = 1.5, 3.0  # 0.3 and 0.6 of the supply
OPTO_LAG_S = 5e-6


def limit_ohm() -> float:
    """Resistance in front of the optocoupler."""
    return LIMIT_PART_OHM * LIMIT_PARTS


def _pull_up(pin_ohm: float) -> float:
    return 1.0 / (1.0 / PULL_UP_OHM + 1.0 / pin_ohm)


def threshold_most_v() -> float:
    """Highest instantaneous voltage at which the sense still does not say: mains."""
    collector_a = (design.SUPPLY_V - PIN_LOW_V) / _pull_up(PIN_PULL_UP_OHM[0])
    lamp_a = collector_a / TRANSFER
    fixed = ZENER_V * (1 + ZENER_TOLERANCE) + ZENER_FORWARD_V[1] + LAMP_V[1]
    return fixed + lamp_a * limit_ohm() * (1 + LIMIT_TOLERANCE)


def threshold_least_v() -> float:
    """Lowest voltage at which it may say: mains."""
    collector_a = (design.SUPPLY_V - PIN_HIGH_V) / _pull_up(PIN_PULL_UP_OHM[1])
    lamp_a = collector_a / TRANSFER_MOST
    fixed = ZENER_V * (1 - ZENER_TOLERANCE) + ZENER_FORWARD_V[0] + LAMP_V[0]
    return fixed + lamp_a * limit_ohm() * (1 - LIMIT_TOLERANCE)


def blind_s(threshold_v: float, mains_v: float, frequency_hz: float = FREQUENCY_HZ) -> float:
    """Time around a zero crossing without conduction."""
    return 2.0 * math.asin(threshold_v / (mains_v * math.sqrt(2.0))) / (2 * math.pi * frequency_hz)


def leak_a(mains_v: float = NOMINAL_V, farad: float = SUPPRESSION_F) -> float:
    """RMS current through a suppression capacitor into a short circuit."""
    return 2.0 * math.pi * FREQUENCY_HZ * farad * mains_v


def worst_leak_peak_a() -> float:
    """Peak of it at 253 V and the capacitor's upper tolerance."""
    return math.sqrt(2.0) * leak_a(HIGH_V, SUPPRESSION_F * (1 + SUPPRESSION_TOLERANCE))


def leak_v() -> float:
    """Peak that this leakage leaves at the sense, the sink still being a resistor."""
    sink_ohm = 160.0  # channel and source resistor below the limit
    return worst_leak_peak_a() * (SERIES_OHM + sink_ohm) + RECTIFIER_V


def plain_burden_ohm() -> float:
    """What a plain resistor would have to be for the same leakage and least threshold."""
    ratio = threshold_least_v() / math.sqrt(2.0) / NOMINAL_V
    reactance = 1.0 / (2.0 * math.pi * FREQUENCY_HZ * SUPPRESSION_F)
    return reactance * ratio / math.sqrt(1.0 - ratio**2)


@dataclass(frozen=True, slots=True)
class Burden:
    """Watts and amperes of one phase, direct figures of a half wave."""

    sink_w: float
    series_part_w: float
    limit_part_w: float
    lamp_peak_a: float
    whole_w: float
    rms_a: float


def burden(mains_v: float, sink_a: float) -> Burden:
    """Averages over a half wave in steps."""
    steps = 20_000
    sink = series = limit = whole = square = 0.0
    for number in range(steps):
        volts = mains_v * math.sqrt(2.0) * math.sin(math.pi * (number + 0.5) / steps)
        able = max(volts - RECTIFIER_V, 0.0)
        burden_a = min(sink_a, able / (SERIES_OHM + 160.0))
        lamp_a = max(volts - ZENER_V - 0.7 - 1.2, 0.0) / limit_ohm()
        sink += burden_a * (able - burden_a * SERIES_OHM)
        series += burden_a**2 * SERIES_OHM
        limit += lamp_a**2 * limit_ohm()
        whole += volts * (burden_a + lamp_a)
        square += (burden_a + lamp_a) ** 2
    peak = (mains_v * math.sqrt(2.0) - ZENER_V - 1.9) / limit_ohm()
    return Burden(
        sink / steps,
        series / steps / SERIES_PARTS,
        limit / steps / LIMIT_PARTS,
        peak,
        whole / steps,
        math.sqrt(square / steps),
    )


def shorted_sink() -> tuple[float, float]:
    """RMS amperes and watts in the series resistors if the transistor shorts at 253 V."""
    current = HIGH_V / (SERIES_OHM + SOURCE_OHM)
    return current, current**2 * SERIES_OHM
