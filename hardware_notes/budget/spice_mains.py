"""Runs `mains_sense.cir` in ngspice: blind time, leakage, and what an opening looks like."""

from dataclasses import dataclass

import mains_values as values
import numpy as np
import numpy.typing as npt
import spice


@dataclass(frozen=True, slots=True)
class Opening:
    """An opening at `place_deg` of the cycle: seconds until the pin was last low after it."""

    place_deg: float
    capacitor_f: float
    late_s: float


def parameters(**other: float) -> dict[str, float]:
    """Values for the netlist; `other` replaces some."""
    given = {
        "series": values.SERIES_OHM,
        "source": values.SOURCE_OHM,
        "vto": values.CUTOFF_V,
        "front": values.limit_ohm(),
        "zener": values.ZENER_V + 0.7,
        "ctr": values.TRANSFER,
        "lag": values.OPTO_LAG_S,
        "pullup": 1.0 / (1.0 / values.PULL_UP_OHM + 1.0 / values.PIN_PULL_UP_OHM[0]),
    }
    return given | other


def _mains(volts: float) -> str:
    return f"Vl x 0 SIN(0 {volts * np.sqrt(2):.6f} {values.FREQUENCY_HZ})\nVn n 0 0"


def _low(pin: spice.Floats) -> npt.NDArray[np.bool_]:
    return pin < values.PIN_LOW_V


def blind_s(volts: float, **other: float) -> float:
    """Longest time without conduction while mains is on."""
    deck = spice.Deck("mains_sense.cir", parameters(**other), f"{_mains(volts)}\nRx x l 0.1")
    time, pin = deck.run("tran 5u 60m 20m 5u", "v(out)")
    low = np.flatnonzero(_low(pin))
    return float(np.diff(time[low]).max())


def sink_a(volts: float = 60.0) -> float:
    """Current of burden and threshold path at a steady voltage: what is set when it is built."""
    deck = spice.Deck("mains_sense.cir", parameters(), f"Vl l 0 {volts}\nVn n 0 0")
    found = deck.run("dc Vl 59 61 1", "i(Vl)")
    return float(-found[1][1])


def leaking(volts: float, capacitor_f: float) -> tuple[float, float]:
    """Peak at the sense and lowest pin voltage while mains comes through a capacitor only."""
    drive = f"{_mains(volts)}\nCx x l {capacitor_f}"
    deck = spice.Deck("mains_sense.cir", parameters(ctr=values.TRANSFER_MOST), drive)
    found = deck.run("tran 10u 100m 20m 10u", "v(l) v(out)")
    return float(np.abs(found[1]).max()), float(found[2].min())


def opening(place_deg: float, capacitor_f: float) -> Opening:
    """A contact with a capacitor over it opens after two cycles."""
    at = (2.0 + place_deg / 360.0) / values.FREQUENCY_HZ
    drive = (
        f"{_mains(values.NOMINAL_V)}\nSx x l gate 0 contact\nCx x l {max(capacitor_f, 1e-12)}\n"
        f"Vgate gate 0 PWL(0 1 {at} 1 {at + 1e-6} 0)\n"
        ".model contact SW(VT=0.5 VH=0.1 RON=0.1 ROFF=1e9)"
    )
    deck = spice.Deck("mains_sense.cir", parameters(ctr=values.TRANSFER_MOST), drive)
    time, pin = deck.run("tran 5u 80m 20m 5u", "v(out)")
    last = float(time[np.flatnonzero(_low(pin))[-1]])
    return Opening(place_deg, capacitor_f, last - at)
