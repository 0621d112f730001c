"""``rungbench lot close``: the end of a lot's inspection."""

from typing import Any, Final

import click

from rungbench.cli.lot_archive import archive_options, json_option, lot_archive
from rungbench.cli.printing import print_json
from rungbench.errors import ExitStatus
from rungbench.lots.decision import LotDecision
from rungbench.lots.document import lot_document
from rungbench.lots.store import Lots
from rungbench.settings import load_settings

STATUS: Final = {
    LotDecision.ACCEPT: ExitStatus.DONE,
    LotDecision.REJECT: ExitStatus.FAILED,
    LotDecision.OPEN: ExitStatus.UNDECIDED,
}


@click.command("close")
@click.argument("name", metavar="LOT")
@click.option(
    "--reason", default="", help="Why it is closed; needed to close an open lot undecided."
)
@click.option("--operator", metavar="NAME", help="Who closes it, for the record.")
@archive_options
@json_option
def close_lot(**given: Any) -> ExitStatus:
    """End the inspection with the decision that is certain; no run joins after that.

    Exit status: 0 accepted, 1 rejected, 3 closed without a decision.
    """
    settings = load_settings({"operator": given["operator"]}).settings
    with lot_archive(given["archive"], demo=given["demo"]) as opened:
        lots = Lots(opened)
        end = lots.close(lots.find(given["name"]), given["reason"], settings.operator)
        state = lots.state(given["name"])
    if given["as_json"]:
        print_json(lot_document(state))
    else:
        from rungbench.cli.lot_page import print_standing

        print_standing(state)
    return STATUS[end.decision]
