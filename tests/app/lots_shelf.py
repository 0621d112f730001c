"""A shelf of invented lots for tests and pictures: drifting, rejected, undecided, hostile names."""

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from lot_examples import fill, order, write_run

from rungbench.archive.record import RunVerdict
from rungbench.archive.store import Archive
from rungbench.lots.lot import Lot
from rungbench.lots.store import Lots

HOSTILE_SUPPLIER = "<b>Bold</b> & Sons"
HOSTILE_LOT = "=1+1 <i>L</i>"
DRIFTING = "Drifting Trade"


def inspected(archive: Archive, name: str, verdicts: str) -> Lot:
    """A lot of 40 at AQL 4.0 (n 13, Ac 1) with one run a unit, as `lot_examples.fill` reads it."""
    lot = Lots(archive).make(order(name))
    fill(archive, lot, verdicts)
    return lot


def drifting(archive: Archive, count: int = 9) -> Sequence[Lot]:
    """Lots of one supplier whose frequency rises from lot to lot, all closed as accepted."""
    rng = np.random.default_rng(7)
    lots = Lots(archive)
    made = []
    for number in range(count):
        lot = lots.make(replace(order(f"D-{number + 1:02}"), supplier=DRIFTING))
        for unit in lots.state(lot.name).units:
            value = 1000.0 + 0.15 * number + float(rng.normal(0.0, 0.08))
            write_run(archive, unit.serial, value=value, lot=(lot, ""))
        lots.close(lot)
        made.append(lot)
    return made


def undecided(archive: Archive, name: str = "U-1") -> Lot:
    """All units tested, two of them undecided: passed they accept the lot, failed they reject."""
    return inspected(archive, name, "pppppuppppupp")


def retested(archive: Archive, name: str = "R-1") -> Lot:
    """One bench fault tested again with a reason, one pass tested again, the rest to come."""
    lot = inspected(archive, name, "pbpfi")
    units = Lots(archive).state(name).units
    write_run(archive, units[1].serial, lot=(lot, "the USB cable was pulled"))
    write_run(archive, units[0].serial, RunVerdict.FAIL, lot=(lot, "<script>doubt</script>"))
    return lot


def rejected(archive: Archive, name: str = "B-1") -> Lot:
    """A lot that was closed as rejected."""
    lot = inspected(archive, name, "ffpppp")
    Lots(archive).close(lot, "sent back", "R. Example")
    return lot


def hostile(archive: Archive) -> Lot:
    """Names and serial numbers that look like markup and like formulas."""
    one = order(HOSTILE_LOT, listed=False)
    sheet = replace(one.sheet, serial_pattern=None)
    lot = Lots(archive).make(replace(one, supplier=HOSTILE_SUPPLIER, sheet=sheet))
    for serial in ("<img src=x>", "=cmd|' /C'!A0", "&amp;"):
        write_run(archive, serial, lot=(lot, ""))
    return lot


def shelf(archive: Archive, drifts: int = 9) -> None:
    """All of them, with so many lots that drift."""
    drifting(archive, drifts)
    for make in (undecided, retested, rejected, hostile):
        make(archive)
