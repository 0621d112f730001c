"""The pilot circuit: from generator, source resistor, capacitance and load to plateaus and edges.

Circuit of IEC 61851-1:2017 Annex A, Figure A.1 and Tables A.2 and A.3: a generator with two rails
and a finite rise, the source resistor, capacitance of charger and cable, and what the stand-in
puts between pilot and PE.  Plateaus are the balance of currents in closed form; edges come from
integrating that balance.
"""

import math
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from pilotsignal.diode import Diode
from pilotsignal.edge_curve import EdgeCurve, Floats
from pilotsignal.errors import CircuitError
from pilotsignal.synth_wave import PilotWave

_PER_US = 1e-6
_SETTLED_TAUS = 17.0  # what is left of a 24 V step is then 1 uV
_FINER = 3
_RELATIVE, _ABSOLUTE_V = 1e-7, 1e-7
_FULL = 0.8  # the 10-90 % part of a straight ramp

FAST_SILICON = Diode(saturation_a=4.4813e-14, emission_v=0.0274, series_ohm=0.6)
"""A fast silicon diode with 0.70 V at 5 mA: the middle of IEC 61851-1:2017 Table A.3."""


@dataclass(frozen=True, slots=True)
class Source:
    """The charger's side.

    Parameters
    ----------
    ohm : source resistor.
    high_v, low_v : rails of the generator, before the source resistor.
    rise_us : 10-90 % time of the generator, a straight ramp both ways; 0 is a step.
    capacitance_f : charger and cable, between pilot and PE.

    Raises
    ------
    CircuitError : a source that cannot be.
    """

    ohm: float = 1000.0
    high_v: float = 12.0
    low_v: float = -12.0
    rise_us: float = 1.0
    capacitance_f: float = 300e-12

    def __post_init__(self) -> None:
        _positive("source resistance", self.ohm, "ohm")
        _positive("capacitance", self.capacitance_f, "F")
        if not (math.isfinite(self.rise_us) and self.rise_us >= 0.0):
            raise CircuitError(f"A generator cannot rise in {self.rise_us:g} us; give 0 or more.")
        if not -math.inf < self.low_v < self.high_v < math.inf:
            raise CircuitError("The high rail must lie above the low rail.")

    @property
    def ramp_us(self) -> float:
        """The generator's whole way from rail to rail."""
        return self.rise_us / _FULL


@dataclass(frozen=True, slots=True)
class Load:
    """What hangs between pilot and PE; infinite means not there.

    Parameters
    ----------
    ladder_ohm : the ladder's resistors in parallel.
    diode_in : whether the diode is in front of them, or bypassed.
    short_ohm : the resistor of rung `short`.
    input_ohm : the stand-in's measuring path.
    before_diode_f : capacitance of the vehicle's side that the pilot sees.
    behind_diode_f : capacitance across the ladder, behind the diode.

    Raises
    ------
    CircuitError : a resistance that is not positive, a capacitance that is negative.
    """

    ladder_ohm: float = math.inf
    diode_in: bool = True
    short_ohm: float = math.inf
    input_ohm: float = math.inf
    before_diode_f: float = 0.0
    behind_diode_f: float = 0.0

    def __post_init__(self) -> None:
        for ohm in (self.ladder_ohm, self.short_ohm, self.input_ohm):
            if not ohm > 0.0:
                raise CircuitError(f"A load of {ohm:g} ohm cannot be; give a positive resistance.")
        for farad in (self.before_diode_f, self.behind_diode_f):
            if not (math.isfinite(farad) and farad >= 0.0):
                raise CircuitError(f"A capacitance of {farad:g} F cannot be; give 0 or more.")

    @property
    def behind_ohm(self) -> float:
        """Resistance behind the diode, infinite where there is none."""
        return self.ladder_ohm if self.diode_in else math.inf

    @property
    def free_siemens(self) -> float:
        """Conductance of all that conducts both ways."""
        bypassed = 0.0 if self.diode_in else 1.0 / self.ladder_ohm
        return bypassed + 1.0 / self.short_ohm + 1.0 / self.input_ohm


