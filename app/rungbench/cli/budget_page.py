"""The budget of a quantity as a table for people."""

from typing import Final

from rich.console import Console, Group, RenderableType
from rich.table import Table
from rich.text import Text

from pilotsignal.figures import figure
from pilotsignal.quantity import BudgetRow, Quantity
from rungbench.cli.terminal import printable, safe

_INFINITE: Final = "inf"
_AS_GOOD_AS_INFINITE: Final = 1e5  # where GTC takes the normal distribution


def budget_page(quantity: Quantity) -> RenderableType:
    """Table of the inputs, largest contribution first, and what they come to.

    Standard uncertainties and sensitivities carry three digits; a sensitivity is in the quantity's
    unit per unit of the input.
    """
    table = Table(
        box=None, pad_edge=False, show_edge=False, header_style="bold", padding=(0, 1, 0, 0)
    )
    table.add_column("component", overflow="fold", ratio=1, min_width=14)
    table.add_column("type", no_wrap=True)
    table.add_column("distribution", no_wrap=True)
    table.add_column("u", justify="right", no_wrap=True)
    table.add_column("unit", no_wrap=True)
    for heading in ("sensitivity", "dof"):
        table.add_column(heading, justify="right", no_wrap=True)
    table.add_column(f"adds ({quantity.unit})", justify="right", no_wrap=True)
    for row in quantity.budget():
        table.add_row(*_cells(row))
    return Group(safe(quantity.method, "dim"), table, _sum(quantity))


def print_budget(title: str, quantity: Quantity, console: Console) -> None:
    """Print a heading with the value, and its budget."""
    console.print()
    heading = Text(printable(title), style="bold")
    value = figure(quantity.value, quantity.expanded(), quantity.unit)
    console.print(heading.append(f"  {value} (95 %)", style="not bold"))
    console.print(budget_page(quantity))


def _cells(row: BudgetRow) -> tuple[RenderableType, ...]:
    return (
        safe(row.component),
        row.kind,
        row.distribution,
        f"{row.u:.3g}" if row.stated else "?",
        safe("" if row.unit == "1" else row.unit),
        f"{row.sensitivity:.3g}",
        _degrees(row.dof),
        f"{row.contribution:.2g}" if row.stated else "?",
    )


def _sum(quantity: Quantity) -> Text:
    expanded = quantity.expanded()
    return safe(
        f"u = {quantity.u:.3g} {quantity.unit}; effective degrees of freedom "
        f"{_degrees(quantity.dof)}; k = {quantity.coverage_factor():.3g}; "
        f"U = {expanded:.2g} {quantity.unit}"
    )


def _degrees(dof: float) -> str:
    return _INFINITE if dof > _AS_GOOD_AS_INFINITE else f"{dof:.3g}"
