"""The calibration that comes with the simulated bench.

What a careful laboratory would have written down about it: nominal values with
uncertainties.  The board's true values (`parts`) lie within them, elsewhere for
every seed.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from types import MappingProxyType

from pilotsignal.calibration import KnownPart, TimeBase, VoltCalibration, WidthBias
from rungbench.link.words import CableCode, LadderSet
from rungbench.simulated.circuit import INPUT_OHM
from rungbench.simulated.diode import FAST_DIODE
from rungbench.simulated.parts import (
    C_OHM,
    CABLE_OHM,
    D_OHM,
    FILTER_S,
    HIGH_V,
    LOW_V,
    PERMANENT_OHM,
    SHORT_OHM,
    SKEW_S,
    U_CLOCK,
    U_DIODE_V,
    U_GAIN,
    U_LADDER,
    U_OFFSET_V,
    U_SHORT,
    U_SKEW_S,
)

ID = "SIMULATED-1"
_BITS = 10
_COUNTS = 2**_BITS - 1
# One number from 2.75 to 10 mA; the drop at the currents of the rungs is known better.
_U_DROP_V = 0.013
_RUNG_AMPERES = {"b": 3.0e-3, "c": 6.0e-3, "d": 9.1e-3}
_U_INPUT_OHM = 2_000.0
_LADDER_PARTS = (("permanent", PERMANENT_OHM), ("switched_c", C_OHM), ("switched_d", D_OHM))


@dataclass(frozen=True, slots=True)
class SimulatedCalibration:
    """Converter, clock, comparator and parts of the simulated stand-in.

    `volts` is a line over counts of `bits` bits.  `width_bias` is by rung, ``""`` for any.
    `parts` are by name: ``permanent``, ``switched_c``, ``switched_d`` (nominal ladder; with
    ``_low`` and ``_high`` the others), ``short``, ``input_ohm``, ``cable_13`` and so on in ohm,
    ``diode_drop`` in V from 2.75 to 10 mA, and ``diode_drop_b``, ``_c``, ``_d`` at the currents of
    the rungs with the nominal ladder.
    """

    id: str
    volts: VoltCalibration
    bits: int
    time_base: TimeBase
    width_bias: Mapping[str, WidthBias]
    parts: Mapping[str, KnownPart]


def simulated_bench_calibration() -> SimulatedCalibration:
    """The calibration of every simulated bench, whatever its seed."""
    gain_v = (HIGH_V - LOW_V) / _COUNTS
    volts = VoltCalibration(
        id=ID,
        gain_v=gain_v,
        offset_v=LOW_V,
        u_gain_relative=U_GAIN,
        # A gain error turns the line about 0 V, in the middle of the range.
        u_offset_v=U_OFFSET_V,
        u_linearity_v=0.002,
        made=date(2026, 1, 15),
        valid_until=date(2036, 1, 14),
        by="SIMULATED laboratory",
        simulated=True,
        front_end_us=FILTER_S * 1e6,
    )
    bias = WidthBias(f"width@{ID}", bias_us=SKEW_S * 1e6, u_us=U_SKEW_S * 1e6)
    return SimulatedCalibration(
        id=ID,
        volts=volts,
        bits=_BITS,
        time_base=TimeBase(f"clock@{ID}", "crystal", U_CLOCK),
        width_bias=MappingProxyType({"": bias}),
        parts=MappingProxyType({part.name: part.known for part in _parts()}),
    )


@dataclass(frozen=True, slots=True)
class _Part:
    name: str
    value: float
    u: float
    unit: str = "ohm"

    @property
    def known(self) -> KnownPart:
        return KnownPart(f"{self.name}@{ID}", self.value, self.u, self.unit)


def _parts() -> list[_Part]:
    parts = [
        _Part("diode_drop", 0.70, _U_DROP_V, "V"),
        _Part("input_ohm", INPUT_OHM, _U_INPUT_OHM),
        _Part("short", SHORT_OHM, SHORT_OHM * U_SHORT),
    ]
    for role, table in _LADDER_PARTS:
        for which, ohm in table.items():
            name = role if which is LadderSet.NOMINAL else f"{role}_{which}"
            parts.append(_Part(name, ohm, ohm * U_LADDER))
    for rung, ampere in _RUNG_AMPERES.items():
        drop = round(FAST_DIODE.drop(ampere), 3)
        parts.append(_Part(f"diode_drop_{rung}", drop, U_DIODE_V, "V"))
    for code, ohm in CABLE_OHM.items():
        if code not in (CableCode.OPEN, CableCode.SHORT):
            parts.append(_Part(f"cable_{code}", ohm, ohm * U_LADDER))
    return parts
