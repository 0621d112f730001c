"""What stands at the head of an opened record, in pairs of name and text; no Qt."""

import re
from collections.abc import Iterator
from typing import Final

from pilotsignal.quantity import Quantity
from rungbench.archive.record import CheckResult, Record
from rungbench.desktop.figures import localised, short, unit_text
from rungbench.desktop.run_progress import Line
from rungbench.qualify.findings import NO_EXPLANATION, Explanation
from rungbench.report.provenance import bench_pairs, calibration_pairs, charger_pairs, run_pairs

_ENDLESS: Final = 1e6
_AMOUNT: Final = re.compile(r"[-−±.\d ]+[A-Za-zµΩ°%]+$")
_UNITS: Final = ("v", "us", "ms", "s", "hz", "percent", "a", "ohm", "pf", "ppm")

_PARTS: Final = {
    "permanent": "permanent resistor",
    "switched_c": "switched resistor of C",
    "switched_d": "switched resistor of D",
    "short": "resistor of rung short",
    "input_ohm": "load of the measuring path",
    "diode_drop": "drop of the diode",
    "diode_drop_b": "drop of the diode in B",
    "diode_drop_c": "drop of the diode in C",
    "diode_drop_d": "drop of the diode in D",
}


def facts(record: Record) -> tuple[tuple[str, str], ...]:
    """Charger, run, bench, calibration, and what was left out."""
    header = record.header
    left_out = tuple(("Left out", f"{check}: {why}") for check, why in header.left_out)
    pairs = (
        *charger_pairs(header),
        *run_pairs(record),
        *bench_pairs(header),
        *calibration_pairs(header),
        *left_out,
    )
    return tuple((name, _fact(text)) for name, text in pairs if text)


def _fact(text: str) -> str:
    """An amount by the locale; versions, addresses and days stay what they are."""
    return localised(text) if _AMOUNT.match(text) else text


def name_words(name: str) -> str:
    """The name of a quantity for people, without the unit at its end."""
    words = name.split("_")
    if len(words) > 1 and words[-1] in _UNITS:
        words = words[:-1]
    return " ".join(words)


def component_words(component: str) -> str:
    """A component of a budget for people: parts of the stand-in go by their names in words."""
    what, _, key = component.partition(", ")
    for ladder_set in ("low", "high"):
        bare = key.removesuffix(f"_{ladder_set}")
        if bare != key and bare in _PARTS:
            return f"{_PARTS[bare]}, {ladder_set} set"
    return _PARTS.get(key) or component.replace("_", " ")


def lines_of(record: Record) -> tuple[Line, ...]:
    """Every result of the record, each attempt a line of its own."""
    return tuple(
        Line(f"{one.check}/{one.attempt}", one.title, one.role, one) for one in record.checks
    )


def findings_lines(explanations: tuple[Explanation, ...], verdict: str) -> Iterator[str]:
    """The explanations in sentences."""
    if not explanations and verdict != "pass":
        yield NO_EXPLANATION
    for number, one in enumerate(explanations, start=1):
        yield f"{number}. {localised(one.cause)} ({one.weight.name.lower()}). Where: {one.where}."
        yield from (f"    {localised(line)}" for line in one.evidence)
        yield f"    Next: {localised(one.next)}"


def quantities_of(result: CheckResult) -> tuple[Quantity, ...]:
    """All quantities of a result, those that were judged first, each once."""
    judged = [one.quantity for one in result.judgements if one.quantity is not None]
    return tuple({one.name: one for one in (*judged, *result.quantities)}.values())


def _three(value: float, unit: str) -> str:
    """Three digits are enough for a part of an uncertainty."""
    shown = "" if unit == "1" else unit_text(unit)
    return f"{short(float(f'{value:.3g}'))} {shown}".strip()


def _freedom(dof: float) -> str:
    return "∞" if dof > _ENDLESS else short(float(round(dof)))


def budget_cells(quantity: Quantity) -> tuple[tuple[str, str, str, str, str], ...]:
    """The budget, largest contribution first: component, u, contribution, share, kind with dof."""
    whole = sum(row.contribution**2 for row in quantity.rows) or 1.0
    return tuple(
        (
            f"{component_words(row.component)}, {row.distribution}",
            _three(row.u, row.unit) if row.stated else "not stated",
            _three(row.contribution, quantity.unit),
            f"{100 * row.contribution**2 / whole:.0f} %",
            f"{row.kind}, {_freedom(row.dof)}",
        )
        for row in quantity.budget()
    )
