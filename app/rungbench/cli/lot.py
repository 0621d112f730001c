"""``rungbench lot``: sampling plans, lots, their decision, and what their values say."""

import click

from rungbench.cli.lot_add import add_run, scan_serial
from rungbench.cli.lot_close import close_lot
from rungbench.cli.lot_move import move_run
from rungbench.cli.lot_new import new_lot, show_plan
from rungbench.cli.lot_report import report_lot
from rungbench.cli.lot_show import list_lots, next_unit, show_lot, show_trend


@click.group(
    epilog="Exit status: 0 done, accepted; 1 rejected; 2 wrong use, or refused by the lot; "
    "3 closed without a decision; 4 missing or unreadable input, internal error."
)
def lot() -> None:
    """Judge a lot of chargers by a sample of it."""


for _command in (
    show_plan,
    new_lot,
    list_lots,
    next_unit,
    scan_serial,
    add_run,
    move_run,
    show_lot,
    show_trend,
    report_lot,
    close_lot,
):
    lot.add_command(_command)
