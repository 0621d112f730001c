"""Pilot recordings with known truth, as the tests of the measurement use them."""

from dataclasses import dataclass, replace

import numpy as np

from pilotsignal.capture import Capture
from pilotsignal.synth import Circuit, Converter, PilotWave, Sampling, Truth, synthesise

# Nominal ladder, IEC 61851-1:2017 Table A.3: 2740 ohm, with 1300 or 270 ohm beside it.
LOADS: tuple[float | None, ...] = (None, 2740.0, 882.0, 246.0)
TICK_S = 62.5e-9


@dataclass(frozen=True, slots=True)
class Cell:
    """One way of recording: ticks of 62.5 ns a sample, converter bits, capacitance, noise."""

    ticks: int
    bits: int
    capacitance_f: float
    noise_v: float
    locked: bool

    def __str__(self) -> str:
        how = "locked" if self.locked else "free"
        rate = 1e-3 / (self.ticks * TICK_S)
        farad, volts = self.capacitance_f * 1e12, self.noise_v * 1e3
        return f"{rate:.0f}k-{self.bits}bit-{farad:.0f}pF-{volts:.0f}mV-{how}"

    def record(self, seed: int, *, duration_s: float = 0.1) -> tuple[Capture, Truth]:
        """At most 20,000 samples of states A to D in turn, 8 to 90 % duty, any phase."""
        rng = np.random.default_rng((2017, seed))
        frequency = 1000.0 if self.locked else float(rng.uniform(994.0, 1006.0))
        width = float(rng.uniform(0.08, 0.90)) * 1e6 / frequency
        circuit = Circuit(load_ohm=LOADS[seed % 4], capacitance_f=self.capacitance_f)
        wave = replace(circuit.wave(frequency, width), phase_us=float(rng.uniform(0.0, 1000.0)))
        interval = self.ticks * TICK_S
        converter = Converter(bits=self.bits, u_gain_relative=0.0, u_offset_v=0.0)
        count = min(20_000, int(duration_s / interval))
        sampling = Sampling(interval, count, converter, noise_v=self.noise_v, seed=seed)
        return synthesise(wave, sampling)


def pilot(state: str = "B", duty: float = 30.0, frequency_hz: float = 1000.7) -> PilotWave:
    """A conforming pilot of state A to D at the connector, 1 nF, not locked to any rate."""
    load = dict(zip("ABCD", LOADS, strict=True))[state]
    wave = Circuit(load_ohm=load, capacitance_f=1e-9).wave(frequency_hz, duty * 1e4 / frequency_hz)
    return replace(wave, phase_us=123.4)


def fine(
    *, count: int = 20_000, interval_s: float = 1e-5, noise_v: float = 0.02, seed: int = 1
) -> Sampling:
    """A described 12-bit converter at 100 kS/s, half a step of noise and more."""
    converter = Converter(bits=12, u_gain_relative=5e-4, u_offset_v=5e-3)
    return Sampling(interval_s, count, converter, noise_v=noise_v, seed=seed)
