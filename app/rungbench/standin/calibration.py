"""What the host knows about one stand-in: its converter, clock, comparator and parts."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any, Final

from pilotsignal.calibration import (
    CRYSTAL_50_PPM,
    UNKNOWN_TIME_BASE,
    KnownPart,
    TimeBase,
    VoltCalibration,
    WidthBias,
)
from rungbench.link.messages import Identity
from rungbench.link.words import Oscillator

# Ceramic resonators are up to 0.5 % off (common practice, no source).
_RESONATOR = TimeBase("resonator-5000ppm", "resonator", 5e-3 / math.sqrt(3.0))
_TIME_BASES: Final = {
    Oscillator.CRYSTAL: CRYSTAL_50_PPM,
    Oscillator.RESONATOR: _RESONATOR,
    Oscillator.UNKNOWN: UNKNOWN_TIME_BASE,
}
_NO_PARTS: Final[Mapping[str, KnownPart]] = MappingProxyType({})


@dataclass(frozen=True, slots=True)
class BenchCalibration:
    """Calibration of one stand-in.

    `volts` is a line over the counts of `bits` bits.  `parts` are by name: ``permanent``,
    ``switched_c``, ``switched_d`` (ohm), ``diode_drop`` (V), also with ``_b``, ``_c``, ``_d`` at
    the current of a rung, and ``input_ohm``, the load of the measuring path on the pilot.
    `width_bias` is by rung, since a shift of the comparator's threshold moves slow edges further;
    ``""`` stands for any other rung.
    """

    id: str
    volts: VoltCalibration
    bits: int
    time_base: TimeBase
    width_bias: Mapping[str, WidthBias]
    parts: Mapping[str, KnownPart] = field(default_factory=lambda: _NO_PARTS)

    def volts_for(self, bits: int) -> VoltCalibration:
        """The same line over counts of `bits` bits, the low ones being cut off."""
        if bits == self.bits:
            return self.volts
        step = 2.0 ** (self.bits - bits)
        # Cutting bits off takes (step - 1) / 2 counts off the mean.
        shift = (step - 1.0) / 2.0 * self.volts.gain_v
        return replace(
            self.volts, gain_v=self.volts.gain_v * step, offset_v=self.volts.offset_v + shift
        )

    def bias_on(self, rung: str) -> WidthBias:
        """Shift of pulse widths on a rung."""
        return self.width_bias.get(rung) or self.width_bias[""]

    def diode_on(self, rung: str) -> KnownPart | None:
        """Drop of the diode at the current of a rung, else that of its whole working range."""
        return self.parts.get(f"diode_drop_{rung.lower()}") or self.parts.get("diode_drop")

    def as_dict(self) -> dict[str, Any]:
        """Plain values for the record."""
        return {
            "id": self.id,
            "gain_v": self.volts.gain_v,
            "offset_v": self.volts.offset_v,
            "u_gain_relative": self.volts.u_gain_relative,
            "u_offset_v": self.volts.u_offset_v,
            "made": self.volts.made.isoformat() if self.volts.made else None,
            "valid_until": self.volts.valid_until.isoformat() if self.volts.valid_until else None,
            "by": self.volts.by,
            "simulated": self.volts.simulated,
            "time_base": {
                "id": self.time_base.id,
                "kind": self.time_base.kind,
                "u_relative": self.time_base.u_relative,
            },
            "parts": {
                name: {"id": part.id, "value": part.value, "u": part.u, "unit": part.unit}
                for name, part in self.parts.items()
            },
        }


def uncalibrated(identity: Identity) -> BenchCalibration:
    """What the design of the board promises, for a board that nobody calibrated.

    Its volts carry no uncertainty, so that no voltage is judged by them.
    """
    span = identity.converter_high_v - identity.converter_low_v
    gain = span / (2**identity.converter_bits - 1)
    return BenchCalibration(
        id="none",
        volts=VoltCalibration("none", gain, identity.converter_low_v),
        bits=identity.converter_bits,
        time_base=_TIME_BASES[identity.oscillator],
        width_bias={"": WidthBias("width@none")},
    )
