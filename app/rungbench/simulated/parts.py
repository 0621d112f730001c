"""The parts of the simulated board as they really are.

Each differs from its calibrated value by a hidden error, drawn from the seed
within what the calibration states (`calibration`).  Nothing but the board and
the ladder reads this; the host learns of it only through the bytes.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from rungbench.link.words import CableCode, LadderSet
from rungbench.simulated.diode import FAST_DIODE, Diode

U_LADDER = 0.0005
U_SHORT = 0.001
U_GAIN = 0.001
U_OFFSET_V = 0.005
U_CLOCK = 50e-6 / math.sqrt(3.0)
U_SKEW_S = 20e-9
U_DIODE_V = 0.004
SKEW_S = 40e-9  # a high pulse looks longer by this, by calibration
LOW_V, HIGH_V = -15.0, 15.0
FILTER_S = 0.1e-6

PERMANENT_OHM: Mapping[LadderSet, float] = {
    LadderSet.LOW: 1870.0,
    LadderSet.NOMINAL: 2740.0,
    LadderSet.HIGH: 4610.0,
}
C_OHM: Mapping[LadderSet, float] = {
    LadderSet.LOW: 909.0,
    LadderSet.NOMINAL: 1300.0,
    LadderSet.HIGH: 1723.0,
}
D_OHM: Mapping[LadderSet, float] = {
    LadderSet.LOW: 140.0,
    LadderSet.NOMINAL: 270.0,
    LadderSet.HIGH: 448.0,
}
SHORT_OHM = 80.0
CABLE_OHM: Mapping[CableCode, float] = {
    CableCode.OPEN: math.inf,
    CableCode.A13: 1500.0,
    CableCode.A20: 680.0,
    CableCode.A32: 220.0,
    CableCode.A63: 100.0,
    CableCode.SHORT: 0.5,
}


@dataclass(frozen=True, slots=True)
class Parts:
    """True resistances in ohm, true errors of converter, clock and comparator.

    `clock` is the true rate of the board's oscillator over 16 MHz, less 1; `rise_delay_s` and
    `fall_delay_s` are what comparator and input capture add to an edge.
    """

    permanent_ohm: Mapping[LadderSet, float]
    c_ohm: Mapping[LadderSet, float]
    d_ohm: Mapping[LadderSet, float]
    short_ohm: float
    diode: Diode
    gain: float
    offset_v: float
    clock: float
    rise_delay_s: float
    fall_delay_s: float
    operate_s: float
    release_s: float


def parts_of(seed: int) -> Parts:
    """The board that belongs to a seed."""
    draw = _Draw(seed)
    return Parts(
        permanent_ohm=draw.resistors(PERMANENT_OHM),
        c_ohm=draw.resistors(C_OHM),
        d_ohm=draw.resistors(D_OHM),
        short_ohm=SHORT_OHM * (1 + draw.error(U_SHORT)),
        diode=FAST_DIODE.raised(draw.error(U_DIODE_V)),
        gain=1 + draw.error(U_GAIN),
        offset_v=draw.error(U_OFFSET_V),
        clock=draw.even(50e-6),
        rise_delay_s=90e-9,
        fall_delay_s=90e-9 + SKEW_S + draw.error(U_SKEW_S),
        operate_s=0.0035 + draw.even(0.0003),
        release_s=0.0020 + draw.even(0.0002),
    )


class _Draw:
    """Hidden errors in a fixed order."""

    def __init__(self, seed: int) -> None:
        self._generator = np.random.default_rng((seed, 0xB0A2D))

    def error(self, u: float) -> float:
        """Normal with standard uncertainty `u`, cut at two of them."""
        return u * float(np.clip(self._generator.standard_normal(), -2.0, 2.0))

    def even(self, bound: float) -> float:
        return float(self._generator.uniform(-bound, bound))

    def resistors(self, nominal: Mapping[LadderSet, float]) -> Mapping[LadderSet, float]:
        return {which: ohm * (1 + self.error(U_LADDER)) for which, ohm in nominal.items()}
