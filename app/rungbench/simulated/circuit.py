"""The pilot circuit: generator, source resistor, capacitance, and what loads them.

A node with a non-linear load.  Plateaus come from the balance of currents,
edges from integrating that balance: below the knee of the diode the node moves
with R1 C, above it with (R1 parallel R) C, behind a generator that itself takes
a finite time.  Circuit of IEC 61851-1:2017 Annex A; solver of our own.
"""

import math
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from rungbench.simulated.diode import FAST_DIODE, CurrentTable, Diode, current_table

Floats = npt.NDArray[np.float64]

INPUT_OHM = 1e6  # what the board's sense puts from the pilot to PE
_STEPS_PER_CONSTANT = 20
_SETTLED_CONSTANTS = 14
_FINER = 4


@dataclass(frozen=True, slots=True)
class Load:
    """What hangs between pilot and PE, besides the board's sense; infinite means not there."""

    ladder_ohm: float = math.inf
    diode_in: bool = True
    short_ohm: float = math.inf

    @property
    def parallel_ohm(self) -> float:
        """Resistance of all that conducts without the diode."""
        free = 0.0 if self.diode_in else 1.0 / self.ladder_ohm
        return 1.0 / (1.0 / INPUT_OHM + 1.0 / self.short_ohm + free)

    @property
    def behind_diode_ohm(self) -> float:
        """Resistance behind the diode, infinite if there is none."""
        return self.ladder_ohm if self.diode_in else math.inf


@dataclass(frozen=True, slots=True)
class Source:
    """The charger's side: source resistor, 10-90 % rise of the generator, capacitance in all."""

    source_ohm: float
    rise_s: float
    capacitance_f: float

    @property
    def ramp_s(self) -> float:
        """Length of the generator's straight ramp from rail to rail."""
        return max(self.rise_s / 0.8, 1e-9)


@dataclass(frozen=True, slots=True, eq=False)
class Edge:
    """The pilot after the generator begins to move: seconds and volts, shape (n,), end settled."""

    times: Floats
    volts: Floats

    def crossing(self, level_v: float) -> float | None:
        """First time at which the pilot passes `level_v`, or None if it does not."""
        above = self.volts > level_v
        changes = np.flatnonzero(above[1:] != above[:-1])
        if changes.size == 0:
            return None
        at = int(changes[0])
        part = (level_v - self.volts[at]) / (self.volts[at + 1] - self.volts[at])
        return float(self.times[at] + part * (self.times[at + 1] - self.times[at]))


@dataclass(slots=True)
class PilotCircuit:
    """Plateaus and edges at the pilot contact for any load; results are kept."""

    source: Source
    diode: Diode = FAST_DIODE
    _plateaus: dict[tuple[float, Load], float] = field(default_factory=dict)
    _edges: dict[tuple[float, float, Load], Edge] = field(default_factory=dict)

    def plateau(self, generator_v: float, load: Load) -> float:
        """Steady voltage of the pilot in volts."""
        key = (generator_v, load)
        if key not in self._plateaus:
            self._plateaus[key] = self._balance(generator_v, load)
        return self._plateaus[key]

    def edge(self, from_v: float, to_v: float, load: Load) -> Edge:
        """The pilot while the generator goes from one rail to another, from settled to settled."""
        key = (from_v, to_v, load)
        if key not in self._edges:
            self._edges[key] = self._integrate(from_v, to_v, load)
        return self._edges[key]

    def _balance(self, generator_v: float, load: Load) -> float:
        share = load.parallel_ohm / (load.parallel_ohm + self.source.source_ohm)
        behind, resistance = generator_v * share, self.source.source_ohm * share
        if math.isinf(load.behind_diode_ohm):
            return behind
        current = self.diode.current(behind, resistance + load.behind_diode_ohm)
        return behind - current * resistance

    def _integrate(self, from_v: float, to_v: float, load: Load) -> Edge:
        node = _Node(self, from_v, to_v, load)
        times, volts, slopes = node.run(self.plateau(from_v, load))
        fine_times, fine_volts = _refine(times, volts, slopes)
        # The table behind the integration is good to some microvolts; the end is known exactly.
        fine_volts[-1] = self.plateau(to_v, load)
        fine_times.flags.writeable = False
        fine_volts.flags.writeable = False
        return Edge(fine_times, fine_volts)


class _Node:
    """Classical Runge-Kutta steps of the pilot node during one edge."""

    def __init__(self, circuit: PilotCircuit, from_v: float, to_v: float, load: Load) -> None:
        source = circuit.source
        self._source_ohm, self._farad = source.source_ohm, source.capacitance_f
        self._from, self._to, self._ramp = from_v, to_v, source.ramp_s
        self._free_siemens = 1.0 / load.parallel_ohm
        self._table: CurrentTable | None = None
        if not math.isinf(load.behind_diode_ohm):
            self._table = current_table(circuit.diode, load.behind_diode_ohm)
        siemens = 1.0 / self._source_ohm + self._free_siemens
        slowest = self._farad / siemens
        fastest = self._farad / (siemens + 1.0 / load.behind_diode_ohm)
        # A generator that hardly takes any time needs no more than a fifth of the usual step.
        self._step = min(fastest, max(self._ramp, fastest / 5)) / _STEPS_PER_CONSTANT
        self._count = math.ceil((self._ramp + _SETTLED_CONSTANTS * slowest) / self._step) + 1

    def _slope(self, time: float, volts: float) -> float:
        generator = self._from + (self._to - self._from) * min(1.0, time / self._ramp)
        current = (generator - volts) / self._source_ohm - volts * self._free_siemens
        if self._table is not None:
            current -= self._table.at(volts)
        return current / self._farad

    def run(self, volts: float) -> tuple[Floats, Floats, Floats]:
        """Times, volts and slopes from the settled start."""
        step, slope = self._step, self._slope
        path, slopes = [volts], [slope(0.0, volts)]
        for index in range(self._count):
            time = index * step
            first = slopes[-1]
            second = slope(time + step / 2, volts + first * step / 2)
            third = slope(time + step / 2, volts + second * step / 2)
            fourth = slope(time + step, volts + third * step)
            volts += step / 6 * (first + 2 * second + 2 * third + fourth)
            path.append(volts)
            slopes.append(slope(time + step, volts))
        times = np.arange(len(path), dtype=np.float64) * step
        return times, np.array(path), np.array(slopes)


def _refine(times: Floats, volts: Floats, slopes: Floats) -> tuple[Floats, Floats]:
    """Four points a step by cubic Hermite interpolation, so that straight lines between suffice."""
    step = times[1] - times[0]
    part = (np.arange(_FINER) / _FINER)[None, :]
    start, end = volts[:-1, None], volts[1:, None]
    fine = (
        (2 * part**3 - 3 * part**2 + 1) * start
        + (part**3 - 2 * part**2 + part) * step * slopes[:-1, None]
        + (3 * part**2 - 2 * part**3) * end
        + (part**3 - part**2) * step * slopes[1:, None]
    )
    return (
        np.append((times[:-1, None] + part * step).ravel(), times[-1]),
        np.append(fine.ravel(), volts[-1]),
    )
