"""The charger's source from plateaus and edges at several settings.

`fit_source` asks which source resistor, rails and capacitance make the circuit of
`pilotsignal.circuit` show what was measured.  The stand-in's parts enter as calibrated values with
their uncertainties.  Where there are more levels than unknowns, chi-square says whether the model
holds at all.

What it cannot see: a resistor from the pilot to PE or to any fixed voltage inside the charger makes
another source of the same kind (Thevenin's theorem), which fits.  The source resistance found is
the one that the contact shows.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from pilotsignal.budget import combine, half_width, type_b
from pilotsignal.circuit import FAST_SILICON, PilotCircuit, Source
from pilotsignal.diode import Diode
from pilotsignal.errors import CircuitError, QuantityError
from pilotsignal.known_standin import KnownLoad, KnownStandIn, Values
from pilotsignal.least_squares import Floats, Solution, solve
from pilotsignal.quantity import Quantity

SIGNIFICANCE: Final = 0.001
"""A fit that is less probable than this does not hold: one good charger in a thousand."""

_ALIKE: Final = 0.9  # where one level cannot be told from another as the culprit, both are named
PICOFARAD: Final = 1e-12
_PLATEAUS: Final = ("high_plateau_v", "low_plateau_v")
_EDGES: Final = ("rise_time_us", "fall_time_us")
_WIDTHS: Final = ("pulse_width_zero_us", "pulse_width_mid_us")

GENERATOR_RISE: Final = combine(
    "generator_rise_us",
    "us",
    1.0,
    "at most 2 us (IEC 61851-1:2017 Table A.2)",
    [half_width("generator-rise", "rise of the generator", 1.0, "us")],
)


@dataclass(frozen=True, slots=True)
class Seen:
    """What was measured at one setting.

    `measured` are plateaus (``high_plateau_v``, ``low_plateau_v``), 10-90 % edge times
    (``rise_time_us``, ``fall_time_us``) and widths (``pulse_width_zero_us``,
    ``pulse_width_mid_us``); at least one of them.
    """

    load: KnownLoad
    measured: tuple[Quantity, ...]


@dataclass(frozen=True, slots=True)
class Contradiction:
    """A level, what the fit makes of it, and how it speaks against the others.

    `pull` in standard deviations, positive where the level is too high (see
    `pilotsignal.least_squares.Solution`).
    """

    setting: str
    name: str
    measured: float
    fitted: float
    unit: str
    pull: float


@dataclass(frozen=True, slots=True, eq=False)
class SourceFit:
    """The source as the contact shows it.

    Parameters
    ----------
    quantities : by name: ``source_resistance_ohm``; ``open_high_v``, ``open_low_v`` (rails, where a
        plateau of that side was seen); ``capacitance_pf`` (charger and cable) and
        ``generator_rise_us`` with edges or widths; ``generator_width_us`` with widths;
        ``diode_drop_v`` (at the first calibrated current) with a setting that uses the diode.
    settings : the settings that it rests on.
    chi_square, freedom, probability : goodness of fit; the probability is ``None`` without
        degrees of freedom.
    contradictions : one for each thing measured, the worst first.
    """

    quantities: Mapping[str, Quantity]
    settings: tuple[str, ...]
    chi_square: float
    freedom: int
    probability: float | None
    contradictions: tuple[Contradiction, ...]

    @property
    def source_ohm(self) -> Quantity:
        """Source resistance in ohm."""
        return self.quantities["source_resistance_ohm"]

    @property
    def holds(self) -> bool:
        """Whether nothing speaks against the model; also true where nothing could."""
        return self.probability is None or self.probability >= SIGNIFICANCE

    @property
    def text(self) -> str:
        """The goodness of fit in one sentence."""
        where = ", ".join(self.settings)
        if self.probability is None:
            return f"Levels at {where} just determine the source; nothing is left to test it by."
        figures = (
            f"chi-square {self.chi_square:.1f} at {self.freedom} degrees of freedom, probability"
            f" {self.probability:.2g}"
        )
        if self.holds:
            return f"Levels at {where} fit one source ({figures})."
        least = _ALIKE * abs(self.contradictions[0].pull)
        worst = [one for one in self.contradictions if abs(one.pull) >= least]
        named = ", ".join(f"{one.name} on {one.setting}" for one in worst)
        return (
            f"Levels at {where} do not fit one source resistor and the ladder's known parts"
            f" ({figures}); most at odds: {named}. The source is not linear, or current leaks, or a"
            " part or contact of the ladder is not as calibrated."
        )


def fit_source(
    seen: Sequence[Seen], standin: KnownStandIn, rise: Quantity = GENERATOR_RISE
) -> SourceFit:
    """Estimate the source behind the pilot contact.

    Parameters
    ----------
    seen : settings with what was measured; at least two that load the pilot differently.
    standin : the parts as calibrated.
    rise : what is known of the generator's 10-90 % time, used with edges only.

    Raises
    ------
    CircuitError : settings that do not determine the source, a diode that is not known, levels
        that no circuit of this kind shows.
    QuantityError : quantities without a budget.

    Notes
    -----
    Generalised least squares (`pilotsignal.least_squares`); each result's budget names the inputs
    of the levels and the parts, so that it stays correlated with all that share them.
    """
    unknowns = _Unknowns(tuple(seen), standin, rise)
    solution = solve(
        unknowns.observations, unknowns.model, unknowns.start, np.asarray(unknowns.steps)
    )
    return unknowns.result(solution)


class _Unknowns:
    """Parameters of the fit by name: what is free first, then what is known beforehand."""

    def __init__(self, seen: tuple[Seen, ...], standin: KnownStandIn, rise: Quantity) -> None:
        self._seen, self._standin = seen, standin
        self._names = [one.name for part in seen for one in part.measured]
        _check(self._names)
        self._edges = any(name not in _PLATEAUS for name in self._names)
        priors = standin.priors(tuple(part.load for part in seen))
        if self._edges:
            priors = (*priors, rise)
        # A part without uncertainty is a constant.
        self._constants = {one.name: one.value for one in priors if one.u == 0.0}
        self._priors = tuple(one for one in priors if one.u > 0.0)
        self._rise = rise.name
        self._free = self._first_guess()
        self.observations = (*self._measured(), *self._priors)
        self.start = np.array([*self._free.values(), *(one.value for one in self._priors)])
        self.steps = [
            *(1e-3 * max(abs(value), 1e-3) for value in self._free.values()),
            *(0.1 * one.u for one in self._priors),
        ]

    def model(self, parameters: Floats) -> Floats:
        """What the observations should be."""
        values = self._values(parameters)
        diode = self._diode(values)
        source = self._source(values)
        found: list[float] = []
        for part in self._seen:
            circuit = PilotCircuit(source, self._standin.load(part.load, values), diode)
            width_us = values.get("generator_width_us", 0.0)
            found += [_SHOWN[one.name](circuit, width_us) for one in part.measured]
        return np.array([*found, *(values[one.name] for one in self._priors)])

    def result(self, solution: Solution) -> SourceFit:
        """Name and sort what was found."""
        names = [*self._free, *(one.name for one in self._priors)]
        wanted = {name: _UNITS[name] for name in names if name in _UNITS}
        found = {
            name: solution.quantity(names.index(name), name, unit, self._method())
            for name, unit in wanted.items()
        }
        diode = self._standin.diode
        if diode is not None and diode.first.name in names:
            at = names.index(diode.first.name)
            found["diode_drop_v"] = solution.quantity(at, "diode_drop_v", "V", self._method())
        places = [(part.load.setting, one) for part in self._seen for one in part.measured]
        contradictions = [
            Contradiction(setting, one.name, one.value, fitted, one.unit, pull)
            for (setting, one), fitted, pull in zip(
                places, solution.fitted.tolist(), solution.pulls.tolist(), strict=False
            )
        ]
        return SourceFit(
            found,
            self._settings(),
            solution.chi_square,
            solution.freedom,
            solution.probability,
            tuple(sorted(contradictions, key=lambda one: -abs(one.pull))),
        )

    def _method(self) -> str:
        return f"fit of the pilot circuit to {', '.join(self._settings())}"

    def _settings(self) -> tuple[str, ...]:
        return tuple(dict.fromkeys(part.load.setting for part in self._seen))

    def _measured(self) -> list[Quantity]:
        return [
            _unsteady(one, part.load.setting, self._standin.u_steadiness_v)
            for part in self._seen
            for one in part.measured
        ]

    def _first_guess(self) -> dict[str, float]:
        levels = {
            name: [one.value for part in self._seen for one in part.measured if one.name == name]
            for name in (*_PLATEAUS, *_WIDTHS)
        }
        guess = {"source_resistance_ohm": 1000.0}
        if levels["high_plateau_v"] or self._edges:
            guess["open_high_v"] = max(levels["high_plateau_v"], default=12.0)
        if levels["low_plateau_v"] or self._edges:
            guess["open_low_v"] = min(levels["low_plateau_v"], default=-12.0)
        if self._edges:
            guess["capacitance_pf"] = 1000.0
        widths = levels["pulse_width_zero_us"] + levels["pulse_width_mid_us"]
        if widths:
            guess["generator_width_us"] = widths[0]
        return guess

    def _values(self, parameters: Floats) -> dict[str, float]:
        names = [*self._free, *(one.name for one in self._priors)]
        return {**self._constants, **dict(zip(names, parameters.tolist(), strict=True))}

    def _source(self, values: Values) -> Source:
        high = values.get("open_high_v", 12.0)
        low = values.get("open_low_v", -12.0)
        return Source(
            values["source_resistance_ohm"],
            max(high, low + 1e-3) if "open_high_v" in values else max(high, low + 1.0),
            low if "open_low_v" in values else min(low, high - 1.0),
            max(0.0, values.get(self._rise, 0.0)),
            values.get("capacitance_pf", 1000.0) * PICOFARAD,
        )

    def _diode(self, values: Values) -> Diode:
        diode = self._standin.diode
        if diode is None or diode.first.name not in values:
            return FAST_SILICON  # no setting uses it
        return diode.curve(values)


_UNITS: Final = {
    "source_resistance_ohm": "ohm",
    "open_high_v": "V",
    "open_low_v": "V",
    "capacitance_pf": "pF",
    "generator_rise_us": "us",
    "generator_width_us": "us",
}

_SHOWN: Final[Mapping[str, Callable[[PilotCircuit, float], float]]] = {
    "high_plateau_v": lambda circuit, _: circuit.high_v,
    "low_plateau_v": lambda circuit, _: circuit.low_v,
    "rise_time_us": lambda circuit, _: circuit.rise().transition_us(),
    "fall_time_us": lambda circuit, _: circuit.fall().transition_us(),
    "pulse_width_zero_us": lambda circuit, width_us: width_us + circuit.width_shift_us(0.0),
    "pulse_width_mid_us": lambda circuit, width_us: width_us + circuit.width_shift_us(),
}


def _check(names: Sequence[str]) -> None:
    unknown = sorted(set(names) - set(_SHOWN))
    if unknown:
        raise CircuitError(f"The circuit does not tell {', '.join(unknown)}; leave it out.")
    if not names:
        raise CircuitError("Nothing was measured, so no source can be worked out.")


def _unsteady(one: Quantity, setting: str, u_volts: float) -> Quantity:
    """A plateau with the doubt that the rails stood as high as at the other settings."""
    if one.name not in _PLATEAUS or u_volts == 0.0:
        return one
    if not one.rows:
        raise QuantityError(f"{one.name} has no budget; it cannot take part in a fit.")
    # A measured level's first row names its capture, so that it is the same input elsewhere.
    row = type_b(
        f"steadiness-{setting}-{one.rows[0].id}",
        f"rail from setting to setting, {setting}",
        u_volts,
        "V",
    )
    return combine(one.name, one.unit, one.value, one.method, [*one.rows, row])
