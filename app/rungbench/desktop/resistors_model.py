"""Resistors in texts: fields in, levels and probabilities in words out; no Qt widgets."""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final

from pilotsignal.csv_units import parse_amount
from pilotsignal.errors import CircuitError
from pilotsignal.resistor_choice import Fit, Wanted, edge_v, needed_ohm, preferred_fits
from pilotsignal.resistors import (
    Chance,
    Drawing,
    LevelSpread,
    LowLevel,
    Parts,
    Spread,
    Toleranced,
    level_spreads,
    low_levels,
    standard_parts,
)
from pilotsignal.standard import Profile
from rungbench.desktop.figures import bounds, number, short, unit_text

NAMES: Final[Mapping[str, str]] = {
    "high_rail": "High rail",
    "low_rail": "Low rail",
    "source": "Source resistor",
    "permanent": "Permanent resistor",
    "switched_c": "Switched resistor of C",
    "switched_d": "Switched resistor of D",
    "diode": "Drop of the diode",
}
LADDERS: Final = (
    ("nominal", "vehicle's parts"),
    ("low", "test ladder, low edges"),
    ("high", "test ladder, high edges"),
)
SPREADS: Final = ((Spread.EVEN, "anywhere alike"), (Spread.BELL, "normal, limits at 3 sigma"))


@dataclass(frozen=True, slots=True)
class Fields:
    """What stands in the fields of a part: value, and tolerance such as ``3 %`` or ``0.15``."""

    value: str
    tolerance: str


@dataclass(frozen=True, slots=True)
class Asked:
    """Everything that is asked for, as texts where somebody types."""

    fields: Mapping[str, Fields]
    draws: str
    seed: str
    spread: Spread


@dataclass(frozen=True, slots=True)
class Answered:
    """What comes of it."""

    parts: Parts
    drawing: Drawing
    spreads: tuple[LevelSpread, ...]
    lows: tuple[LowLevel, ...]


def standard_fields(profile: Profile, ladder: str) -> dict[str, Fields]:
    """The fields of a profile's own parts."""
    parts = standard_parts(profile, ladder)
    return {name: Fields(short(part.nominal), _tolerance(part)) for name, part in parts.named()}


def _tolerance(part: Toleranced) -> str:
    up, down = part.high - part.nominal, part.nominal - part.low
    either_way = max(up, down)
    percent = abs(either_way / part.nominal) * 100.0
    if part.unit == "ohm" or math.isclose(percent, round(percent), abs_tol=1e-6):
        return f"{short(percent)} %"
    return short(either_way)


def work_out(asked: Asked, profile: Profile) -> Answered:
    """Levels and probabilities.

    Raises
    ------
    CircuitError : a field that makes no sense; the sentence names it.
    """
    parts = parts_of(asked.fields)
    drawing = Drawing(_whole(asked.draws, "draws"), _whole(asked.seed, "seed"), asked.spread)
    return Answered(parts, drawing, level_spreads(parts, profile, drawing), low_levels(parts))


def parts_of(fields: Mapping[str, Fields]) -> Parts:
    """The parts that stand in the fields; raises as `work_out`."""
    return Parts(**{name: _part(name, fields[name]) for name in NAMES})


def _part(name: str, typed: Fields) -> Toleranced:
    unit = "ohm" if name not in ("high_rail", "low_rail", "diode") else "V"
    nominal = amount(typed.value, NAMES[name], unit)
    text = typed.tolerance.strip()
    try:
        if text.endswith("%"):
            share = amount(text.removesuffix("%"), f"The tolerance of {NAMES[name]}", "")
            return Toleranced.percent(nominal, share, unit)
        either_way = amount(text or "0", f"The tolerance of {NAMES[name]}", unit)
        return Toleranced.within(nominal, either_way, unit)
    except CircuitError as problem:
        if NAMES[name] in str(problem):
            raise
        raise CircuitError(f"{NAMES[name]}: {problem}") from problem


def amount(text: str, what: str, unit: str) -> float:
    """The number in a field, ``k`` and ``M`` understood for ohm.

    Raises
    ------
    CircuitError : it is none.
    """
    bare, factor = text.strip().replace("−", "-"), 1.0
    for ending in (unit, unit_text(unit)):
        bare = bare.removesuffix(ending).strip() if ending else bare
    if unit == "ohm" and bare[-1:] in ("k", "M"):
        factor = 1e3 if bare[-1] == "k" else 1e6
        bare = bare[:-1]
    found = parse_amount(bare)
    if found is None or found[1] is not None or not math.isfinite(found[0]):
        raise CircuitError(f"{what}: {text.strip()!r} is no number; type one such as 1000.")
    return float(f"{found[0] * factor:.12g}")


