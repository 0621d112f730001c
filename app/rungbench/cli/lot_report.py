"""``rungbench lot report``: a whole lot on paper."""

from typing import Any

import click

from rungbench.cli.lot_archive import archive_options, lot_archive
from rungbench.cli.records_report import deliver, file_name, file_option, replace_option

_UNITS = ("table", "page", "full")


@click.command("report")
@click.argument("name", metavar="LOT")
@click.option(
    "--units",
    type=click.Choice(_UNITS),
    default="page",
    show_default=True,
    help="What follows of each unit: nothing but its line in the table, a page, or everything.",
)
@file_option
@replace_option
@archive_options
def report_lot(**given: Any) -> None:
    """Write a lot as one PDF: decision, plan, sample, values, units and hashes.

    The same lot with the same records gives the same bytes.
    """
    from rungbench.lots.store import Lots
    from rungbench.report.lot_pdf import UnitPages, lot_report

    with lot_archive(given["archive"], demo=given["demo"]) as opened:
        lot = Lots(opened).find(given["name"])
        content = lot_report(opened, lot.name, UnitPages(given["units"]))
    file = given["file"] or f"rungbench-lot-{file_name(lot.name)}.pdf"
    deliver(file, [content], replace_it=given["replace"])
    if file != "-":
        click.echo(f"{'SIMULATED: ' if lot.simulated else ''}{file}")
