"""``rungbench records backup``, ``restore``, ``extract``, ``import``: archives as files."""

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rungbench.cli.records_archive import archive_meant, one_archive, place_meant
from rungbench.errors import ExitStatus, WrongUse

if TYPE_CHECKING:
    from rungbench.archive.handing_on import Handed
    from rungbench.archive.store import Archive

_file = click.argument("file", type=click.Path(path_type=Path))


@click.command("backup")
@_file
@one_archive
def backup_records(file: Path, archive: str | None, demo: bool) -> ExitStatus:
    """Copy the whole archive into a new FILE, while it may be in use, and verify the copy."""
    from rungbench.archive.backup import back_up
    from rungbench.cli.records_verify import print_verified

    with archive_meant(archive, demo=demo) as opened:
        found = back_up(opened, file)
    print_verified(found)
    click.echo(f"{file}: {sum(chain.records for chain in found.chains)} records")
    return ExitStatus.DONE if found.sound else ExitStatus.BENCH_FAULT


@click.command("restore")
@_file
@click.option("--replace", is_flag=True, help="Replace the archive; its content is kept beside it.")
@one_archive
def restore_records(file: Path, replace: bool, archive: str | None, demo: bool) -> None:
    """Make the archive what the copy in FILE is, once that was verified."""
    from rungbench.archive.backup import put_back

    place, simulated = place_meant(archive, demo=demo)
    if not isinstance(place, Path):
        raise WrongUse(
            "An archive on a server is put back by the server's own tools; a file is named here."
        )
    old = put_back(file, place, simulated, replace=replace)
    if old is not None:
        click.echo(f"what was there before: {old}")
    click.echo(f"restored: {place}")


@click.command("extract")
@_file
@click.argument("record_ids", metavar="[ID]...", nargs=-1)
@click.option("--since", metavar="DATE", help="Runs from this day or moment on, UTC.")
@click.option("--maker", help="Runs of this maker, upper or lower case.")
@click.option("--serial", help="Runs of serial numbers that begin so.")
@click.option("--lot", metavar="NAME", help="This lot, with all its runs.")
@one_archive
def extract_records(file: Path, record_ids: tuple[str, ...], **given: Any) -> None:
    """Hand records on: write some into a new FILE, with the hashes that vouch for them.

    The file is an archive of its own: `records verify --archive FILE` verifies it anywhere, and
    `records import FILE` takes it in.
    """
    from rungbench.archive.handing_on import hand_on

    with archive_meant(given["archive"], demo=given["demo"]) as opened:
        names = _chosen(opened, record_ids, given)
        if not names and not given["lot"]:
            raise WrongUse("No record fits; name records, or state other conditions.")
        handed = hand_on(opened, names, file, _lots(opened, given))
    _tell(handed, f"in {file}")


@click.command("import")
@_file
@one_archive
def import_records(file: Path, archive: str | None, demo: bool) -> None:
    """Take records in from a FILE that `extract` or `backup` made; each is there once."""
    from rungbench.archive.handing_on import take_in

    with archive_meant(archive, demo=demo) as opened:
        _tell(take_in(opened, file), f"taken into {opened.place}")


def _tell(handed: "Handed", where: str) -> None:
    lots = f" and {handed.lots} lot{'s' if handed.lots > 1 else ''}" if handed.lots else ""
    click.echo(f"{handed.copied} records{lots} {where}")
    if handed.known:
        click.echo(f"{handed.known} were there already")
    for name in handed.without_end:
        click.echo(f"left out: {name} has no end yet; its bench enters it when it goes on")


def _chosen(archive: "Archive", record_ids: tuple[str, ...], given: dict[str, Any]) -> list[str]:
    conditions = ("since", "maker", "serial", "lot")
    if given["lot"] and any(given[name] for name in conditions[:3]):
        raise WrongUse("A lot goes with all its runs; leave the other conditions out.")
    if record_ids and any(given[name] for name in conditions):
        raise WrongUse("Name records or state conditions, not both.")
    if record_ids:
        return [archive.load(one).run_id for one in record_ids]
    if given["lot"]:
        return []
    return list(_found(archive, given))


def _lots(archive: "Archive", given: dict[str, Any]) -> tuple[str, ...]:
    """The lot's name as it is written; its runs go along by themselves."""
    if not given["lot"]:
        return ()
    from rungbench.lots.store import Lots

    return (Lots(archive).find(given["lot"]).name,)


def _found(archive: "Archive", given: dict[str, Any]) -> list[str]:
    from dataclasses import replace

    from rungbench.archive.search import Search
    from rungbench.cli.records import moment_of

    since = None if given["since"] is None else moment_of(given["since"])
    search = Search(maker=given["maker"], serial=given["serial"], since=since, limit=1000)
    names: list[str] = []
    while page := archive.find(search):
        names += [one.run_id for one in page]
        search = replace(search, before=page[-1].number)
    return names
