"""``rungbench lot move``: a run that had joined a lot as another unit."""

from typing import Any

import click

from rungbench.cli.lot_archive import archive_options, json_option, lot_archive
from rungbench.cli.printing import print_json
from rungbench.errors import WrongUse
from rungbench.lots.admission import Correction
from rungbench.lots.document import lot_document
from rungbench.lots.store import Lots
from rungbench.settings import load_settings


@click.command("move")
@click.argument("name", metavar="LOT")
@click.argument("record", metavar="RECORD")
@click.argument("unit", type=int, required=False)
@click.option("--out", is_flag=True, help="It is of no unit of the sample: it no longer counts.")
@click.option("--reason", default="", metavar="TEXT", help="Why; it stands in the lot.")
@click.option("--operator", metavar="NAME", help="Who says so, for the lot.")
@archive_options
@json_option
def move_run(**given: Any) -> None:
    """Correct the unit that a run of a lot is of.

    A new entry names the old one, which stays.  In a lot drawn by places the serial number goes
    along, and with it all runs of that unit.
    """
    if given["out"] == (given["unit"] is not None):
        raise WrongUse("State the UNIT that the run is of, or --out.")
    settings = load_settings({"operator": given["operator"]}).settings
    correction = Correction(given["unit"], given["reason"], settings.operator)
    with lot_archive(given["archive"], demo=given["demo"]) as opened:
        lots = Lots(opened)
        lots.move(lots.find(given["name"]), given["record"], correction)
        state = lots.state(given["name"])
    if given["as_json"]:
        print_json(lot_document(state))
        return
    from rungbench.cli.lot_page import print_standing

    print_standing(state)