def _whole(text: str, what: str) -> int:
    bare = text.strip().replace(" ", "")
    if not bare.isascii() or not bare.isdigit() or len(bare) > 12:
        raise CircuitError(f"{text.strip()!r} is no whole number of {what}; type one.")
    return int(bare)


# In words -------------------------------------------------------------------------------------


def level_rows(answered: Answered) -> Iterator[tuple[str, ...]]:
    """State, nominal, worst case, 95 % of the draws: of each state."""
    for spread in answered.spreads:
        yield (
            spread.state,
            number(spread.nominal_v, 3),
            f"{number(spread.worst_low_v, 3)} … {number(spread.worst_high_v, 3)}",
            f"{number(spread.covered_low_v, 3)} … {number(spread.covered_high_v, 3)}",
        )


def most_text(answered: Answered) -> str:
    """The part that does most to the level of each state, and how much."""
    most = [(spread.state, spread.shares[0]) for spread in answered.spreads]
    said = "; ".join(
        f"{state}: {NAMES[share.part].lower()}, {_either_way(share.low_v, share.high_v)}"
        for state, share in most
    )
    return f"What moves each level most. {said}."


def low_text(answered: Answered) -> str:
    """The low level, with and without the diode."""
    with_diode, *others = answered.lows
    worst = f"{number(with_diode.worst_low_v, 2)} … {number(with_diode.worst_high_v, 2)}"
    bypassed = ", ".join(
        f"{number(low.worst_low_v, 2)} … {number(low.worst_high_v, 2)} V in {low.state}"
        for low in others
    )
    return f"Low level: {worst} V with the diode; with the diode bypassed {bypassed}."


def chance_rows(answered: Answered, profile: Profile) -> Iterator[tuple[str, str, str]]:
    """State, what may become of it, how probable that is."""
    for spread in answered.spreads:
        for name, found in spread.reads.items():
            sure = name == spread.state and spread.always_read
            said = "certain: all corners are" if sure else chance_text(found)
            yield spread.state, f"read as {name}", said
        if spread.allowed is not None:
            limit = profile.limit("high_level", spread.state)
            yield (
                spread.state,
                f"within {bounds(limit)} ({limit.clause})",
                chance_text(spread.allowed),
            )


def chance_text(found: Chance) -> str:
    """A probability in percent with its 95 % interval, never surer than the draws allow."""
    if found.hits == found.draws:
        return f"all draws: at least {_percent(found.low)}"
    if found.hits == 0:
        return f"no draw: at most {_percent(found.high)}"
    return f"{_percent(found.value)} ({_percent(found.low)} … {_percent(found.high)})"


def _percent(share: float) -> str:
    places = 2 if 0.01 <= share <= 0.99 else 4
    return f"{number(share * 100.0, places)} %"


def _either_way(low_v: float, high_v: float) -> str:
    """How far a part moves a level, in one figure where both ways are alike."""
    sides = sorted((low_v, high_v))
    if number(-sides[0], 3) == number(sides[1], 3):
        return f"± {number(sides[1], 3)} V"
    return f"{_signed(sides[0])} to {_signed(sides[1])} V"


def _signed(volts: float) -> str:
    return f"{'+' if volts > 0 else ''}{number(volts, 3)}"


# Wanted levels --------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class WantedFields:
    """A level wanted: ``low``, ``high`` or a text of volts; tolerance of the parts in percent."""

    state: str
    level: str
    percent: str


def fits_for(asked: WantedFields, parts: Parts, profile: Profile) -> tuple[str, tuple[Fit, ...]]:
    """A sentence on what is needed, and the choices.

    Raises
    ------
    CircuitError : no resistor brings it, or a field makes no sense.
    """
    if asked.level in ("low", "high"):
        volts = edge_v(asked.state, asked.level, profile)
    else:
        volts = amount(asked.level, "The wanted level", "V")
    percent = amount(asked.percent.strip().removesuffix("%"), "The tolerance of the parts", "")
    wanted = Wanted(asked.state, volts, percent)
    ohm = needed_ohm(wanted, parts)
    role = "permanent" if asked.state == "B" else "switched"
    sentence = f"{short(volts)} V in {asked.state} need {short(ohm)} Ω as the {role} resistor."
    return sentence, preferred_fits(wanted, parts)


def fit_row(fit: Fit) -> tuple[str, ...]:
    """Parts, together, level, how far off, worst case by its tolerance."""
    joined = "" if len(fit.choice.parts_ohm) == 1 else f" {fit.choice.joined}"
    off = fit.off_v * 1e3
    return (
        " and ".join(short(ohm) for ohm in fit.choice.parts_ohm) + joined,
        short(fit.choice.ohm),
        number(fit.level_v, 4),
        f"{'+' if off > 0 else ''}{number(off, 2)}",
        f"{number(fit.low_v, 3)} … {number(fit.high_v, 3)}",
    )
