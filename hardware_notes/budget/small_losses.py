"""Dissipation of the resistors that carry no pilot and no mains: supplies, pairs, control.

Direct current at the most that the supplies give: 5.25 V, -5.25 V.  Ladder and cable coding:
`ladder_power`; mains: `mains_values`; R20 and R21 with mains on the pilot: `front_end_values`.
"""

import standin_design as design

Table = tuple[list[str], list[list[str]]]

SUPPLY_V = 5.25
REFERENCE_SUPPLY_A = 12e-3  # what R28 carries: pairs, half reference, thermistor, oscillator, U22
OSCILLATOR_A = 0.5e-3  # R35 feeds it
HEARTBEAT_HZ = 488.3
LAMP_V = 1.6  # the least that a red one drops


def _over(volts: float, ohm: float) -> float:
    return volts**2 / ohm


def losses() -> list[tuple[str, str, float, float]]:
    """Parts, in which case, watts in one of them, rating in watts."""
    reference, whole = design.REFERENCE_V, design.FAULT_V / design.input_ohm()
    pair_v = (SUPPLY_V + reference) / 2.0
    pumped = design.PUMP_COUPLING_F * SUPPLY_V**2 * HEARTBEAT_HZ
    return [
        ("R20, R21", "15 V at the contact", whole**2 * design.TOP_OHM, 0.25),
        ("R22", "15 V at the contact", whole**2 * design.BOTTOM_OHM, 0.25),
        ("R23, R24", "buffer on its lower rail", _over(pair_v, design.PAIR_OHM), 0.1),
        ("R25, R26", "buffer on its lower rail", _over(pair_v, design.SENSE_PAIR_OHM), 0.1),
        ("R27", "output high or low", _over(SUPPLY_V / 2.0, design.FEEDBACK_OHM), 0.1),
        ("R28", "12 mA", REFERENCE_SUPPLY_A**2 * 10.0, 0.1),
        ("R29, R30", "always", _over(reference / 2.0, 10e3), 0.1),
        ("R31", "thermistor hot", _over(reference, 10e3), 0.1),
        ("R32", "ramp just begun", _over(SUPPLY_V, design.RAMP_OHM), 0.1),
        ("R33", "always", _over(reference, design.DITHER_OHM), 0.1),
        ("R34", "always", _over(reference * 2.0 / 3.0, design.DITHER_TIMING_OHM), 0.1),
        ("R35", "0.5 mA", OSCILLATOR_A**2 * 100.0, 0.1),
        ("R50", "pump full", _over(SUPPLY_V, design.PUMP_OHM), 0.1),
        ("R51", "heartbeat", pumped, 0.1),
        ("R52, R56..R59", "5.25 V", _over(SUPPLY_V, 10e3), 0.1),
        ("R53", "lamp on", _over(SUPPLY_V - LAMP_V, 1e3), 0.1),
        ("R54", "interlock closed", _over(SUPPLY_V, 1e3), 0.1),
        ("R55", "a wire of 5.25 V on the contact", _over(SUPPLY_V, 1e3), 0.1),
        ("R46", "lamp of the optocoupler on", _over(SUPPLY_V, 47e3), 0.1),
    ]


def rows() -> Table:
    """The table of the page."""
    made = [
        [parts, case, f"{1e3 * watt:.2g}", f"{1e3 * rating:g}"]
        for parts, case, watt, rating in losses()
    ]
    return ["part", "worst case", "one part (mW)", "rating (mW)"], made
