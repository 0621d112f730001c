"""What tolerances of charger and vehicle side make of the pilot's levels.

Circuit of IEC 61851-1:2017 Annex A: a rail behind the source resistor, and between pilot and PE the
diode with a constant drop and the ladder.  Worst case is the least and greatest level over all
corners of the tolerances: the level rises or falls with each part, so that no level between them
lies outside.  The distribution is that of GUM Supplement 1 [1]_: parts are drawn from their
tolerances, with a fixed seed.

References
----------
.. [1] JCGM 101:2008, Propagation of distributions using a Monte Carlo method.
.. [2] C. J. Clopper, E. S. Pearson, The use of confidence or fiducial limits illustrated in the
   case of the binomial, Biometrika 26 (1934) 404: the interval of a probability.
"""

import itertools
import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields
from enum import StrEnum
from typing import Any, Final, Self

import numpy as np
import numpy.typing as npt

from pilotsignal.errors import CircuitError
from pilotsignal.standard import Profile
from pilotsignal.standard.rows import Part

Floats = npt.NDArray[np.float64]

STATES: Final = ("A", "B", "C", "D")
MOST_DRAWS: Final = 5_000_000
LEAST_DRAWS: Final = 1_000
_COVERED: Final = 0.95
_BELL_SIGMAS: Final = 3.0
_RAIL_V: Final = 12.0
_HIGHEST_V: Final = 100.0
_NO_STATE: Final = "no state"


class Spread(StrEnum):
    """How parts lie within their tolerance.

    ``even``: anywhere alike.  ``bell``: a normal distribution around the middle, whose limits are
    three standard deviations away and cut it off.
    """

    EVEN = "even"
    BELL = "bell"


@dataclass(frozen=True, slots=True)
class Toleranced:
    """A part or rail: nominal, least and greatest value, in `unit`.

    Raises
    ------
    CircuitError : no numbers, or not in this order.
    """

    nominal: float
    low: float
    high: float
    unit: str

    def __post_init__(self) -> None:
        numbers = (self.low, self.nominal, self.high)
        if not all(math.isfinite(one) for one in numbers) or list(numbers) != sorted(numbers):
            raise CircuitError(
                f"{self.low:g}, {self.nominal:g}, {self.high:g} {self.unit} are not least, nominal "
                "and greatest value; give them in this order."
            )

    @classmethod
    def within(cls, nominal: float, either_way: float, unit: str) -> Self:
        """A value with a tolerance either way, in the same unit."""
        if not either_way >= 0.0:
            raise CircuitError(f"A tolerance of {either_way:g} {unit} cannot be; give 0 or more.")
        return cls(nominal, nominal - either_way, nominal + either_way, unit)

    @classmethod
    def percent(cls, nominal: float, percent: float, unit: str) -> Self:
        """A value with a tolerance in percent of it."""
        if not 0.0 <= percent < 100.0:
            raise CircuitError(f"A tolerance of {percent:g} % cannot be; give 0 to below 100 %.")
        return cls.within(nominal, abs(nominal) * percent / 100.0, unit)

    @property
    def ends(self) -> tuple[float, float]:
        """Least and greatest value."""
        return self.low, self.high