@dataclass(frozen=True, slots=True)
class Ladder:
    """A set of the ladder, in ohm; the defaults are the nominal one of Table A.3."""

    permanent_ohm: float = 2740.0
    switched_c_ohm: float = 1300.0
    switched_d_ohm: float = 270.0
    short_ohm: float = 80.0
    input_ohm: float = math.inf

    def load(self, rung: str, *, diode_in: bool = True) -> Load:
        """What a rung (``open``, ``B``, ``C``, ``D`` or ``short``) presents.

        Raises
        ------
        CircuitError : no such rung.
        """
        if rung == "open":
            return Load(input_ohm=self.input_ohm)
        if rung == "short":
            return Load(short_ohm=self.short_ohm, input_ohm=self.input_ohm)
        beside = {"B": math.inf, "C": self.switched_c_ohm, "D": self.switched_d_ohm}
        if rung not in beside:
            raise CircuitError(f"There is no rung {rung!r}; use open, B, C, D or short.")
        ohm = 1.0 / (1.0 / self.permanent_ohm + 1.0 / beside[rung])
        return Load(ohm, diode_in, input_ohm=self.input_ohm)


NOTHING = Load()
"""Nothing connected, and a measuring path that takes no current."""

LADDERS = {
    "low": Ladder(1870.0, 909.0, 140.0),
    "nominal": Ladder(),
    "high": Ladder(4610.0, 1723.0, 448.0),
}
"""Ladder sets: the nominal one of IEC 61851-1:2017 Table A.3, the others of its Table A.9."""


@dataclass(frozen=True, slots=True)
class PilotCircuit:
    """Plateaus and edges of one source at one load."""

    source: Source
    load: Load = NOTHING
    diode: Diode = FAST_SILICON

    @property
    def high_v(self) -> float:
        """High plateau in volts."""
        return self.plateau_v(self.source.high_v)

    @property
    def low_v(self) -> float:
        """Low plateau in volts."""
        return self.plateau_v(self.source.low_v)

    def plateau_v(self, generator_v: float) -> float:
        """Steady level in volts while the generator stands at `generator_v`."""
        behind, ohm = self._without_diode(generator_v)
        return behind - self._diode_a(generator_v) * ohm

    @property
    def tau_below_us(self) -> float:
        """Time constant where the diode blocks: source parallel to what conducts freely."""
        return self._without_diode(0.0)[1] * self._pilot_f / _PER_US

    @property
    def tau_above_us(self) -> float:
        """Time constant close to the high plateau, where the diode conducts.

        The diode enters with its slope at the plateau's current, and capacitance behind it counts
        as if it were in front; without a diode in the circuit it is `tau_below_us`.
        """
        current = self._diode_a(self.source.high_v)
        if current <= 0.0:
            return self.tau_below_us
        beside = self.load.behind_ohm + self.diode.slope_ohm(current)
        ohm = 1.0 / (1.0 / self._without_diode(0.0)[1] + 1.0 / beside)
        return ohm * (self._pilot_f + self._behind_f) / _PER_US

    def rise(self) -> EdgeCurve:
        """The rising edge; time 0 is when the generator begins to move."""
        return _edge(self, rising=True)

    def fall(self) -> EdgeCurve:
        """The falling edge; time 0 is when the generator begins to move."""
        return _edge(self, rising=False)

    def width_shift_us(self, level_v: float | None = None) -> float:
        """Width at `level_v` (``None``: halfway between the plateaus) less the generator's own.

        Raises
        ------
        CircuitError : the pilot does not pass the level.
        """
        level = 0.5 * (self.high_v + self.low_v) if level_v is None else level_v
        up, down = self.rise().pass_us(level), self.fall().pass_us(level)
        if up is None or down is None:
            raise CircuitError(
                f"The pilot stays between {self.low_v:.3g} and {self.high_v:.3g} V and does not"
                f" pass {level:.3g} V."
            )
        return down - up

    def wave(self, frequency_hz: float, width_us: float) -> PilotWave:
        """The pulse train of a generator that is high for `width_us`, for `pilotsignal.synth`."""
        return PilotWave(frequency_hz, width_us, self.high_v, self.low_v, self.rise(), self.fall())

    # ------------------------------------------------------------------------------------------

    @property
    def _pilot_f(self) -> float:
        bypassed = 0.0 if self.load.diode_in else self.load.behind_diode_f
        return self.source.capacitance_f + self.load.before_diode_f + bypassed

    @property
    def _behind_f(self) -> float:
        return self.load.behind_diode_f if math.isfinite(self.load.behind_ohm) else 0.0

    def _without_diode(self, generator_v: float) -> tuple[float, float]:
        """Voltage and resistance that the diode's branch sees (Thevenin)."""
        share = 1.0 / (1.0 + self.source.ohm * self.load.free_siemens)
        return generator_v * share, self.source.ohm * share

    def _diode_a(self, generator_v: float) -> float:
        if math.isinf(self.load.behind_ohm):
            return 0.0
        behind, ohm = self._without_diode(generator_v)
        return self.diode.current(behind, ohm + self.load.behind_ohm)

    def _slopes(self, generator_v: Any, state: Any) -> list[Any]:
        """Volts per microsecond of the pilot and, where there is capacitance, behind the diode.

        Of numbers or of arrays; `state` holds the pilot and, if it matters, what is behind.
        """
        pilot = state[0]
        current = (generator_v - pilot) / self.source.ohm - pilot * self.load.free_siemens
        through, rest = 0.0, []
        if len(state) > 1:
            through = self.diode.currents(pilot - state[1])
            rest = [(through - state[1] / self.load.behind_ohm) * _PER_US / self._behind_f]
        elif self.load.diode_in and self.load.ladder_ohm < math.inf:
            through = self.diode.currents(pilot, self.load.ladder_ohm)
        return [(current - through) * _PER_US / self._pilot_f, *rest]

    def _settling_us(self) -> float:
        slowest = self.source.ohm * (self._pilot_f + self._behind_f)
        if self._behind_f:
            slowest = max(slowest, self.load.behind_ohm * self._behind_f)
        return _SETTLED_TAUS * slowest / _PER_US


