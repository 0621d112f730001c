"""How long the Lots view waits for an archive: list, lot, quantity, supplier, report.

``python tests/benchmarks/lots_speed.py LOT`` (with the sources on the path, ``XDG_DATA_HOME``
naming the folder of a demo archive) prints the first and the best of 7 times by the clock.
"""

import sys
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from tempfile import TemporaryDirectory

from rungbench.archive.store import open_archive
from rungbench.desktop.errands import Cancel
from rungbench.desktop.lots_export import export_lot
from rungbench.desktop.lots_opened import open_lot, plan_views, quantity_of, supplier_views
from rungbench.desktop.lots_pages import Wanted, page
from rungbench.desktop.paging import Page, Turn
from rungbench.paths import paths

ROUNDS = 7


def took(name: str, what: Callable[[], object], rounds: int = ROUNDS) -> None:
    times = []
    for _ in range(rounds):
        began = time.perf_counter()
        what()
        times.append(1e3 * (time.perf_counter() - began))
    print(f"{name}: first {times[0]:.0f} ms, best {min(times):.0f} ms")


def main(name: str) -> None:
    with open_archive(paths().demo_archive, simulated=True, create=False) as archive:
        took("page of the list", lambda: page(archive, Wanted(), Turn.FIRST, Page()))
        took("lot with its statistics", lambda: open_lot(archive, name, Cancel()))
        opened = open_lot(archive, name, Cancel())
        state, quantity = opened.state, opened.summaries[0].series.name.text
        units, names = len(state.units), len(opened.summaries)
        print(f"  ({units} units, {names} judged quantities)")
        took("risks and characteristic", lambda: plan_views(state.lot.plan))
        took("one quantity", lambda: quantity_of(archive, state, quantity))
        took("supplier", lambda: supplier_views(archive, state.lot, quantity, Cancel()))
        with TemporaryDirectory() as folder:
            for kind in ("csv", "json", "pdf"):
                file = Path(folder) / f"lot.{kind}"
                took(f"export {kind}", partial(export_lot, archive, name, file, Cancel()), 2)


if __name__ == "__main__":
    if len(sys.argv) != 2:
        sys.exit("Name a lot.")
    main(sys.argv[1])
