"""``rungbench decode``: what a duty, a voltage or a cable's resistor means, by the tables."""

from collections.abc import Callable
from typing import Any, Final

import click

from pilotsignal.csv_units import parse_amount
from pilotsignal.figures import bounds
from pilotsignal.limit import Limit
from pilotsignal.standard import (
    Profile,
    cable_of_resistance,
    current_of_duty,
    diode_present,
    duty_of_current,
    load_profile,
    state_of,
)
from rungbench.cli.amounts import amperes, volts
from rungbench.cli.printing import print_json, state_words
from rungbench.settings import load_settings

SCHEMA: Final = "rungbench.decoding/1"

# Numbers below zero are values here, not options.
_NUMBERS: Final = {"ignore_unknown_options": True}


@click.group()
def decode() -> None:
    """Tell what a duty, a current, a voltage or a cable's resistor means."""


def _shared(command: Callable[..., None]) -> Callable[..., None]:
    command = click.option("--json", "as_json", is_flag=True, help="Print JSON.")(command)
    return click.option("--profile", metavar="NAME|FILE", help="Tables to read.")(command)


def _percent(text: str) -> float:
    amount = parse_amount(text.strip().removesuffix("%"))
    if amount is None or amount[1] is not None:
        raise click.BadParameter(f"{text!r} is not a duty in percent such as 26.7")
    return amount[0]


def _ohms(text: str) -> float:
    bare = text.strip().lower()
    if bare == "open":
        return float("inf")
    amount = parse_amount(bare.removesuffix("ohm"))
    if amount is None or amount[1] is not None:
        raise click.BadParameter(f"{text!r} is not a resistance in ohm such as 220, nor 'open'")
    return amount[0]


@decode.command(context_settings=_NUMBERS)
@click.argument("percent", type=_percent)
@_shared
def duty(percent: float, profile: str | None, as_json: bool) -> None:
    """The current that a duty (in PERCENT) advertises to a vehicle."""
    tables = _tables(profile)
    read = current_of_duty(percent, tables)
    meaning = {
        "kind": str(read.kind),
        "current_a": read.current_a,
        "text": read.text,
        "clause": read.clause,
        "warning": read.warning,
        "confidence": read.confidence,
    }
    _show(tables, {"duty_percent": percent}, meaning, as_json)


@decode.command(context_settings=_NUMBERS)
@click.argument("current", type=amperes, metavar="AMPERES")
@_shared
def current(current: float, profile: str | None, as_json: bool) -> None:
    """The duty that a charger set to a current shows."""
    tables = _tables(profile)
    nominal = duty_of_current(current, tables)
    meaning = {
        "kind": str(nominal.kind),
        "duty_percent": nominal.duty_percent,
        "text": nominal.text,
        "clause": nominal.clause,
        "warning": nominal.warning,
        "confidence": nominal.confidence,
    }
    _show(tables, {"current_a": current}, meaning, as_json)


@decode.command("volts", context_settings=_NUMBERS)
@click.argument("high", type=volts, metavar="VOLTS")
@click.option("--low", type=volts, metavar="VOLTS", help="Low plateau, if the PWM is on.")
@_shared
def levels(high: float, low: float | None, profile: str | None, as_json: bool) -> None:
    """The state that a pilot level says; with --low the plateaus of a PWM."""
    tables = _tables(profile)
    if low is not None and low > high:
        raise click.UsageError(f"The low plateau of {low:g} V lies above the level of {high:g} V")
    state = state_of(high, low, low is not None, tables)
    meaning = {
        "state": list(state),
        "text": state_words(state, low is not None),
        "clause": " and ".join(dict.fromkeys(_window_clauses(state, tables))),
        "diode": None if low is None else diode_present(low, tables),
        "conforming": _conforming(state, low is not None, tables),
    }
    _show(tables, {"high_v": high, "low_v": low}, meaning, as_json)


@decode.command(context_settings=_NUMBERS)
@click.argument("ohm", type=_ohms)
@_shared
def cable(ohm: float, profile: str | None, as_json: bool) -> None:
    """The current that a Type 2 cable's coding resistor (in OHM, or open) allows."""
    tables = _tables(profile)
    read = cable_of_resistance(ohm, tables)
    meaning = {
        "kind": str(read.kind),
        "current_a": read.current_a,
        "one_phase_a": read.one_phase_a,
        "nominal_ohm": read.nominal,
        "text": read.text,
        "clause": read.clause,
        "confidence": read.confidence,
    }
    _show(tables, {"resistance_ohm": None if ohm == float("inf") else ohm}, meaning, as_json)


def _tables(profile: str | None) -> Profile:
    return load_profile(load_settings({"profile": profile}).settings.profile)


def _window_clauses(state: tuple[str, ...], tables: Profile) -> list[str]:
    names = [name if name == "invalid" else name[:1] for name in state]
    return [tables.windows[name].source.clause for name in names]


def _conforming(state: tuple[str, ...], pwm_on: bool, tables: Profile) -> list[str]:
    """What a conforming charger shows in the states named, a sentence for each level."""
    found = []
    for name in state:
        if tables.has("high_level", name):
            limit = tables.limit("high_level", name)
            found.append(f"In {name} a conforming charger shows {_span(limit)} ({limit.clause}).")
        if pwm_on and tables.has("low_level", name):
            limit = tables.limit("low_level", name)
            found.append(f"In {name} its low level is {_span(limit)} ({limit.clause}).")
    return found


def _span(limit: Limit) -> str:
    return bounds(limit.low, limit.high, limit.unit)


def _show(
    tables: Profile, asked: dict[str, float | None], meaning: dict[str, Any], as_json: bool
) -> None:
    if as_json:
        print_json({"schema": SCHEMA, "profile": tables.label, "asked": asked, **meaning})
        return
    text = meaning["text"]
    click.echo(f"{text[:1].upper()}{text[1:]}")
    if meaning.get("warning"):
        click.echo(meaning["warning"])
    if "diode" in meaning and meaning["diode"] is not None:
        click.echo(f"The low level {'shows a' if meaning['diode'] else 'shows no'} diode.")
    for sentence in meaning.get("conforming", ()):
        click.echo(sentence)
    if meaning["clause"]:
        click.echo(f"Source: {meaning['clause']}.")
        click.echo(tables.confirm)