@lru_cache(maxsize=512)
def _edge(circuit: PilotCircuit, *, rising: bool) -> EdgeCurve:
    """Integrate one edge: while the generator moves, then until all has settled."""
    source = circuit.source
    ends = (source.low_v, source.high_v) if rising else (source.high_v, source.low_v)
    pilot = circuit.plateau_v(ends[0])
    state: tuple[float, ...] = (pilot,)
    if circuit._behind_f:
        state = (pilot, circuit._diode_a(ends[0]) * circuit.load.behind_ohm)
    parts = [] if source.ramp_us == 0.0 else [(0.0, source.ramp_us)]
    parts.append((source.ramp_us, source.ramp_us + circuit._settling_us()))
    times, volts, slopes = [], [], []
    for span in parts:
        piece = _integrate(circuit, ends, span, state)
        times.append(piece[0])
        volts.append(piece[1][0])
        slopes.append(piece[2])
        state = tuple(piece[1][:, -1].tolist())
    keep = np.append(np.diff(np.concatenate(times)) > 0.0, True)
    return EdgeCurve(
        np.concatenate(times)[keep],
        np.concatenate(volts)[keep],
        np.concatenate(slopes)[keep],
        circuit.plateau_v(ends[1]),
    )


def _integrate(
    circuit: PilotCircuit,
    ends: tuple[float, float],
    span: tuple[float, float],
    state: tuple[float, ...],
) -> tuple[Floats, Floats, Floats]:
    """Times, volts (pilot first) and slopes of the pilot over one smooth part of an edge."""
    # Late: it takes long to import, and only edges need it.
    from scipy.integrate import solve_ivp

    ramp_us = circuit.source.ramp_us
    moves = ramp_us > 0.0 and span[0] == 0.0
    begin_v, incline = (ends[0], (ends[1] - ends[0]) / ramp_us) if moves else (ends[1], 0.0)

    def slopes_at(time_us: Any, volts: Any) -> list[Any]:
        return circuit._slopes(begin_v + incline * time_us, volts)

    found = solve_ivp(
        slopes_at,
        span,
        state,
        method="LSODA",
        rtol=_RELATIVE,
        atol=_ABSOLUTE_V,
        dense_output=True,
        first_step=1e-4 * (span[1] - span[0]),
    )
    if not found.success:
        raise CircuitError(f"This circuit's edge cannot be computed: {found.message}")
    fine = found.t[:-1, None] + np.diff(found.t)[:, None] * np.arange(_FINER) / _FINER
    times = np.append(fine.ravel(), found.t[-1])
    volts = found.sol(times)
    return times, volts, np.asarray(slopes_at(times, volts)[0])


def _positive(what: str, value: float, unit: str) -> None:
    if not (math.isfinite(value) and value > 0.0):
        raise CircuitError(f"A {what} of {value:g} {unit} cannot be; give a positive one.")
