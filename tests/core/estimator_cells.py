"""Recordings for the grid of the estimators: one cell is one way of recording, seeds are captures.

Everything that a cell leaves open is drawn anew for each seed: state, duty, frequency, phase,
levels, the diode's knee, and the errors of gain, offset and clock, within what is stated of them.
"""

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np

from pilotsignal.bound import Record, cramer_rao
from pilotsignal.calibration import TimeBase
from pilotsignal.capture import Capture
from pilotsignal.errors import CaptureError
from pilotsignal.synth import Circuit, Converter, PilotWave, Sampling, Truth, synthesise

LOADS = (None, 2740.0, 882.0, 246.0)
RATES_KS = (19.2, 38.46, 77.0, 250.0, 500.0, 2000.0)
BITS = (8, 10, 12, 16)
EDGES_US = (0.5, 2.0, 6.0, 20.0)
NOISES_V = (0.005, 0.02, 0.06, 0.2)
DURATIONS_S = (0.02, 0.2, 1.0)
SHORTEST, LONGEST = 0.04, 0.97  # duty

U_GAIN, U_OFFSET_V, U_CLOCK = 2e-5, 2e-4, 1e-7


@dataclass(frozen=True, slots=True)
class Cell:
    """Rate, converter, 10 to 90 % time of the unloaded edge, noise, record; `locked` is 1000 Hz."""

    rate_ks: float
    bits: int
    edge_us: float
    noise_v: float
    duration_s: float
    locked: bool

    def __str__(self) -> str:
        how = "1000" if self.locked else "free"
        return (
            f"{self.rate_ks:g}k {self.bits}bit {self.edge_us:g}us {self.noise_v * 1e3:g}mV"
            f" {self.duration_s * 1e3:g}ms {how}"
        )

    @property
    def interval_us(self) -> float:
        return 1e3 / self.rate_ks

    @property
    def step_v(self) -> float:
        return 32.0 / (1 << self.bits)

    @property
    def dithered(self) -> bool:
        """Noise is at least half a step."""
        return self.noise_v >= 0.5 * self.step_v


@dataclass(frozen=True, slots=True, eq=False)
class Recorded:
    """One capture, its truth, the wave as the sampling clock sees it."""

    capture: Capture
    truth: Truth
    wave: PilotWave
    cell: Cell

    def dense(self) -> bool:
        """The folded gap is at most half of the faster edge."""
        edges = (self.truth.rise_time_us or 0.0, self.truth.fall_time_us or 0.0)
        return folded_gap_us(self.wave, self.cell) <= 0.5 * min(edges)

    def bound(self) -> dict[str, float]:
        cell = self.cell
        record = Record(cell.interval_us, self.capture.samples.size, cell.noise_v, cell.step_v)
        return cramer_rao(self.wave, record)


def folded_gap_us(wave: PilotWave, cell: Cell) -> float:
    """Widest gap between the phases, modulo one interval, at which samples meet the edges."""
    widest = 0.0
    for first in (wave.phase_us, wave.phase_us + wave.width_us):
        count = int((cell.duration_s * 1e6 - first) / wave.period_us)
        phase = np.sort(np.mod(first + np.arange(count) * wave.period_us, cell.interval_us))
        gap = np.max(np.diff(phase, append=phase[0] + cell.interval_us))
        widest = max(widest, float(gap))
    return widest


def record(cell: Cell, seed: int, *, systematic: bool) -> Recorded:
    """Capture number `seed` of a cell."""
    key = (cell.bits, round(cell.edge_us * 10), round(cell.noise_v * 1e4), round(cell.rate_ks))
    rng = np.random.default_rng((*key, round(cell.duration_s * 1e3), int(cell.locked), seed))
    wave = _wave(cell, LOADS[seed % 4], rng)
    gain, offset, clock = (0.0, 0.0, 0.0)
    if systematic:
        gain, offset, clock = rng.normal(0.0, (U_GAIN, U_OFFSET_V, U_CLOCK)).tolist()
    converter = Converter(
        cell.bits,
        -16.0,
        32.0,
        gain,
        offset,
        U_GAIN if systematic else 0.0,
        U_OFFSET_V if systematic else 0.0,
    )
    sampling = Sampling(
        cell.interval_us * 1e-6,
        int(cell.duration_s * 1e6 / cell.interval_us),
        converter,
        noise_v=cell.noise_v,
        clock_error=clock,
        time_base=TimeBase("drawn", "stated", U_CLOCK if systematic else 0.0),
        seed=int(rng.integers(1 << 31)),
    )
    capture, truth = synthesise(wave, sampling)
    return Recorded(capture, truth, wave, cell)


def _wave(cell: Cell, load: float | None, rng: np.random.Generator) -> PilotWave:
    circuit = Circuit(
        open_high_v=float(rng.uniform(11.4, 12.6)),
        open_low_v=float(rng.uniform(-12.6, -11.4)),
        load_ohm=load,
        capacitance_f=cell.edge_us * 1e-9 / math.log(9.0),
        diode_v=float(rng.uniform(0.55, 0.85)),
    )
    frequency = 1000.0 if cell.locked else float(rng.uniform(994.0, 1006.0))
    for _ in range(1000):
        width = float(rng.uniform(SHORTEST, LONGEST)) * 1e6 / frequency
        try:
            # A little slower than it is: the bound moves every parameter by some parts in 10,000.
            replace(circuit, capacitance_f=1.01 * circuit.capacitance_f).wave(frequency, width)
            wave = circuit.wave(frequency, width)
        except CaptureError:
            continue  # no time to settle
        return replace(wave, phase_us=float(rng.uniform(0.0, 1000.0)))
    raise CaptureError(f"No duty lets edges of {cell.edge_us} us settle.")


def all_cells() -> Iterator[Cell]:
    """Every combination."""
    for rate, bits, edge, noise, duration, locked in itertools.product(
        RATES_KS, BITS, EDGES_US, NOISES_V, DURATIONS_S, (False, True)
    ):
        yield Cell(rate, bits, edge, noise, duration, locked)
