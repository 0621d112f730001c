"""The stand-in's own parts as calibrated values, the way a fit of the circuit takes them."""

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

from pilotsignal.budget import combine, half_width
from pilotsignal.calibration import KnownPart
from pilotsignal.circuit import Load
from pilotsignal.diode import Diode, Point
from pilotsignal.errors import CircuitError
from pilotsignal.quantity import BudgetRow, Quantity

Values = Mapping[str, float]

_HARDEST: Final = 0.003  # emission voltage in volts; silicon has 0.026 and more


def part_quantity(part: KnownPart) -> Quantity:
    """A calibrated part as a quantity with a budget of one row, whose id is the part's."""
    row = BudgetRow(part.id, part.id, "B", "normal", part.u, part.unit, math.inf, 1.0)
    return combine(part.id, part.unit, part.value, "calibration", [row])


SILICON_EMISSION: Final = combine(
    "diode_emission_v",
    "V",
    0.039,
    "silicon at room temperature, emission coefficient 1 to 2",
    [half_width("diode-emission", "diode, shape of its curve", 0.013, "V")],
)
"""kT/q is 26 mV at room temperature; that silicon diodes lie between 1 and 2 of it is common
practice, no source."""


@dataclass(frozen=True, slots=True)
class KnownDiode:
    """The diode by one or two calibrated points.

    Parameters
    ----------
    first, second : drops in volts; without the second, `emission` gives the curve its shape.
    first_a, second_a : the currents that they belong to, in amperes.
    emission : emission voltage, in volts.
    series_ohm : series resistance, taken as exact: two points do not tell it from the emission.
    """

    first: Quantity
    first_a: float
    second: Quantity | None = None
    second_a: float = 0.0
    emission: Quantity = SILICON_EMISSION
    series_ohm: float = 0.0

    @property
    def priors(self) -> tuple[Quantity, ...]:
        """What is known beforehand and may be moved by a fit."""
        return (self.first, self.emission if self.second is None else self.second)

    def curve(self, values: Values) -> Diode:
        """The curve at given values of the priors, by their names."""
        first = Point(self.first_a, values[self.first.name])
        if self.second is None:
            return Diode.at(first, values[self.emission.name], self.series_ohm)
        # A fit may pull the points into what is no diode; it is held at the hardest there is.
        rise = values[self.second.name] - first.drop_v - self.series_ohm * self._apart_a
        hardest = _HARDEST * abs(math.log(self.second_a / self.first_a))
        rise = math.copysign(max(math.copysign(1.0, self._apart_a) * rise, hardest), self._apart_a)
        second_v = first.drop_v + rise + self.series_ohm * self._apart_a
        return Diode.through(first, Point(self.second_a, second_v), self.series_ohm)

    @property
    def _apart_a(self) -> float:
        return self.second_a - self.first_a


@dataclass(frozen=True, slots=True)
class KnownLoad:
    """What a setting presents.

    Parameters
    ----------
    setting : what people call it; settings with one name count as one.
    ladder : resistors in parallel behind the diode, in ohm.
    diode_in : whether the diode is there, or bypassed.
    short : resistor of rung `short`, in ohm.
    """

    setting: str
    ladder: tuple[Quantity, ...] = ()
    diode_in: bool = True
    short: Quantity | None = None

    @property
    def priors(self) -> tuple[Quantity, ...]:
        """What is known beforehand and may be moved by a fit."""
        return self.ladder if self.short is None else (*self.ladder, self.short)

    @property
    def through_diode(self) -> bool:
        """Whether current flows through the diode at all."""
        return bool(self.ladder) and self.diode_in


@dataclass(frozen=True, slots=True)
class KnownStandIn:
    """Everything of the stand-in that no setting changes.

    Parameters
    ----------
    diode : ``None`` if it is not known; settings that use it are then refused.
    input_ohm : load of the measuring path on the pilot, ``None``: it takes no current.
    before_diode_f, behind_diode_f : its capacitances, taken as exact.
    u_steadiness_v : standard uncertainty, in volts, for what a charger's rails move from one
        setting to the next (2 mV: common practice, no source).
    """

    diode: KnownDiode | None = None
    input_ohm: Quantity | None = None
    before_diode_f: float = 0.0
    behind_diode_f: float = 0.0
    u_steadiness_v: float = 0.002

    def priors(self, loads: tuple[KnownLoad, ...]) -> tuple[Quantity, ...]:
        """All that is known beforehand about some settings, each once.

        Raises
        ------
        CircuitError : a setting uses a diode that is not known.
        """
        found = [] if self.input_ohm is None else [self.input_ohm]
        for load in loads:
            found += load.priors
        if any(load.through_diode for load in loads):
            if self.diode is None:
                raise CircuitError("The diode's drop is not known; calibrate the stand-in.")
            found += self.diode.priors
        return tuple({one.name: one for one in found}.values())

    def load(self, known: KnownLoad, values: Values) -> Load:
        """The load of a setting at given values of the priors, by their names."""
        siemens = sum(1.0 / values[part.name] for part in known.ladder)
        return Load(
            ladder_ohm=1.0 / siemens if siemens else math.inf,
            diode_in=known.diode_in,
            short_ohm=math.inf if known.short is None else values[known.short.name],
            input_ohm=math.inf if self.input_ohm is None else values[self.input_ohm.name],
            before_diode_f=self.before_diode_f,
            behind_diode_f=self.behind_diode_f,
        )
