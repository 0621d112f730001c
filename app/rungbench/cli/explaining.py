"""Findings on the terminal: what may be wrong with the charger, and what to measure next."""

from collections.abc import Iterable

from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from rungbench.archive.record import Record, RunVerdict
from rungbench.cli.terminal import safe
from rungbench.qualify.findings import NO_EXPLANATION, Explanation, explain


def print_explanations(record: Record, console: Console) -> None:
    """The ranked explanations of a record; that there is none is said of a run that failed."""
    found = explain(record)
    if not found and record.verdict is RunVerdict.PASS:
        return
    console.print(Text("\nWhat may be behind it", style="bold"))
    if not found:
        console.print(safe(NO_EXPLANATION))
    for number, one in enumerate(found, start=1):
        console.print(safe(f"{number}. {one.cause}", "bold"), safe(f"({one.weight.name.lower()})"))
        _below(f"where: {one.where}", console)
        _evidence(one, console)
        _below(f"next: {one.next}", console)


def _evidence(one: Explanation, console: Console) -> None:
    _each((f"because: {text}" for text in one.evidence), console)


def _each(texts: Iterable[str], console: Console) -> None:
    for text in texts:
        _below(text, console)


def _below(text: str, console: Console) -> None:
    console.print(Padding(safe(text), (0, 0, 0, 3)))
