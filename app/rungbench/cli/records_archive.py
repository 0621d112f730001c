"""Which archive a command of ``rungbench records`` is about: one at a time."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, TypeVar

import click

from rungbench.settings import load_settings, place_of

if TYPE_CHECKING:
    from rungbench.archive.store import Archive
    from rungbench.paths import Place

F = TypeVar("F", bound=Callable[..., Any])


def one_archive(command: F) -> F:
    """The options that say which archive is meant."""
    for option in (
        click.option(
            "--archive", metavar="FILE|URL", help="This archive instead of that of the settings."
        ),
        click.option("--demo", is_flag=True, help="The demo archive of simulated runs."),
    ):
        command = option(command)
    return command


def place_meant(archive: str | None, *, demo: bool) -> "tuple[Place, bool | None]":
    """Where the archive lies, and of which kind it must be: one that is named may be of either."""
    if archive is not None:
        return place_of(archive), True if demo else None
    return load_settings().archive_for(demo), demo


@contextmanager
def archive_meant(archive: str | None, *, demo: bool) -> "Iterator[Archive]":
    """The archive that the options name, or that of the settings; it must exist."""
    from rungbench.archive.store import open_archive

    place, simulated = place_meant(archive, demo=demo)
    with open_archive(place, simulated, create=False) as opened:
        yield opened
