"""Enable of the relay registers: charge pump, relay supply, check ramp."""

import math
from dataclasses import dataclass

import standin_design as design

HEARTBEAT_HZ = 16e6 / (2 * 16384)  # of the firmware: an edge every 16384 ticks


@dataclass(frozen=True, slots=True)
class Pump:
    """Seconds and volts of the charge pump, worst over its tolerances."""

    longest_decay_s: float
    shortest_hold_s: float
    least_cycles_hz: float
    longest_charge_s: float


def steady_v(cycles_hz: float, tolerance: float = 0.0) -> float:
    """Mean voltage of the store while the heartbeat goes on."""
    # Charge in per cycle C1 (5 - 2 Vd - V), charge out V / (R f).
    transfer = cycles_hz * design.PUMP_COUPLING_F * design.PUMP_OHM * (1.0 + tolerance)
    return ceiling_v() * transfer / (1.0 + transfer)


def charge_s(threshold_v: float) -> float:
    """Time from the first edge until the store passes a threshold, cycle by cycle."""
    volts, cycles = 0.0, 0
    while volts < threshold_v:
        # Two equal capacitors share what is missing; the resistor drains until the next cycle.
        drain = math.exp(-1.0 / (HEARTBEAT_HZ * design.PUMP_STORE_F * design.PUMP_OHM))
        share = design.PUMP_COUPLING_F / (design.PUMP_COUPLING_F + design.PUMP_STORE_F)
        volts = volts * drain + (ceiling_v() - volts * drain) * share
        cycles += 1
    return cycles / HEARTBEAT_HZ


def ceiling_v() -> float:
    """What the store cannot exceed."""
    return design.SUPPLY_V - 2.0 * design.PUMP_DIODE_V


def pump() -> Pump:
    """From the highest voltage to the lowest threshold, and the other way about."""
    constant = design.PUMP_STORE_F * design.PUMP_OHM
    slow, fast = 1.0 + design.PUMP_TOLERANCE, 1.0 - design.PUMP_TOLERANCE
    decay = slow * constant * math.log(ceiling_v() / min(design.SCHMITT_FALLING_V))
    # A heartbeat just fast enough to pass the highest rising threshold.
    least = max(design.SCHMITT_RISING_V)
    need = least / (ceiling_v() - least)
    cycles = need / (design.PUMP_COUPLING_F * design.PUMP_OHM * fast)
    hold = fast * constant * math.log(least / max(design.SCHMITT_FALLING_V))
    return Pump(decay, hold, cycles, charge_s(least))


def coil_a() -> float:
    """Current of one relay at the nominal supply."""
    return design.RELAY_SUPPLY_V / design.COIL_OHM


RELAYS_BY_SETTING = (
    ("open", 0),
    ("B", 1),
    ("C or D", 2),
    ("C, diode bypassed, cable code set", 4),
    ("most that a setting can take: C, bypass, return open, cable code", 5),
    ("all relays (fault)", design.RELAYS),
)


def ramp_constant_s() -> float:
    """Time constant of the check ramp."""
    return design.RAMP_OHM * design.RAMP_F
