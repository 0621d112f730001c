"""``rungbench lot list``, ``next``, ``show`` and ``trend``."""

from typing import Any

import click

from rungbench.cli.lot_archive import archive_options, json_option, lot_archive
from rungbench.cli.printing import print_json
from rungbench.lots.document import lot_document, lots_document, next_document
from rungbench.lots.failures import failures_in
from rungbench.lots.quantity_document import quantity_document, trend_document
from rungbench.lots.store import Lots
from rungbench.lots.variables import summaries_in, trend_in, variables_in

_quantity_help = "A quantity in detail: CHECK:QUANTITY, or a check, or a quantity."


@click.command("list")
@click.option("--supplier", metavar="NAME", help="Only lots of this supplier.")
@archive_options
@json_option
def list_lots(*, supplier: str | None, archive: str | None, demo: bool, as_json: bool) -> None:
    """List lots, the oldest first."""
    with lot_archive(archive, demo=demo) as opened:
        states = Lots(opened).states(supplier)
    if as_json:
        print_json(lots_document(states))
        return
    from rungbench.cli.lot_page import print_list

    print_list(states)


@click.command("next")
@click.argument("name", metavar="LOT")
@archive_options
@json_option
def next_unit(*, name: str, archive: str | None, demo: bool, as_json: bool) -> None:
    """Show which unit to test next, or that the lot is decided."""
    with lot_archive(archive, demo=demo) as opened:
        state = Lots(opened).state(name)
    if as_json:
        print_json(next_document(state))
        return
    from rungbench.cli.lot_page import print_standing

    print_standing(state)


@click.command("show")
@click.argument("name", metavar="LOT")
@click.option("--quantity", metavar="NAME", help=_quantity_help)
@archive_options
@json_option
def show_lot(
    *, name: str, quantity: str | None, archive: str | None, demo: bool, as_json: bool
) -> None:
    """Show a lot: plan, decision, units and runs, figures of every judged quantity."""
    with lot_archive(archive, demo=demo) as opened:
        state = Lots(opened).state(name)
        if quantity is not None:
            found = variables_in(opened, [state], quantity)
            if as_json:
                print_json(quantity_document(name, found, simulated=opened.simulated))
                return
            from rungbench.cli.lot_charts import print_quantity

            print_quantity(f"Lot {state.lot.name}", found, simulated=opened.simulated)
            return
        failures, summaries = failures_in(opened, state), summaries_in(opened, [state])
    if as_json:
        print_json(lot_document(state, failures, summaries))
        return
    from rungbench.cli.lot_page import print_lot

    print_lot(state, failures, summaries)


@click.command("trend")
@click.argument("supplier")
@click.option("--quantity", metavar="NAME", required=True, help=_quantity_help)
@click.option("--model", metavar="NAME", help="Only lots of this model.")
@archive_options
@json_option
def show_trend(**given: Any) -> None:
    """Show one quantity over the lots of a supplier, in the order of testing."""
    model = given["model"]
    with lot_archive(given["archive"], demo=given["demo"]) as opened:
        states = [
            state
            for state in Lots(opened).states(given["supplier"])
            if model is None or (state.lot.sheet.model or "").casefold() == model.casefold()
        ]
        found = trend_in(opened, states, given["quantity"])
        if given["as_json"]:
            print_json(trend_document(found, simulated=opened.simulated))
            return
        from rungbench.cli.lot_charts import print_trend

        print_trend(found, simulated=opened.simulated)
