"""``rungbench records push``: runs that were kept elsewhere, delivered to their archive."""

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from rungbench.cli.records_archive import one_archive, place_meant
from rungbench.errors import WrongUse

if TYPE_CHECKING:
    from rungbench.archive.store import Archive


@click.command("push")
@click.argument("files", metavar="[FILE]...", nargs=-1, type=click.Path(path_type=Path))
@one_archive
def push_records(files: tuple[Path, ...], archive: str | None, demo: bool) -> None:
    """Deliver runs that were kept elsewhere because their archive failed.

    Without FILE all that were kept are delivered, in order.  What the archive has already is left
    alone, so that a delivery that broke off may be started again.
    """
    from rungbench.archive.kept import kept_files, kept_folders
    from rungbench.archive.store import open_archive

    place, simulated = place_meant(archive, demo=demo)
    waiting = list(files) or kept_files(kept_folders())
    if not waiting:
        click.echo("Nothing is waiting to be delivered.")
        return
    with open_archive(place, simulated, create=False) as target:
        delivered = _deliver_all(waiting, target, named=bool(files))
    click.echo(f"{delivered} runs delivered to {place}")


def _deliver_all(files: Iterable[Path], target: "Archive", *, named: bool) -> int:
    from rungbench.archive.store import open_archive

    delivered = 0
    for file in files:
        with open_archive(file, create=False) as source:
            if source.simulated is not target.simulated:
                if named:
                    raise WrongUse(_other_kind(file, simulated=source.simulated))
                click.echo(f"left: {_other_kind(file, simulated=source.simulated)}")
                continue
            whole = _deliver(source, target)
            delivered += whole[0]
        if whole[1]:
            _put_aside(file)
        else:
            click.echo(f"{file} stays: its run has no end yet; push again once it is over.")
    return delivered


def _deliver(source: "Archive", target: "Archive") -> tuple[int, bool]:
    from rungbench.archive.delivery import deliver

    runs, ended = 0, True
    for one in deliver(source, target):
        click.echo(f"{one.run_id}: {one.checks} checks new")
        runs += 1
        ended = ended and one.ended
    return runs, ended


def _put_aside(file: Path) -> None:
    from rungbench.archive.kept import is_kept, mark_delivered

    # A file of the user's own keeps its name.
    if is_kept(file):
        mark_delivered(file)


def _other_kind(file: Path, *, simulated: bool) -> str:
    kind = "simulated" if simulated else "real"
    switch = "state --demo" if simulated else "leave --demo out"
    return f"{file} holds {kind} runs; {switch}, or name an archive of that kind."
