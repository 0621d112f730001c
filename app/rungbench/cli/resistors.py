"""``rungbench resistors``: what tolerances make of the pilot's levels, and parts for a level."""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import click
from rich.table import Table
from rich.text import Text

from pilotsignal.csv_units import parse_amount
from pilotsignal.errors import CircuitError
from pilotsignal.figures import bounds
from pilotsignal.resistor_choice import Fit, Wanted, edge_v, needed_ohm, preferred_fits
from pilotsignal.resistors import (
    LEAST_DRAWS,
    MOST_DRAWS,
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
from pilotsignal.standard import Profile, load_profile
from rungbench.cli.amounts import NumberRange
from rungbench.cli.printing import print_json
from rungbench.cli.terminal import PageConsole
from rungbench.errors import WrongUse
from rungbench.settings import load_settings

SCHEMA: Final = "rungbench.resistors/1"
_OPTIONS: Final = {
    "high_rail": ("--high-rail", "V"),
    "low_rail": ("--low-rail", "V"),
    "source": ("--source", "ohm"),
    "permanent": ("--permanent", "ohm"),
    "switched_c": ("--switched-c", "ohm"),
    "switched_d": ("--switched-d", "ohm"),
    "diode": ("--diode", "V"),
}
_DRAWS: Final = 200_000
_NEEDS: Final = "VALUE[,TOLERANCE] such as 1000,1% or 0.7,0.15"


@dataclass(frozen=True, slots=True)
class _Typed:
    """A part as typed: a value, and a tolerance in its unit or in percent, if there is one."""

    nominal: float
    tolerance: float | None
    in_percent: bool

    def over(self, standard: Toleranced) -> Toleranced:
        """The part; without a tolerance of its own that of the standard part goes with it."""
        if self.tolerance is None:
            ratio = self.nominal / standard.nominal
            ends = sorted(end * ratio for end in standard.ends)
            return Toleranced(self.nominal, ends[0], ends[1], standard.unit)
        make = Toleranced.percent if self.in_percent else Toleranced.within
        return make(self.nominal, self.tolerance, standard.unit)


def _typed(unit: str) -> Callable[[str], _Typed]:
    def read(text: str) -> _Typed:
        value, comma, rest = text.partition(",")
        nominal = _number(value, unit)
        if not comma:
            return _Typed(nominal, None, in_percent=False)
        if rest.strip().endswith("%"):
            return _Typed(nominal, _number(rest.strip().removesuffix("%"), ""), in_percent=True)
        return _Typed(nominal, _number(rest, unit), in_percent=False)

    read.__name__ = "part"
    return read


def _number(text: str, unit: str) -> float:
    bare = text.strip()
    factor = 1.0
    if unit == "ohm":
        bare = bare.removesuffix("ohm").strip()
        for sign, times in (("k", 1e3), ("M", 1e6)):
            if bare.endswith(sign):
                bare, factor = bare.removesuffix(sign), times
    elif unit:
        bare = bare.removesuffix(unit)
    amount = parse_amount(bare)
    if amount is None or amount[1] is not None or not math.isfinite(amount[0]):
        raise click.BadParameter(f"{text.strip()!r} is no {_NEEDS}")
    return float(f"{amount[0] * factor:.12g}")


def _wanted(text: str) -> tuple[str, str]:
    state, colon, level = text.partition(":")
    if not colon or state.strip().upper() not in ("B", "C", "D") or not level.strip():
        raise click.BadParameter(f"{text!r} is no STATE:LEVEL such as B:8.5, C:low or D:high")
    return state.strip().upper(), level.strip()


def _part_options(command: Callable[..., None]) -> Callable[..., None]:
    for name, (option, unit) in reversed(_OPTIONS.items()):
        side = "charger" if name in ("high_rail", "low_rail", "source") else "vehicle side"
        text = f"{name.replace('_', ' ').capitalize()} ({side}), in {unit}."
        command = click.option(
            option, name, type=_typed(unit), metavar="VALUE[,TOLERANCE]", help=text
        )(command)
    return command


@click.command(
    epilog="A tolerance is in percent (1%) or in the unit of its value; without one the tolerance "
    "of the standard's part is kept, in percent."
)
@_part_options
@click.option(
    "--ladder",
    type=click.Choice(("low", "nominal", "high")),
    default="nominal",
    show_default=True,
    help="Standard parts to begin with: the vehicle's, or the test ladders at the window's edges.",
)
@click.option(
    "--want",
    multiple=True,
    type=_wanted,
    metavar="STATE:LEVEL",
    help="Find E96 parts for a level in volts, or for the 'low' or 'high' edge of a window.",
)
@click.option(
    "--part-percent",
    type=NumberRange(0, 50),
    default=1.0,
    show_default=True,
    help="Tolerance of the E96 parts.",
)
@click.option(
    "--spread",
    type=click.Choice([str(one) for one in Spread]),
    default=str(Spread.EVEN),
    show_default=True,
    help="How parts lie within their limits: anywhere alike, or normal with limits at 3 sigma.",
)
@click.option(
    "--draws",
    type=click.IntRange(LEAST_DRAWS, MOST_DRAWS),
    default=_DRAWS,
    show_default=True,
    help="How many sets of parts are drawn.",
)
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True, help="Of the draws.")
@click.option("--profile", metavar="NAME|FILE", help="Tables to read.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
def resistors(**given: Any) -> None:
    """Work out what tolerances make of the pilot's levels, and find parts for a level.

    Worst case is over all corners of the tolerances. Probabilities are shares of drawn sets of
    parts, with their 95 % interval; the same seed gives the same draws.
    """
    tables = load_profile(load_settings({"profile": given["profile"]}).settings.profile)
    try:
        parts = _parts(tables, given)
        drawing = Drawing(given["draws"], given["seed"], Spread(given["spread"]))
        spreads = level_spreads(parts, tables, drawing)
        choices = [_choice(one, parts, tables, given["part_percent"]) for one in given["want"]]
    except CircuitError as problem:
        raise WrongUse(str(problem)) from problem
    if given["as_json"]:
        print_json(_document(tables, parts, drawing, spreads, choices))
        return
    _print_page(tables, parts, drawing, spreads, choices)


@dataclass(frozen=True, slots=True)
class _Choice:
    wanted: Wanted
    edge: str
    needed: float
    fits: tuple[Fit, ...]


def _parts(tables: Profile, given: dict[str, Any]) -> Parts:
    standard = standard_parts(tables, given["ladder"])
    own = {
        name: typed.over(getattr(standard, name))
        for name in _OPTIONS
        if (typed := given[name]) is not None
    }
    return replace(standard, **own)


def _choice(asked: tuple[str, str], parts: Parts, tables: Profile, percent: float) -> _Choice:
    state, text = asked
    if text in ("low", "high"):
        wanted, edge = Wanted(state, edge_v(state, text, tables), percent), text
    else:
        wanted, edge = Wanted(state, _number(text, "V"), percent), ""
    return _Choice(wanted, edge, needed_ohm(wanted, parts), preferred_fits(wanted, parts))


# Page -----------------------------------------------------------------------------------------


def _print_page(
    tables: Profile,
    parts: Parts,
    drawing: Drawing,
    spreads: Sequence[LevelSpread],
    choices: Sequence[_Choice],
) -> None:
    console = PageConsole()
    console.print(_parts_table(parts))
    console.print()
    console.print(_levels_table(spreads))
    console.print()
    for line in _chance_lines(spreads, tables):
        console.print(Text(line))
    console.print(Text("Windows of these tables are for a vehicle's standard parts.", style="dim"))
    for line in _low_lines(low_levels(parts)):
        console.print(Text(line))
    click.echo(
        f"\n{drawing.draws} draws, seed {drawing.seed}, spread {drawing.spread}; "
        "intervals are of 95 %."
    )
    for choice in choices:
        _print_choice(console, choice)
    console.print(Text(f"\nWindows and allowed levels of {tables.edition}. {tables.confirm}"))


def _parts_table(parts: Parts) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 0))
    for name in ("part", "nominal", "least", "greatest", ""):
        table.add_column(name, justify="left" if name in ("part", "") else "right")
    for name, part in parts.named():
        cells = [f"{one:.6g}" for one in (part.nominal, part.low, part.high)]
        table.add_row(name.replace("_", " "), *cells, part.unit)
    return table