@dataclass(frozen=True, slots=True)
class Parts:
    """Everything that makes a level; the charger's side first.

    Parameters
    ----------
    high_rail, low_rail : the generator's rails in V.
    source : the source resistor in ohm.
    permanent, switched_c, switched_d : the ladder's resistors in ohm; each switched one lies beside
        the permanent one.
    diode : its drop in V.

    Raises
    ------
    CircuitError : a resistance that is not positive, rails that are not, a drop below 0 V.
    """

    high_rail: Toleranced
    low_rail: Toleranced
    source: Toleranced
    permanent: Toleranced
    switched_c: Toleranced
    switched_d: Toleranced
    diode: Toleranced

    def __post_init__(self) -> None:
        for name in ("source", "permanent", "switched_c", "switched_d"):
            part: Toleranced = getattr(self, name)
            if part.low <= 0.0:
                raise CircuitError(
                    f"A {name.replace('_', ' ')} resistor down to {part.low:g} ohm cannot be; give "
                    "positive resistances."
                )
        if not 0.0 < self.high_rail.low <= self.high_rail.high <= _HIGHEST_V:
            raise CircuitError(f"The high rail lies above 0 V and up to {_HIGHEST_V:g} V.")
        if not -_HIGHEST_V <= self.low_rail.low <= self.low_rail.high < 0.0:
            raise CircuitError(f"The low rail lies below 0 V and down to {-_HIGHEST_V:g} V.")
        if not 0.0 <= self.diode.low <= self.diode.high < self.high_rail.low:
            raise CircuitError("The diode's drop lies between 0 V and the high rail.")

    def named(self) -> Iterator[tuple[str, Toleranced]]:
        """Name and part, in order."""
        for one in fields(self):
            yield one.name, getattr(self, one.name)

    def nominal(self) -> dict[str, float]:
        """Nominal values by name."""
        return {name: part.nominal for name, part in self.named()}


def standard_parts(profile: Profile, ladder: str = "nominal") -> Parts:
    """Parts with the tolerances of a profile's edition.

    Parameters
    ----------
    ladder : ``nominal``: the vehicle's parts (IEC 61851-1:2017 Table A.3); ``low`` or ``high``: the
        test ladders at the edges of the windows (its Table A.9).

    Raises
    ------
    ProfileError : the edition names no such parts.
    CircuitError : no such ladder.
    """
    names = {
        "nominal": ("permanent", "switched_c", "switched_d"),
        "low": ("ladder_low_permanent", "ladder_low_c", "ladder_low_d"),
        "high": ("ladder_high_permanent", "ladder_high_c", "ladder_high_d"),
    }
    if ladder not in names:
        raise CircuitError(f"There is no ladder {ladder!r}; choose {', '.join(names)}.")
    permanent, switched_c, switched_d = (_of_part(profile.part(one)) for one in names[ladder])
    return Parts(
        _of_limit(profile, "open_high", _RAIL_V),
        _of_limit(profile, "open_low", -_RAIL_V),
        _of_limit(profile, "source_resistance", 1000.0),
        permanent,
        switched_c,
        switched_d,
        _of_part(profile.part("diode_drop")),
    )


def _of_part(part: Part) -> Toleranced:
    return Toleranced(part.nominal, part.low, part.high, part.unit)


def _of_limit(profile: Profile, key: str, otherwise: float) -> Toleranced:
    limit = profile.limit(key)
    nominal = otherwise if limit.nominal is None else limit.nominal
    low = nominal if limit.low is None else limit.low
    return Toleranced(nominal, low, nominal if limit.high is None else limit.high, limit.unit)


def high_level(state: str, values: Mapping[str, Any]) -> Any:
    """High level of the pilot in V, of numbers or arrays of equal shape.

    Parameters
    ----------
    state : ``A`` to ``D``.
    values : by the names of `Parts`; NaN gives NaN.

    Raises
    ------
    CircuitError : no such state.
    """
    rail = values["high_rail"]
    if state == "A":
        return rail + 0.0
    load = load_ohm(state, values)
    drop, source = values["diode"], values["source"]
    return (rail * load + drop * source) / (load + source)


def load_ohm(state: str, values: Mapping[str, Any]) -> Any:
    """Resistance behind the diode in states B to D, in ohm, of numbers or arrays.

    Raises
    ------
    CircuitError : another state.
    """
    if state == "B":
        return values["permanent"]
    if state not in ("C", "D"):
        raise CircuitError(f"There is no load in state {state!r}; use B, C or D.")
    switched = values[f"switched_{state.lower()}"]
    return 1.0 / (1.0 / values["permanent"] + 1.0 / switched)


@dataclass(frozen=True, slots=True)
class Drawing:
    """How parts are drawn: the same seed gives the same draws on every machine.

    Raises
    ------
    CircuitError : too few or too many draws, a negative seed.
    """

    draws: int = 200_000
    seed: int = 1
    spread: Spread = Spread.EVEN

    def __post_init__(self) -> None:
        if not LEAST_DRAWS <= self.draws <= MOST_DRAWS:
            raise CircuitError(
                f"{self.draws} draws are too few or too many; give {LEAST_DRAWS} to {MOST_DRAWS}."
            )
        if self.seed < 0:
            raise CircuitError("A seed is a whole number from 0 on.")


