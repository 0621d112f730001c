"""Where the lots of a command lie: the archive of real runs, or the demo archive."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any, TypeVar

import click

from rungbench.archive.store import Archive, open_archive
from rungbench.lots.errors import LotRefused, NoSuchLot
from rungbench.lots.lot import Lot
from rungbench.lots.store import Lots
from rungbench.paths import Place
from rungbench.settings import Chosen, load_settings

F = TypeVar("F", bound=Callable[..., Any])


def archive_options(command: F) -> F:
    """The options that say which archive is meant."""
    for option in (
        click.option("--archive", metavar="FILE", help="Archive that holds the lot."),
        click.option("--demo", is_flag=True, help="The demo archive of simulated runs."),
    ):
        command = option(command)
    return command


json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON.")


@contextmanager
def lot_archive(archive: str | None, *, demo: bool, create: bool = False) -> Iterator[Archive]:
    """The archive that the options name, or that of the settings.

    Raises
    ------
    ArchiveError : it is missing and may not be made, or cannot be used.
    """
    chosen = load_settings({"archive": archive})
    if chosen.sources["archive"] == "option" and not create and not demo:
        # A file that somebody names says itself what it holds.
        with open_archive(chosen.settings.archive) as named:
            yield named
        return
    with open_archive(chosen.archive_for(demo), demo, create=create) as opened:
        yield opened


def find_for_run(chosen: Chosen, name: str, *, simulated: bool) -> Lot:
    """The lot that a real or a simulated run is to join.

    Raises
    ------
    NoSuchLot : there is none.
    LotRefused : there is one of the other kind only.
    """
    here, other = chosen.archive_for(simulated), chosen.archive_for(not simulated)
    found = _look_up(here, name, simulated=simulated)
    if found is not None:
        return found
    if other != here and _look_up(other, name, simulated=not simulated) is not None:
        if simulated:
            raise LotRefused(
                f"Lot {name!r} is one of real chargers; a simulated run cannot join it. Make one "
                "with `rungbench lot new --demo`."
            )
        raise LotRefused(
            f"Lot {name!r} is one of simulated runs; a real charger needs a lot of its own."
        )
    raise NoSuchLot(f"There is no lot {name!r}; `rungbench lot list` shows the names.")


def _look_up(place: Place, name: str, *, simulated: bool) -> Lot | None:
    if isinstance(place, Path) and not place.is_file():
        return None
    with open_archive(place, simulated, create=False) as archive:
        try:
            return Lots(archive).find(name)
        except NoSuchLot:
            return None