def _levels_table(spreads: Sequence[LevelSpread]) -> Table:
    table = Table(box=None, padding=(0, 2, 0, 0))
    for name in ("state", "nominal V", "worst case V", "95 % of draws V", "most of it by"):
        table.add_column(name, overflow="fold")
    for spread in spreads:
        most = spread.shares[0]
        shares = f"{most.part.replace('_', ' ')} {most.low_v:+.3f}/{most.high_v:+.3f}"
        table.add_row(
            spread.state,
            f"{spread.nominal_v:.3f}",
            f"{spread.worst_low_v:.3f}..{spread.worst_high_v:.3f}",
            f"{spread.covered_low_v:.3f}..{spread.covered_high_v:.3f}",
            shares,
        )
    return table


def _chance_lines(spreads: Sequence[LevelSpread], tables: Profile) -> Iterator[str]:
    for spread in spreads:
        for name, found in spread.reads.items():
            sure = name == spread.state and spread.always_read
            said = "certain, all corners are" if sure else chance_text(found)
            yield f"{spread.state} is read as {name}: {said}"
        if spread.allowed is not None:
            limit = tables.limit("high_level", spread.state)
            window = bounds(limit.low, limit.high, limit.unit)
            yield f"{spread.state} within {window} ({limit.clause}): {chance_text(spread.allowed)}"


