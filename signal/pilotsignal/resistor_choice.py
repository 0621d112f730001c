"""E96 parts that bring a wanted level of the pilot, or take it to the edge of a window."""

from dataclasses import dataclass

from pilotsignal.errors import CircuitError
from pilotsignal.preferred import Joined, Preferred, nearest_pair, neighbours
from pilotsignal.resistors import STATES, Parts, Toleranced, high_level
from pilotsignal.standard import Profile


@dataclass(frozen=True, slots=True)
class Fit:
    """A choice of E96 parts and the level it gives, in V; `low_v`, `high_v` by its own tolerance.

    `off_v` is how far `level_v` lies from what is wanted.
    """

    choice: Preferred
    level_v: float
    off_v: float
    low_v: float
    high_v: float


@dataclass(frozen=True, slots=True)
class Wanted:
    """A level wanted in one state, in V; `percent` is the tolerance of the parts to be bought."""

    state: str
    level_v: float
    percent: float = 1.0


def needed_ohm(wanted: Wanted, parts: Parts) -> float:
    """Resistor that brings the wanted level, in ohm, with all other parts nominal.

    In B the permanent one; in C and D the switched one beside the nominal permanent one.

    Raises
    ------
    CircuitError : no resistor can bring this level.
    """
    if wanted.state not in STATES[1:]:
        raise CircuitError(f"No resistor sets the level of {wanted.state}; ask for B, C or D.")
    rail, source, drop = parts.high_rail.nominal, parts.source.nominal, parts.diode.nominal
    most = rail if wanted.state == "B" else float(high_level("B", parts.nominal()))
    if not drop < wanted.level_v < most:
        raise CircuitError(
            f"No resistor brings {wanted.level_v:g} V in {wanted.state} with these parts; ask for "
            f"a level between {drop:.3g} and {most:.3g} V."
        )
    load = source * (wanted.level_v - drop) / (rail - wanted.level_v)
    if wanted.state == "B":
        return load
    return 1.0 / (1.0 / load - 1.0 / parts.permanent.nominal)


def preferred_fits(wanted: Wanted, parts: Parts) -> tuple[Fit, ...]:
    """E96 parts for a wanted level, closest first: the singles next to it, then the best pairs.

    A pair that comes no closer than the best single part is left out.

    Raises
    ------
    CircuitError : no resistor can bring this level, or none of E96.
    """
    ohm = needed_ohm(wanted, parts)
    pairs = (nearest_pair(ohm, Joined.SERIES), nearest_pair(ohm, Joined.PARALLEL))
    singles = _closest_first([_fit(one, wanted, parts) for one in neighbours(ohm)])
    twos = _closest_first([_fit(pair, wanted, parts) for pair in pairs if pair is not None])
    best = abs(singles[0].off_v)
    return (*singles, *(two for two in twos if abs(two.off_v) < best))


def _closest_first(fits: list[Fit]) -> list[Fit]:
    return sorted(fits, key=lambda fit: abs(fit.off_v))


def _fit(choice: Preferred, wanted: Wanted, parts: Parts) -> Fit:
    name = "permanent" if wanted.state == "B" else f"switched_{wanted.state.lower()}"
    part = Toleranced.percent(choice.ohm, wanted.percent, "ohm")
    nominal = parts.nominal()
    low, level, high = (
        float(high_level(wanted.state, {**nominal, name: ohm}))
        for ohm in (part.low, part.nominal, part.high)
    )
    return Fit(choice, level, level - wanted.level_v, low, high)


def edge_v(state: str, which: str, profile: Profile) -> float:
    """Edge of the window in which a state is recognised, in V; `which` is ``low`` or ``high``.

    Raises
    ------
    CircuitError : no such state or edge.
    """
    if state not in STATES[1:] or which not in ("low", "high"):
        raise CircuitError(
            f"There is no edge {which!r} of {state!r}; ask for low or high of B to D."
        )
    window = profile.windows[state]
    return window.low if which == "low" else window.high
