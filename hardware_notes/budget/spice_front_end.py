"""Runs `front_end.cir` in ngspice: transfer, bandwidth, thresholds, width at the comparator."""

from dataclasses import dataclass

import numpy as np
import pilot_levels
import spice
import standin_design as design

_STEP_NS = 2.0
_RAMP_US = 2.5  # generator, rail to rail: 2 us from 10 to 90 %
_WIDTH_US = 80.0
_START_US = 5.0
_FIRST_US = 10.0  # the start is the settled low level


@dataclass(frozen=True, slots=True)
class Width:
    """Shift of the pulse width in nanoseconds, comparator less contact, by load."""

    rung: str
    capacitance_f: float
    rise_delay_ns: float
    fall_delay_ns: float

    @property
    def shift_ns(self) -> float:
        """Positive: a high pulse looks longer."""
        return self.fall_delay_ns - self.rise_delay_ns


def parameters(**other: float) -> dict[str, float]:
    """Values for the netlist; `other` replaces some."""
    values = {
        "slew": design.SLEW_V_PER_S,
        "gbw": design.GAIN_BANDWIDTH_HZ,
        "offset": 0.0,
        "delay": design.COMPARATOR_DELAY_S,
        "top": design.TOP_OHM,
        "topf": design.TOP_F,
        "bottom": design.BOTTOM_OHM,
        "bottomf": design.bottom_needed_f() - design.STRAY_F,
        "stray": design.STRAY_F,
        "pair": design.PAIR_OHM,
        "dither": design.DITHER_OHM,
        "pin": design.PIN_F,
        "spair": design.SENSE_PAIR_OHM,
        "sense": design.SENSE_F,
        "feedback": design.FEEDBACK_OHM,
        "half": design.REFERENCE_V / 2.0,
        "ref": design.REFERENCE_V,
    }
    return values | other


def transfer(**other: float) -> tuple[spice.Floats, spice.Floats]:
    """Contact volts and converter volts from -15 to 15 V."""
    deck = spice.Deck("front_end.cir", parameters(**other), "V1 cp 0 0")
    found = deck.run("dc V1 -15 15 0.25", "v(adc)")
    return found[0], found[1]


def response(**other: float) -> tuple[spice.Floats, spice.Floats]:
    """Hz and gain from contact to converter pin, relative to that at 1 kHz."""
    deck = spice.Deck("front_end.cir", parameters(**other), "V1 cp 0 dc 0 ac 1")
    hertz, gain = deck.run("ac dec 40 10 100meg", "vm(adc)")
    return hertz, gain / np.interp(1e3, hertz, gain)


def bandwidth_hz(**other: float) -> float:
    """Where the gain has fallen by 3 dB."""
    hertz, gain = response(**other)
    below = int(np.flatnonzero(gain < np.sqrt(0.5))[0])
    return float(
        np.interp(-np.sqrt(0.5), -gain[below - 1 : below + 1], hertz[below - 1 : below + 1])
    )


def thresholds_v() -> tuple[float, float]:
    """Contact volts at which the comparator turns high and low on a slow ramp."""
    source = "V1 cp 0 PWL(0 -0.2 20m 0.2 40m -0.2)"
    deck = spice.Deck("front_end.cir", parameters(), source)
    time, contact, comp = deck.run("tran 5u 40m 0 5u", "v(cp) v(comp)")
    high = comp > design.SUPPLY_V / 2.0
    turns = np.flatnonzero(high[1:] != high[:-1])
    up, down = turns[time[turns] > 1e-3][:2]
    return float(contact[up]), float(contact[down])


def width(rung: str, capacitance_f: float, offset_v: float = 0.0, **other: float) -> Width:
    """Crossings of 0 V at the contact against those of the comparator."""
    deck = spice.Deck(
        "front_end.cir", parameters(offset=offset_v, **other), _charger(rung, capacitance_f)
    )
    end = _FIRST_US + _START_US + _WIDTH_US + 35.0
    found = deck.run(f"tran {_STEP_NS}n {end}u {_FIRST_US}u {_STEP_NS}n", "v(cp) v(comp)")
    time, contact, comp = found[0], found[1], found[2]
    true = _crossings(time, contact, 0.0)
    seen = _crossings(time, comp, design.SUPPLY_V / 2.0)
    if len(true) != 2 or len(seen) != 2:
        raise spice.SpiceError(f"{rung}: {len(true)} crossings at the contact, {len(seen)} seen")
    return Width(rung, capacitance_f, (seen[0] - true[0]) * 1e9, (seen[1] - true[1]) * 1e9)


def _charger(rung: str, capacitance_f: float) -> str:
    rail, start = design.RAIL_V, _FIRST_US + _START_US
    pulse = f"{-rail} {rail} {start}u {_RAMP_US}u {_RAMP_US}u {_WIDTH_US - _RAMP_US}u 10m"
    return "\n".join(
        (
            f"Vg gen 0 PULSE({pulse})",
            f"Rs gen cp {design.SOURCE_OHM}",
            f"Cs cp 0 {capacitance_f}",
            "Dl cp k fast",
            f"Rl k 0 {pilot_levels.load_ohm(rung)}",
            # 0.70 V at 5 mA, the middle of IEC 61851-1:2017 Table A.3
            ".model fast D(IS=4.4813e-14 N=1.05935 RS=0.6)",
        )
    )


def _crossings(time: spice.Floats, volts: spice.Floats, level: float) -> list[float]:
    above = volts > level
    places = np.flatnonzero(above[1:] != above[:-1])
    part = (level - volts[places]) / (volts[places + 1] - volts[places])
    crossings: list[float] = (time[places] + part * (time[places + 1] - time[places])).tolist()
    return crossings
