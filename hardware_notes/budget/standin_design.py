"""Values of the stand-in's parts, written down once.

The pages, the drawings, the netlists and the error budget take them from here.  Resistances in
ohm, capacitances in farad, tolerances as a share.  Ladder and limits of the generator:
IEC 61851-1:2017 Tables A.2, A.3 and A.9 (not checked against a purchased copy).
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Resistor:
    """`parts` of `part_ohm` each, `chains` in parallel, make up `ohm`; `rating_w` is of one part.

    `parts` are the resistances of one chain in series.
    """

    name: str
    ohm: float
    parts: tuple[float, ...]
    chains: int
    tolerance: float
    rating_w: float

    @property
    def made_ohm(self) -> float:
        """What the parts give."""
        return sum(self.parts) / self.chains

    def heaviest_share(self) -> float:
        """Largest share of the whole dissipation that one part takes."""
        return max(self.parts) / sum(self.parts) / self.chains

    def text(self) -> str:
        """How it is built, for a table."""
        chain = " + ".join(f"{ohm:g}" for ohm in self.parts)
        if self.chains == 1:
            return chain
        inner = chain if len(self.parts) == 1 else f"({chain})"
        return f"{self.chains} x {inner} in parallel"


SETS = ("low", "nominal", "high")


def _fine(name: str, ohm: float, *parts: float, chains: int = 1) -> Resistor:
    return Resistor(name, ohm, parts or (ohm,), chains, 1e-3, 0.6)


LADDER = {
    "permanent": {
        "low": _fine("R1", 1870.0),
        "nominal": _fine("R2", 2740.0),
        "high": _fine("R3", 4610.0, 4530.0, 80.6),
    },
    "C": {
        "low": _fine("R4", 909.0),
        "nominal": _fine("R5", 1300.0),
        "high": _fine("R6", 1723.0, 1690.0, 33.2),
    },
    "D": {
        "low": _fine("R7", 140.0, 140.0, 140.0, chains=2),
        "nominal": _fine("R8", 270.0, 270.0, 270.0, chains=2),
        "high": _fine("R9", 448.0, 442.0, 6.04),
    },
}
SHORT = Resistor("R10", 80.0, (160.0,), 2, 0.01, 2.0)
CABLE = {
    "13 A": Resistor("R11", 1500.0, (1500.0,), 1, 0.01, 0.6),
    "20 A": Resistor("R12", 680.0, (680.0,), 1, 0.01, 0.6),
    "32 A": Resistor("R13", 220.0, (220.0,), 1, 0.01, 2.0),
    "63 A": Resistor("R14", 100.0, (100.0,), 1, 0.01, 3.0),
}
CODE_PULL_UP_OHM = 330.0  # assumed for the charger's side; not in any table used here
CODE_RAIL_V = 12.0

# Generator and diode, IEC 61851-1:2017 Tables A.2 and A.3.
RAIL_V, RAIL_MAX_V = 12.0, 12.6
SOURCE_OHM, SOURCE_MIN_OHM, SOURCE_MAX_OHM = 1000.0, 970.0, 1030.0
DIODE_V, DIODE_MIN_V, DIODE_MAX_V = 0.70, 0.55, 0.85
FAULT_V = 15.0  # a wrong supply of the charger, up to what the suppressor lets stand

# Suppressors, fuses, pilot capacitance.
SUPPRESSOR_CLAMP_V = 27.0
SUPPRESSOR_PULSE_W = 600.0  # for 1 ms
SUPPRESSOR_F = 50e-12
FUSE_OHM, FUSE_A, FUSE_I2T = 0.3, 0.5, 0.25
CONTACT_OHM = 0.1
WIRING_F = 30e-12
JUMPER_F = {"JP1": 2.2e-9, "JP2": 1.5e-9}

# Front end.
TOP_OHM, TOP_PARTS = 365e3, 2
BOTTOM_OHM = 274e3
TOP_F = 47e-12  # over each of the two
BOTTOM_F, TRIMMER_F, STRAY_F = 39e-12, (4e-12, 20e-12), 10e-12
PAIR_OHM = 3010.0  # buffer to converter, reference to converter
SENSE_PAIR_OHM = 4990.0  # the same for the comparator
FEEDBACK_OHM = 1.5e6
PIN_F = 34e-12  # pin, sampling capacitor, clamp
SENSE_F = 8e-12
REFERENCE_V = 4.096
SUPPLY_V = 5.0
COUNTS = 1023
LOW_V, HIGH_V = -15.0, 15.0
GAIN_BANDWIDTH_HZ = 10e6
SLEW_V_PER_S = 10e6
COMPARATOR_DELAY_S = 60e-9
COMPARATOR_SKEW_S = 10e-9
COMPARATOR_OFFSET_V = 3e-3
BUFFER_OFFSET_V = 1e-3
BUFFER_BIAS_A = 1e-9
FINE_TOLERANCE = 1e-3
SENSE_TOLERANCE = 5e-4  # of the comparator's pair and of the half reference
FINE_PPM = 25.0
REFERENCE_TOLERANCE, REFERENCE_PPM = 1e-3, 25.0
REFERENCE_PER_A = 40e-6 / 1e-3  # load regulation, share per ampere
DITHER_TIMING_OHM, DITHER_TIMING_F = 18e3, 4.7e-9
DITHER_OHM = 261e3  # from a triangle of a third of the reference, about its middle

# Control.
COIL_OHM, RELAY_SUPPLY_V, RELAYS = 1028.0, 12.0, 17
PUMP_COUPLING_F, PUMP_STORE_F, PUMP_OHM = 100e-9, 100e-9, 220e3
PUMP_TOLERANCE = 0.06
PUMP_DIODE_V = 0.3
SCHMITT_RISING_V, SCHMITT_FALLING_V = (2.0, 3.4), (0.9, 2.3)
RAMP_OHM, RAMP_F = 30e3, 100e-9


def divider() -> float:
    """Share of the contact's voltage at the buffer."""
    return BOTTOM_OHM / input_ohm()


def input_ohm() -> float:
    """From the contact to PE, in ohm."""
    return TOP_OHM * TOP_PARTS + BOTTOM_OHM


def full_scale_v() -> float:
    """Volts at the contact where the converter's range ends; the other end is its negative."""
    return REFERENCE_V / divider() / (1.0 - dither_share())


def dither_share() -> float:
    """How far the dither's resistor pulls the converter pin towards its middle."""
    source = PAIR_OHM / 2.0
    return source / (source + DITHER_OHM)


def count(volts: float) -> float:
    """Converter count at `volts`, not rounded."""
    return COUNTS * (0.5 + 0.5 * volts / full_scale_v())


def bottom_needed_f() -> float:
    """Capacitance below that makes the divider flat, in farad."""
    top = TOP_F / TOP_PARTS
    return top * TOP_OHM * TOP_PARTS / BOTTOM_OHM


def input_f() -> float:
    """Capacitance that the compensated divider puts on the contact."""
    top, bottom = TOP_F / TOP_PARTS, bottom_needed_f()
    return top * bottom / (top + bottom)


def own_f() -> float:
    """Capacitance that the stand-in puts on the pilot without a jumper."""
    return input_f() + SUPPRESSOR_F + WIRING_F