@dataclass(frozen=True, slots=True)
class Chance:
    """A probability: `hits` of `draws`, with its 95 % interval after Clopper and Pearson."""

    hits: int
    draws: int
    low: float
    high: float

    @property
    def value(self) -> float:
        """The share of the draws."""
        return self.hits / self.draws


@dataclass(frozen=True, slots=True)
class Share:
    """What one part alone does to a level: its changes in V from the nominal level."""

    part: str
    low_v: float
    high_v: float


@dataclass(frozen=True, slots=True)
class LevelSpread:
    """The high level in one state; all levels in V.

    Parameters
    ----------
    nominal_v : with all parts nominal.
    worst_low_v, worst_high_v : over all corners of the tolerances.
    mean_v, deviation_v : of the draws; `u_mean_v` is what their number leaves open in the mean.
    covered_low_v, covered_high_v : between them lie 95 % of the draws.
    reads : by state or pair of states (``A``, ``A or B``, ``no state``): probability of being read
        so by the windows of the profile; those that no draw met are left out but the state itself.
    always_read : whether all corners are read as the state itself, so that it is certain.
    allowed : probability of a level that the edition allows a charger; ``None`` without a row.
    shares : of each part that takes part, the largest first.
    """

    state: str
    nominal_v: float
    worst_low_v: float
    worst_high_v: float
    mean_v: float
    u_mean_v: float
    deviation_v: float
    covered_low_v: float
    covered_high_v: float
    reads: Mapping[str, Chance]
    always_read: bool
    allowed: Chance | None
    shares: tuple[Share, ...]


def level_spreads(parts: Parts, profile: Profile, drawing: Drawing) -> tuple[LevelSpread, ...]:
    """What the tolerances make of the high levels of A to D."""
    drawn = _draw(parts, drawing)
    return tuple(_spread_of(state, parts, profile, drawn) for state in STATES)


def worst_levels(state: str, parts: Parts) -> tuple[float, float]:
    """Least and greatest level over all corners of the tolerances, in V."""
    names = [name for name, _ in parts.named()]
    corners = np.array(list(itertools.product(*(part.ends for _, part in parts.named()))))
    levels = high_level(state, dict(zip(names, corners.T, strict=True)))
    return float(np.min(levels)), float(np.max(levels))


@dataclass(frozen=True, slots=True)
class LowLevel:
    """The low level while pulses are sent, in V: `state` is empty with the diode in front.

    The diode then blocks whatever the ladder is, and the level is the low rail; with the diode
    bypassed rail and resistors divide.
    """

    state: str
    nominal_v: float
    worst_low_v: float
    worst_high_v: float


def low_levels(parts: Parts) -> tuple[LowLevel, ...]:
    """The low level with the diode, and without it in B, C and D."""
    rail = parts.low_rail
    found = [LowLevel("", rail.nominal, rail.low, rail.high)]
    for state in STATES[1:]:
        # The load is greatest or least with its resistors, and so is what divides.
        low, nominal, high = (
            load_ohm(state, {name: getattr(part, end) for name, part in parts.named()})
            for end in ("low", "nominal", "high")
        )
        source = parts.source
        found.append(
            LowLevel(
                state,
                rail.nominal * nominal / (nominal + source.nominal),
                rail.low * high / (high + source.low),
                rail.high * low / (low + source.high),
            )
        )
    return tuple(found)


def _draw(parts: Parts, drawing: Drawing) -> dict[str, Floats]:
    """Values of all parts, each of shape (draws,), in the order of `Parts`."""
    random = np.random.default_rng(drawing.seed)
    found = {}
    for name, part in parts.named():
        places = random.random(drawing.draws)
        if drawing.spread is Spread.BELL:
            places = _bell(places)
        found[name] = part.low + (part.high - part.low) * places
    return found


