"""``rungbench lot scan`` and ``rungbench lot add``: units and runs of a lot."""

from typing import Any

import click

from rungbench.cli.lot_archive import archive_options, json_option, lot_archive
from rungbench.cli.printing import print_json
from rungbench.lots.document import next_document
from rungbench.lots.lot import LotState
from rungbench.lots.store import Lots


@click.command("scan")
@click.argument("name", metavar="LOT")
@click.argument("unit", type=int)
@click.argument("serial")
@archive_options
@json_option
def scan_serial(**given: Any) -> None:
    """State the serial number of a unit that was drawn by its place in the lot."""
    with lot_archive(given["archive"], demo=given["demo"]) as opened:
        lots = Lots(opened)
        lots.scan(lots.find(given["name"]), given["unit"], given["serial"])
        state = lots.state(given["name"])
    _tell(state, as_json=given["as_json"])


@click.command("add")
@click.argument("name", metavar="LOT")
@click.argument("record", metavar="RECORD")
@click.option("--retest", default="", metavar="REASON", help="Why the unit was tested again.")
@archive_options
@json_option
def add_run(**given: Any) -> None:
    """Let a run join that was recorded without `qualify --lot`."""
    with lot_archive(given["archive"], demo=given["demo"]) as opened:
        lots = Lots(opened)
        lots.add(lots.find(given["name"]), given["record"], given["retest"])
        state = lots.state(given["name"])
    _tell(state, as_json=given["as_json"])


def _tell(state: LotState, *, as_json: bool) -> None:
    if as_json:
        print_json(next_document(state))
        return
    from rungbench.cli.lot_page import print_standing

    print_standing(state)
