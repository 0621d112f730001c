"""Error of a voltage at the contact: worst case and Monte Carlo, before and after calibration.

The inputs are bounds; a rectangular distribution is drawn within each.  The board is calibrated at
six voltages against a reference meter, by a straight line, and used at another temperature.
"""

from collections.abc import Mapping
from dataclasses import dataclass

import front_end_values as fe
import numpy as np
import numpy.typing as npt
import pilot_levels
import standin_design as design

from pilotsignal.budget import combine, half_width, scaled

Floats = npt.NDArray[np.float64]

SEED = 20261125
BOARDS = 20_000
CALIBRATED_AT_V = (-12.0, 0.0, 3.0, 6.0, 9.0, 12.0)
LEVELS_V = {
    "A": design.RAIL_V,
    "B": pilot_levels.plateau_v("B"),
    "C": pilot_levels.plateau_v("C"),
    "D": pilot_levels.plateau_v("D"),
    "low": -design.RAIL_V,
}
ACCURACY = 0.005  # IEC 61851-1:2017 A.4.4: accuracy that the voltage measurement needs

DRIFT_K = 10.0
_PART_DRIFT = design.FINE_PPM * 1e-6 * DRIFT_K

# The two top resistors count as one. Steps are converter steps.
AS_BUILT: Mapping[str, float] = {
    "top": design.FINE_TOLERANCE,
    "bottom": design.FINE_TOLERANCE,
    "pair_buffer": design.FINE_TOLERANCE,
    "pair_reference": design.FINE_TOLERANCE,
    "reference": design.REFERENCE_TOLERANCE,
    "buffer_v": design.BUFFER_OFFSET_V,
    "bias_v": fe.bias_v(),
    "converter_offset_steps": 2.0,
    "converter_gain_steps": 2.0,
    "bend_steps": 0.5,
}
SINCE_CALIBRATION: Mapping[str, float] = {
    "top": _PART_DRIFT,
    "bottom": _PART_DRIFT,
    "pair_buffer": _PART_DRIFT,
    "pair_reference": _PART_DRIFT,
    "reference": design.REFERENCE_PPM * 1e-6 * DRIFT_K + 100e-6,  # and a year of drift
    "buffer_v": 5e-6 * DRIFT_K,
    "bias_v": 0.5 * fe.bias_v(),
    "converter_offset_steps": 0.1,
    "converter_gain_steps": 0.1,
}
METER: Mapping[str, float] = {"meter_gain": 5e-4, "meter_offset_v": 2e-3}
WORDS: Mapping[str, str] = {
    "top": "top of the divider",
    "bottom": "bottom of the divider",
    "pair_buffer": "pair, resistor to the buffer",
    "pair_reference": "pair, resistor to the reference",
    "reference": "reference",
    "buffer_v": "offset of the buffer",
    "bias_v": "bias current of the buffer",
    "converter_offset_steps": "offset of the converter",
    "converter_gain_steps": "gain of the converter",
    "bend_steps": "bend of the converter (integral non-linearity)",
    "meter_gain": "reference meter, gain",
    "meter_offset_v": "reference meter, offset",
}


@dataclass(frozen=True, slots=True)
class Row:
    """One level: volts, errors in millivolts."""

    level: str
    volts: float
    built_worst_mv: float
    built_drawn_mv: float
    worst_mv: float
    drawn_mv: float
    expanded_mv: float

    @property
    def asked_mv(self) -> float:
        """0.5 % of the level."""
        return ACCURACY * abs(self.volts) * 1e3


def counts(volts: Floats, error: Mapping[str, Floats | float]) -> Floats:
    """Converter counts, not rounded; shapes broadcast, missing errors are zero."""

    def of(name: str) -> Floats | float:
        return error.get(name, 0.0)

    top = design.TOP_OHM * design.TOP_PARTS * (1.0 + of("top"))
    bottom = design.BOTTOM_OHM * (1.0 + of("bottom"))
    at_buffer = volts * bottom / (top + bottom) + of("buffer_v") + of("bias_v")
    upper, lower = 1.0 + of("pair_buffer"), 1.0 + of("pair_reference")
    reference = design.REFERENCE_V * (1.0 + of("reference"))
    share = (at_buffer / reference * lower + upper) / (upper + lower)
    share = share + (0.5 - share) * design.dither_share()
    steps = design.COUNTS * share + of("converter_offset_steps")
    result: Floats = np.asarray(steps + (share - 0.5) * of("converter_gain_steps"))
    return result


def nominal_volts(count: Floats) -> Floats:
    """Volts by the design, without a calibration."""
    return (count / design.COUNTS - 0.5) * 2.0 * design.full_scale_v()


def line_weights(volts: float) -> Floats:
    """How much each calibration voltage counts at `volts` in a straight line through all."""
    points = np.vander(np.array(CALIBRATED_AT_V), 2)
    weights: Floats = np.array([volts, 1.0]) @ np.linalg.pinv(points)
    return weights


