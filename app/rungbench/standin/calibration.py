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
from rungbench.link.words import LadderSet, Oscillator

# Ceramic resonators are up to 0.5 % off (common practice, no source).
_RESONATOR = TimeBase("resonator-5000ppm", "resonator", 5e-3 / math.sqrt(3.0))
_TIME_BASES: Final = {
    Oscillator.CRYSTAL: CRYSTAL_50_PPM,
    Oscillator.RESONATOR: _RESONATOR,
    Oscillator.UNKNOWN: UNKNOWN_TIME_BASE,
}
_NO_PARTS: Final[Mapping[str, KnownPart]] = MappingProxyType({})
_NO_DOUBTS: Final[Mapping[str, str]] = MappingProxyType({})
# By design comparator and its path delay both edges alike to 50 ns; slow edges and hysteresis add
# to that.  Half a microsecond either way holds all of it, until the widths are calibrated.
_UNKNOWN_BIAS: Final = WidthBias("width@none", 0.0, 0.5 / math.sqrt(3.0))


@dataclass(frozen=True, slots=True)
class BenchCalibration:
    """Calibration of one stand-in.

    `volts` is a line over the counts of `bits` bits.  `parts` are by name: ``permanent``,
    ``switched_c``, ``switched_d`` (ohm; with ``_low`` and ``_high`` those of the other sets),
    ``diode_drop`` (V), also with ``_b``, ``_c``, ``_d`` at the current of a rung and after that
    ``_low``, ``_high``, ``short`` and ``cable_13`` to ``cable_63`` (ohm), and ``input_ohm``, the
    load of the measuring path on the pilot.
    `width_bias` is by rung, since a shift of the comparator's threshold moves slow edges further;
    ``""`` stands for any other rung.  `records` are the dated records that it was put together
    from, as plain values.  `doubts` are by part (``volts``, ``clock``, ``parts``, ``widths``) and
    say why nothing may be judged by it.  `temperature_c` is that of the board when this was put
    together.
    """

    id: str
    volts: VoltCalibration
    bits: int
    time_base: TimeBase
    width_bias: Mapping[str, WidthBias]
    parts: Mapping[str, KnownPart] = field(default_factory=lambda: _NO_PARTS)
    records: tuple[Mapping[str, Any], ...] = ()
    doubts: Mapping[str, str] = field(default_factory=lambda: _NO_DOUBTS)
    temperature_c: float | None = None

    def volts_for(self, bits: int) -> VoltCalibration:
        """The same line over counts of `bits` bits, the low ones being cut off."""
        if bits == self.bits:
            return self.volts
        step = 2.0 ** (self.bits - bits)
        # Cutting bits off takes (step - 1) / 2 counts off the mean.
        shift = (step - 1.0) / 2.0 * self.volts.gain_v
        return replace(
            self.volts,
            gain_v=self.volts.gain_v * step,
            offset_v=self.volts.offset_v + shift,
            u_nonlinearity_lsb=self.volts.u_nonlinearity_lsb / step,
        )

    def bias_on(self, rung: str) -> WidthBias:
        """Shift of pulse widths on a rung."""
        return self.width_bias.get(rung) or self.width_bias[""]

    def resistor(self, role: str, ladder: LadderSet = LadderSet.NOMINAL) -> KnownPart | None:
        """A resistor of one ladder set: `role` is ``permanent``, ``switched_c`` or so."""
        return self.parts.get(role if ladder is LadderSet.NOMINAL else f"{role}_{ladder}")

    def diode_on(self, rung: str, ladder: LadderSet = LadderSet.NOMINAL) -> KnownPart | None:
        """Drop of the diode at the current of a rung, else that of its whole working range."""
        name = f"diode_drop_{rung.lower()}"
        if ladder is not LadderSet.NOMINAL:
            return self.parts.get(f"{name}_{ladder}") or self.parts.get("diode_drop")
        return self.parts.get(name) or self.parts.get("diode_drop")

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
            "temperature_c": self.temperature_c,
            "records": [dict(record) for record in self.records],
            "doubts": dict(self.doubts),
            "time_base": {
                "id": self.time_base.id,
                "kind": self.time_base.kind,
                "u_relative": self.time_base.u_relative,
                "correction": self.time_base.correction,
            },
            "width_bias": {
                rung or "any": {"id": bias.id, "bias_us": bias.bias_us, "u_us": bias.u_us}
                for rung, bias in self.width_bias.items()
            },
            "parts": {
                name: {
                    "id": part.id,
                    "value": part.value,
                    "u": part.u,
                    "unit": part.unit,
                    **({"inputs": [list(pair) for pair in part.inputs]} if part.inputs else {}),
                }
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
        width_bias={"": _UNKNOWN_BIAS},
    )
