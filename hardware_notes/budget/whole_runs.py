"""Monte Carlo of whole measurements: board, pilot, samples, edges, `pilotsignal.measure`.

Each board is drawn, calibrated, and measures a pilot of known truth.  The errors are compared with
the uncertainty that the measurement itself states.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import standin_design as design
import volt_errors

from pilotsignal.budget import combine, derive, type_b
from pilotsignal.calibration import TimeBase, VoltCalibration, WidthBias
from pilotsignal.capture import Capture, EdgeRecord
from pilotsignal.measure import PilotMeasurement, measure
from pilotsignal.quantity import Quantity
from pilotsignal.synth import Circuit, PilotWave, Sampling, Truth, record_edges, synthesise

SEED = 61851
BOARDS = 60
RUNGS = ("A", "B", "C", "D")
INTERVAL_S = 26e-6  # burst10: 416 ticks
SAMPLES = 5000  # ten bursts
EDGES_S = 0.2
TICK_S = 62.5e-9
NOISE_V = 0.022  # dither and converter, three quarters of a step
PILOT_F = 0.8e-9

U_GAIN, U_OFFSET_V, U_BEND_V = 3.5e-4, 3e-3, 8.5e-3
U_LADDER = 0.0005  # after calibration
U_DROP_V = 0.004
U_INPUT_OHM = 2000.0
U_CLOCK = 50e-6 / np.sqrt(3.0)
BIAS_US, U_BIAS_US = 0.040, 0.020


@dataclass(frozen=True, slots=True)
class Board:
    """One drawn board: what its calibration does not know, and its bend in steps."""

    gain: float
    offset_v: float
    bend_steps: float
    bend_waves: float
    bend_phase: float
    clock: float
    bias_us: float
    permanent: float
    drop_v: float

    @classmethod
    def draw(cls, rng: np.random.Generator) -> "Board":
        """Errors within what the calibration states."""
        normal = np.clip(rng.standard_normal(4), -2.0, 2.0)
        return cls(
            gain=U_GAIN * normal[0],
            offset_v=U_OFFSET_V * normal[1],
            bend_steps=rng.uniform(-0.5, 0.5),
            bend_waves=rng.uniform(0.5, 4.0),
            bend_phase=rng.uniform(0.0, 2.0 * np.pi),
            clock=rng.uniform(-50e-6, 50e-6),
            bias_us=BIAS_US + U_BIAS_US * normal[2],
            permanent=design.LADDER["permanent"]["nominal"].ohm * (1 + U_LADDER * normal[3]),
            drop_v=design.DIODE_V + U_DROP_V * float(rng.uniform(-np.sqrt(3.0), np.sqrt(3.0))),
        )

    def count(self, volts: volt_errors.Floats) -> volt_errors.Floats:
        """Counts, rounded."""
        read = volts * (1.0 + self.gain) + self.offset_v
        exact = design.COUNTS * (0.5 + 0.5 * read / design.full_scale_v())
        place = 2.0 * np.pi * self.bend_waves * exact / design.COUNTS + self.bend_phase
        exact = exact + self.bend_steps * np.sin(place)
        return np.clip(np.rint(exact), 0, design.COUNTS)


@dataclass(frozen=True, slots=True)
class Error:
    """One result: its error and the U (95 %) that it states, in its unit."""

    name: str
    rung: str
    unit: str
    error: float
    expanded: float


@dataclass(frozen=True, slots=True)
class Summary:
    """All boards: U (median), 95 % and largest of the errors, share inside U."""

    name: str
    rung: str
    unit: str
    expanded: float
    drawn: float
    largest: float
    inside: int
    boards: int


def _charger(rng: np.random.Generator) -> Circuit:
    return Circuit(
        open_high_v=rng.uniform(11.6, 12.4),
        open_low_v=rng.uniform(-12.4, -11.6),
        source_ohm=rng.uniform(975.0, 1025.0),
        capacitance_f=PILOT_F,
    )


def _wave(charger: Circuit, board: Board, rung: str, hertz: float) -> PilotWave:
    if rung == "A":
        return charger.wave(hertz, 266.67)
    load = board.permanent
    if rung != "B":
        load = 1.0 / (1.0 / load + 1.0 / design.LADDER[rung]["nominal"].ohm)
    return replace(charger, load_ohm=load, diode_v=board.drop_v).wave(hertz, 266.67)


def _capture(wave: PilotWave, board: Board, seed: int) -> tuple[Capture, Truth]:
    sampling = Sampling(
        INTERVAL_S,
        SAMPLES,
        noise_v=NOISE_V,
        clock_error=-board.clock / (1 + board.clock),
        seed=seed,
    )
    clean, truth = synthesise(wave, sampling)
    counts = board.count(clean.volts()).astype(np.int16)
    calibration = VoltCalibration(
        "budget",
        2.0 * design.full_scale_v() / design.COUNTS,
        -design.full_scale_v(),
        u_gain_relative=U_GAIN,
        u_offset_v=U_OFFSET_V,
        u_linearity_v=U_BEND_V,
    )
    capture = Capture.from_counts(
        counts, INTERVAL_S, "budget", calibration=calibration, time_base=_clock()
    )
    return capture.recorded(converter_range=(0, design.COUNTS)), truth


def _edges(wave: PilotWave, board: Board, seed: int) -> EdgeRecord:
    """Exact crossings, finely stamped, then the board's delays, clock and counter."""
    fine, _ = record_edges(replace(wave, width_jitter_us=0.02), EDGES_S, 1e-9, seed=seed)
    times = fine.times * 1e-9 + np.where(fine.rising, 90e-9, 90e-9 + board.bias_us * 1e-6)
    ticks = np.floor(times * (1.0 + board.clock) / TICK_S).astype(np.int64)
    bias = WidthBias("budget", BIAS_US, U_BIAS_US)
    return EdgeRecord(ticks, fine.rising.copy(), TICK_S, "budget", _clock(), bias)