def chance_text(found: Chance) -> str:
    """A probability in percent with its interval, never more certain than the draws allow."""
    if found.hits == found.draws:
        return f"all draws; at least {found.low * 100:.4f} %"
    if found.hits == 0:
        return f"no draw; at most {found.high * 100:.4f} %"
    return f"{found.value * 100:.4f} % ({found.low * 100:.4f}..{found.high * 100:.4f} %)"


def _low_lines(found: Sequence[LowLevel]) -> Iterator[str]:
    for level in found:
        what = f"diode bypassed in {level.state}" if level.state else "with the diode"
        yield (
            f"low level {what}: {level.nominal_v:.3f} V, worst case "
            f"{level.worst_low_v:.3f}..{level.worst_high_v:.3f} V"
        )


def _print_choice(console: PageConsole, choice: _Choice) -> None:
    wanted = choice.wanted
    edge = f", the {choice.edge} edge of its window" if choice.edge else ""
    role = "permanent" if wanted.state == "B" else "switched"
    console.print(
        Text(
            f"\n{wanted.level_v:g} V in {wanted.state}{edge}: {choice.needed:.5g} ohm as its "
            f"{role} resistor; E96 ({wanted.percent:g} %):"
        )
    )
    table = Table(box=None, padding=(0, 2, 0, 2))
    for name in ("parts ohm", "together", "level V", "off mV", "worst case V"):
        table.add_column(name)
    for fit in choice.fits:
        table.add_row(
            fit_text(fit),
            f"{fit.choice.ohm:.5g}",
            f"{fit.level_v:.4f}",
            f"{fit.off_v * 1e3:+.2f}",
            f"{fit.low_v:.3f}..{fit.high_v:.3f}",
        )
    console.print(table)


def fit_text(fit: Fit) -> str:
    """The parts of a choice, such as ``2610 and 130 in series``."""
    joined = "" if len(fit.choice.parts_ohm) == 1 else f" {fit.choice.joined}"
    return " and ".join(f"{ohm:g}" for ohm in fit.choice.parts_ohm) + joined


# Document -------------------------------------------------------------------------------------


def _document(
    tables: Profile,
    parts: Parts,
    drawing: Drawing,
    spreads: Sequence[LevelSpread],
    choices: Sequence[_Choice],
) -> dict[str, Any]:
    return {
        "schema": SCHEMA,
        "profile": tables.label,
        "parts": {
            name: {
                "nominal": part.nominal,
                "low": part.low,
                "high": part.high,
                "unit": part.unit,
            }
            for name, part in parts.named()
        },
        "drawing": {"draws": drawing.draws, "seed": drawing.seed, "spread": str(drawing.spread)},
        "levels": [_level(one) for one in spreads],
        "low_levels": [_low_level(one) for one in low_levels(parts)],
        "wanted": [_wanted_plain(one) for one in choices],
    }


def _level(spread: LevelSpread) -> dict[str, Any]:
    return {
        "state": spread.state,
        "unit": "V",
        "nominal": spread.nominal_v,
        "worst_case": [spread.worst_low_v, spread.worst_high_v],
        "mean": spread.mean_v,
        "standard_uncertainty_of_mean": spread.u_mean_v,
        "standard_deviation": spread.deviation_v,
        "covered_95_percent": [spread.covered_low_v, spread.covered_high_v],
        "read_for_certain": spread.always_read,
        "read_as": {name: _chance(found) for name, found in spread.reads.items()},
        "allowed": None if spread.allowed is None else _chance(spread.allowed),
        "shares": {share.part: [share.low_v, share.high_v] for share in spread.shares},
    }


def _chance(found: Chance) -> dict[str, Any]:
    return {
        "probability": found.value,
        "interval_95_percent": [found.low, found.high],
        "hits": found.hits,
    }


def _low_level(level: LowLevel) -> dict[str, Any]:
    return {
        "diode_in": not level.state,
        "state": level.state or None,
        "unit": "V",
        "nominal": level.nominal_v,
        "worst_case": [level.worst_low_v, level.worst_high_v],
    }


def _wanted_plain(choice: _Choice) -> dict[str, Any]:
    return {
        "state": choice.wanted.state,
        "level_v": choice.wanted.level_v,
        "edge": choice.edge or None,
        "needed_ohm": choice.needed,
        "part_percent": choice.wanted.percent,
        "choices": [
            {
                "parts_ohm": list(fit.choice.parts_ohm),
                "joined": str(fit.choice.joined),
                "ohm": fit.choice.ohm,
                "level_v": fit.level_v,
                "off_v": fit.off_v,
                "worst_case_v": [fit.low_v, fit.high_v],
            }
            for fit in choice.fits
        ],
    }
