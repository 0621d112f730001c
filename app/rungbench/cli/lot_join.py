"""What ``rungbench qualify --lot`` needs: the lot, its model sheet, and the way in for the run."""

from dataclasses import dataclass
from typing import Any

import click

from rungbench.archive.store import Archive, Beside, open_archive
from rungbench.cli.lot_archive import find_for_run
from rungbench.errors import WrongUse
from rungbench.lots.basis import basis_of, require_same
from rungbench.lots.document import next_document
from rungbench.lots.errors import LotRefused
from rungbench.lots.lot import Lot
from rungbench.lots.store import Lots
from rungbench.qualify.bench import is_simulated
from rungbench.qualify.order import Order
from rungbench.qualify.sheet import Sheet
from rungbench.settings import Chosen


@dataclass(frozen=True, slots=True)
class Entry:
    """The lot that a run is to join, found before any port is opened."""

    lot: Lot
    reason: str

    @property
    def sheet(self) -> Sheet:
        """The model sheet of the lot."""
        return self.lot.sheet

    @property
    def plan(self) -> str:
        """The plan of the lot."""
        return self.lot.basis.plan

    def require(self, order: Order, chosen: Chosen) -> None:
        """Refuse a run that may not join, before anything is energised.

        Raises
        ------
        LotRefused : it is of another model or judged otherwise, or its unit may not be tested.
        """
        require_same(self.lot, order.charger, basis_of(order))
        with open_archive(chosen.archive_for(self.lot.simulated), self.lot.simulated) as archive:
            Lots(archive).admit(self.lot, order.charger.serial, self.reason)

    def joining(self, archive: Archive, order: Order) -> Beside:
        """What enters the run into the lot in the same transaction in which it begins.

        Raises
        ------
        LotRefused : the board turned out to be simulated and the lot is real, or the other way
            round.
        """
        if archive.simulated is not self.lot.simulated:
            found, wanted = _kind(archive.simulated), _kind(self.lot.simulated)
            raise LotRefused(
                f"Lot {self.lot.name!r} is one of {wanted} chargers and this board is {found}; "
                "take the bench or the lot that fits."
            )
        return Lots(archive).joining(self.lot, order.charger.serial, self.reason)

    def told(self, chosen: Chosen) -> dict[str, Any]:
        """The lot after the run, for the run's JSON."""
        with open_archive(chosen.archive_for(self.lot.simulated)) as archive:
            return next_document(Lots(archive).state(self.lot.name))

    def tell(self, chosen: Chosen) -> None:
        """Print where the lot stands after the run."""
        from rungbench.cli.lot_page import print_standing

        with open_archive(chosen.archive_for(self.lot.simulated)) as archive:
            state = Lots(archive).state(self.lot.name)
        print_standing(state)


def _kind(simulated: bool) -> str:
    return "simulated" if simulated else "real"


def entry_of(given: dict[str, Any], chosen: Chosen) -> Entry | None:
    """The lot that the options name, if any.

    Raises
    ------
    WrongUse : options that do not go with a lot.
    NoSuchLot, LotRefused : as `find_for_run`.
    """
    if given["lot"] is None:
        if given["retest"]:
            raise WrongUse("A retest is one of a lot; give --lot too.")
        return None
    if given["sheet"] is not None:
        raise WrongUse("A lot has its model sheet; leave --sheet out.")
    if not given["serial"]:
        raise WrongUse("A unit of a lot needs its serial number; scan it, or give --serial.")
    simulated = is_simulated(chosen.settings.bench)
    lot = find_for_run(chosen, given["lot"], simulated=simulated)
    return Entry(lot, given["retest"])


def lot_options(command: Any) -> Any:
    """The options with which a run joins a lot."""
    for option in (
        click.option(
            "--retest", default="", metavar="REASON", help="Why a unit of the lot is tested again."
        ),
        click.option("--lot", metavar="NAME", help="Lot that the run joins, with its sheet."),
    ):
        command = option(command)
    return command