def _clock() -> TimeBase:
    return TimeBase("budget", "crystal", float(U_CLOCK))


def source_ohm(idle: Quantity, loaded: Quantity) -> Quantity:
    """Source resistance from the levels at `open` and B with the parts as calibrated."""
    nominal = design.LADDER["permanent"]["nominal"].ohm
    parts = [
        _part("permanent", "ohm", nominal, nominal * U_LADDER),
        _part("diode", "V", design.DIODE_V, U_DROP_V),
        _part("input", "ohm", design.input_ohm(), U_INPUT_OHM),
    ]
    return derive("source_ohm", "ohm", "two levels", _source, (idle, loaded, *parts))


def _source(idle: float, loaded: float, permanent: float, drop_v: float, input_ohm: float) -> float:
    return (idle - loaded) / ((loaded - drop_v) / permanent - (idle - loaded) / input_ohm)


def _part(name: str, unit: str, value: float, u: float) -> Quantity:
    return combine(name, unit, value, "calibration", [type_b(name, name, u, unit)])


def _results(seed: int) -> Iterator[Error]:
    rng = np.random.default_rng((SEED, seed))
    board, charger = Board.draw(rng), _charger(rng)
    hertz = 1000.0 + rng.uniform(-4.0, 4.0)
    levels: dict[str, Quantity] = {}
    for number, rung in enumerate(RUNGS):
        wave = replace(_wave(charger, board, rung, hertz), phase_us=rng.uniform(0.0, 900.0))
        capture, truth = _capture(wave, board, 10 * seed + number + 1)
        found = measure(capture, _edges(wave, board, 10 * seed + number + 1))
        if found.high_plateau_v is not None:
            levels[rung] = found.high_plateau_v
        yield from _compared(found, truth, rung)
    if {"A", "B"} <= levels.keys():
        yield from _source_error(levels, charger, board)


def _source_error(levels: dict[str, Quantity], charger: Circuit, board: Board) -> Iterator[Error]:
    # The synthetic pilot has no input resistance on it; take off what it would have loaded.
    idle = _shifted(levels["A"], -_load_v(charger, None, board))
    loaded = _shifted(levels["B"], -_load_v(charger, board.permanent, board))
    found = source_ohm(idle, loaded)
    yield Error("source_ohm", "B", "ohm", found.value - charger.source_ohm, found.expanded())


def _load_v(charger: Circuit, load: float | None, board: Board) -> float:
    behind = charger.source_ohm
    level = charger.open_high_v
    if load is not None:
        level = replace(charger, load_ohm=load, diode_v=board.drop_v).loaded_v(level)
        behind = behind * load / (behind + load)
    return level * behind / (behind + design.input_ohm())


def _shifted(level: Quantity, by_v: float) -> Quantity:
    return combine(level.name, level.unit, level.value + by_v, level.method, level.rows)


def _compared(found: PilotMeasurement, truth: Truth, rung: str) -> Iterator[Error]:
    names = {
        "high_plateau_v": "V",
        "low_plateau_v": "V",
        "pulse_width_zero_us": "us",
        "frequency_hz": "Hz",
    }
    for name, unit in names.items():
        quantity, exact = found.quantities()[name], getattr(truth, name)
        if quantity is None:
            raise ValueError(f"{name} on {rung} was not measured: {found.notices}")
        yield Error(name, rung, unit, quantity.value - exact, quantity.expanded())


def rows(boards: int = BOARDS) -> list[Summary]:
    """The table of the page."""
    errors = [error for seed in range(boards) for error in _results(seed)]
    kinds = dict.fromkeys((error.name, error.rung, error.unit) for error in errors)
    return [
        _summary(kind, [error for error in errors if (error.name, error.rung) == kind[:2]])
        for kind in sorted(kinds)
    ]


def _summary(kind: tuple[str, str, str], errors: list[Error]) -> Summary:
    sizes = np.array([abs(error.error) for error in errors])
    expanded = np.array([error.expanded for error in errors])
    return Summary(
        *kind,
        expanded=float(np.median(expanded)),
        drawn=float(np.quantile(sizes, 0.95)),
        largest=float(sizes.max()),
        inside=int((sizes <= expanded).sum()),
        boards=sizes.size,
    )