def sensitivities(volts: float, names: Mapping[str, float]) -> dict[str, float]:
    """Volts at the contact per unit of each input, by differences."""
    small = {name: bound * 1e-3 for name, bound in names.items()}
    base = nominal_volts(counts(np.array([volts]), {}))[0]
    return {
        name: float(nominal_volts(counts(np.array([volts]), {name: by}))[0] - base) / by
        for name, by in small.items()
    }


def _contributions(volts: float) -> dict[str, float]:
    """Bound of each input in volts, after calibration."""
    drift = sensitivities(volts, SINCE_CALIBRATION)
    found = {name: abs(drift[name]) * bound for name, bound in SINCE_CALIBRATION.items()}
    found["bend_steps"] = AS_BUILT["bend_steps"] * fe.step_v() * bend_factor(volts)
    found["meter_gain"] = METER["meter_gain"] * abs(volts)
    found["meter_offset_v"] = METER["meter_offset_v"]
    return found


def bend_factor(volts: float) -> float:
    """A bend at the level itself, and at each point of the line."""
    return 1.0 + float(np.abs(line_weights(volts)).sum())


def budget_rows(volts: float) -> list[tuple[str, float]]:
    """Input and its bound in millivolts after calibration, largest first."""
    found = [(WORDS[name], volt * 1e3) for name, volt in _contributions(volts).items()]
    return sorted(found, key=lambda row: -row[1])


def expanded_v(volts: float) -> float:
    """U (95 %) by the rules of the measurement core from the same bounds."""
    found = _contributions(volts)
    # The bend is one shape: what the line takes up is not independent of the point itself.
    found["bend_steps"] /= bend_factor(volts)
    rows = [scaled(half_width(name, WORDS[name], bound, "V"), 1.0) for name, bound in found.items()]
    return combine("level_v", "V", volts, "error budget", rows).expanded()


def _draw(rng: np.random.Generator, bounds: Mapping[str, float]) -> dict[str, Floats]:
    return {
        name: rng.uniform(-bound, bound, (BOARDS, 1))
        for name, bound in bounds.items()
        if name != "bend_steps"
    }


@dataclass(frozen=True, slots=True, eq=False)
class _Bend:
    """A smooth bend of random period and place, in steps, not above the bound."""

    height: Floats
    waves: Floats
    phase: Floats

    @classmethod
    def draw(cls, rng: np.random.Generator) -> "_Bend":
        bound = AS_BUILT["bend_steps"]
        return cls(
            rng.uniform(-bound, bound, (BOARDS, 1)),
            rng.uniform(0.5, 4.0, (BOARDS, 1)),
            rng.uniform(0.0, 2.0 * np.pi, (BOARDS, 1)),
        )

    def at(self, count: Floats) -> Floats:
        place = 2.0 * np.pi * self.waves * count / design.COUNTS + self.phase
        bent: Floats = self.height * np.sin(place)
        return bent


def monte_carlo() -> tuple[Floats, Floats]:
    """Errors in volts before and after calibration, shape (boards, levels), fixed seed."""
    rng = np.random.default_rng(SEED)
    built, since, bend = _draw(rng, AS_BUILT), _draw(rng, SINCE_CALIBRATION), _Bend.draw(rng)
    meter = _draw(rng, METER)
    levels, points = np.array([*LEVELS_V.values()]), np.array(CALIBRATED_AT_V)

    def read(volts: Floats, error: Mapping[str, Floats | float]) -> Floats:
        exact = counts(volts, error)
        return nominal_volts(exact + bend.at(exact))

    now = read(levels, {name: built[name] + since.get(name, 0.0) for name in built})
    seen = read(points, built)
    told = points * (1.0 + meter["meter_gain"]) + meter["meter_offset_v"]
    gain, offset = _line(seen, told)
    return now - levels, gain * now + offset - levels


def _line(seen: Floats, told: Floats) -> tuple[Floats, Floats]:
    """Least squares for each board: what the meter told against what the board read."""
    middle = seen.mean(axis=1, keepdims=True)
    target = told.mean(axis=1, keepdims=True)
    gain = ((seen - middle) * (told - target)).sum(axis=1, keepdims=True)
    gain /= ((seen - middle) ** 2).sum(axis=1, keepdims=True)
    return gain, target - gain * middle


def built_worst_v(volts: float) -> float:
    """Sum of all bounds, and the drift besides, without a calibration."""
    built, drift = sensitivities(volts, AS_BUILT), sensitivities(volts, SINCE_CALIBRATION)
    total = sum(abs(built[name]) * bound for name, bound in AS_BUILT.items())
    total += AS_BUILT["bend_steps"] * fe.step_v()
    return total + sum(abs(drift[name]) * bound for name, bound in SINCE_CALIBRATION.items())


def rows() -> list[Row]:
    """The table of the page."""
    before, after = monte_carlo()
    found = []
    for at, (level, volts) in enumerate(LEVELS_V.items()):
        drawn = [float(np.quantile(np.abs(errors[:, at]), 0.95)) for errors in (before, after)]
        worst = sum(_contributions(volts).values())
        found.append(
            Row(
                level,
                volts,
                built_worst_v(volts) * 1e3,
                drawn[0] * 1e3,
                worst * 1e3,
                drawn[1] * 1e3,
                expanded_v(volts) * 1e3,
            )
        )
    return found