def _bell(places: Floats) -> Floats:
    """Even places from 0 to 1 turned into those of the bell."""
    # Late: only this spread needs it.
    from scipy.special import ndtr, ndtri

    tail = float(ndtr(-_BELL_SIGMAS))
    sigmas = ndtri(tail + (1.0 - 2.0 * tail) * places)
    bent: Floats = 0.5 + 0.5 * sigmas / _BELL_SIGMAS
    return bent


def _spread_of(
    state: str, parts: Parts, profile: Profile, drawn: Mapping[str, Floats]
) -> LevelSpread:
    levels: Floats = high_level(state, drawn)
    worst = worst_levels(state, parts)
    outside = 0.5 * (1.0 - _COVERED)
    low, high = np.quantile(levels, (outside, 1.0 - outside))
    deviation = float(np.std(levels, ddof=1))
    return LevelSpread(
        state=state,
        nominal_v=float(high_level(state, parts.nominal())),
        worst_low_v=worst[0],
        worst_high_v=worst[1],
        mean_v=float(np.mean(levels)),
        u_mean_v=deviation / math.sqrt(levels.size),
        deviation_v=deviation,
        covered_low_v=float(low),
        covered_high_v=float(high),
        reads=_reads(state, levels, profile),
        always_read=all(level in profile.windows[state] for level in worst),
        allowed=_allowed(state, levels, profile),
        shares=tuple(_shares(state, parts)),
    )


def _reads(state: str, levels: Floats, profile: Profile) -> dict[str, Chance]:
    """How the levels are read: a window, the pair around a gap, or nothing."""
    windows = sorted(
        (
            (name, window)
            for name, window in profile.windows.items()
            if name in STATES or name == "E"
        ),
        key=lambda one: -one[1].low,
    )
    left = np.ones(levels.size, bool)
    hits: dict[str, int] = {}
    for place, (name, window) in enumerate(windows):
        inside = left & (levels >= window.low) & (levels <= window.high)
        hits[name] = int(np.count_nonzero(inside))
        left &= ~inside
        if place:
            above, upper = windows[place - 1]
            gap = left & (levels > window.high) & (levels < upper.low)
            hits[f"{above} or {name}"] = int(np.count_nonzero(gap))
            left &= ~gap
    hits[_NO_STATE] = int(np.count_nonzero(left))
    ordered = {state: hits.get(state, 0), **hits}
    return {
        name: chance(count, levels.size)
        for name, count in ordered.items()
        if count or name == state
    }


def _allowed(state: str, levels: Floats, profile: Profile) -> Chance | None:
    if not profile.has("high_level", state):
        return None
    limit = profile.limit("high_level", state)
    inside = np.ones(levels.size, bool)
    if limit.low is not None:
        inside &= levels >= limit.low
    if limit.high is not None:
        inside &= levels <= limit.high
    return chance(int(np.count_nonzero(inside)), levels.size)


def _shares(state: str, parts: Parts) -> list[Share]:
    nominal = parts.nominal()
    middle = float(high_level(state, nominal))
    found = []
    for name, part in parts.named():
        moved = [float(high_level(state, {**nominal, name: end})) - middle for end in part.ends]
        if moved != [0.0, 0.0]:
            found.append(Share(name, min(moved), max(moved)))
    return sorted(found, key=lambda share: share.low_v - share.high_v)


def chance(hits: int, draws: int) -> Chance:
    """A probability from counted draws.

    Raises
    ------
    CircuitError : no draws, or hits that are not among them.
    """
    # Late: scipy is slow to import and only results need it.
    from scipy.special import betaincinv

    if not 0 <= hits <= draws or draws == 0:
        raise CircuitError(f"{hits} of {draws} draws tell no probability.")
    outside = 0.5 * (1.0 - _COVERED)
    low = 0.0 if hits == 0 else float(betaincinv(hits, draws - hits + 1, outside))
    high = 1.0 if hits == draws else float(betaincinv(hits + 1, draws - hits, 1.0 - outside))
    return Chance(hits, draws, low, high)
