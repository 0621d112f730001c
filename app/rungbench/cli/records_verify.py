"""``rungbench records verify``: whether the archive holds what was recorded."""

from typing import TYPE_CHECKING, Any

import click

from rungbench.cli.printing import print_json
from rungbench.cli.records_archive import archive_meant, one_archive
from rungbench.errors import ExitStatus

if TYPE_CHECKING:
    from rungbench.archive.store import Archive
    from rungbench.archive.verified import Room, Verified, Walked

_SHOWN = 20


@click.command("verify")
@click.option(
    "--head",
    default="",
    metavar="HASH",
    help="Of an entry or a record, noted earlier: it must be in a chain.",
)
@click.option(
    "--renew", is_flag=True, help="Take what is here as it is, though this computer wrote more."
)
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@one_archive
def verify_records(
    head: str, renew: bool, as_json: bool, archive: str | None, demo: bool
) -> ExitStatus:
    """Walk the chains of hashes, records, lots and captures, and name the first break.

    What this computer wrote last is noted apart from the archive and must be there too.  After an
    older copy was put back on purpose, --renew notes what is there now.
    """
    with archive_meant(archive, demo=demo) as opened:
        found = verified_whole(opened, head)
        if renew:
            _renew(opened)
    if as_json:
        print_json(verified_document(found))
    else:
        print_verified(found)
    return ExitStatus.DONE if found.sound else ExitStatus.BENCH_FAULT


def verified_whole(archive: "Archive", head: str = "") -> "Verified":
    """All that can be verified: chains, captures, lots by their rules, what was noted here."""
    from dataclasses import replace

    from rungbench.archive.verify import verify
    from rungbench.archive.witness import witness_breaks
    from rungbench.lots.audit import audit

    found = verify(archive, head)
    with archive.reading() as connection:
        noted = tuple(witness_breaks(connection, archive.place))
    return replace(found, breaks=(*found.breaks, *audit(archive), *noted))


def _renew(archive: "Archive") -> None:
    from rungbench.archive.witness import renew
    from rungbench.cli.terminal import printable

    with archive.reading() as connection:
        for one in renew(connection, archive.place):
            told = f"no longer expected: bench {one.bench}, entry {one.position}, {one.hash}"
            click.echo(printable(told), err=True)


def verified_document(found: "Verified") -> dict[str, Any]:
    """What verifying came to, schema ``rungbench.verified/1``."""
    from dataclasses import asdict

    return {
        "schema": "rungbench.verified/1",
        "sound": found.sound,
        "chains": [asdict(chain) for chain in found.chains],
        "captures": found.captures,
        "captures_expired": found.expired,
        "values": found.room.values,
        "bytes": found.room.bytes,
        "breaks": [asdict(one) for one in found.breaks],
    }


def print_verified(found: "Verified") -> None:
    """Print the chains, then what is not as it was recorded, the first break first."""
    from rungbench.cli.terminal import printable

    for chain in found.chains:
        click.echo(printable(_line(chain)))
    gone = f", {found.expired} expired" if found.expired else ""
    click.echo(f"captures: {found.captures} as recorded{gone}{_told(found.room)}")
    for one in found.breaks[:_SHOWN]:
        click.echo(printable(f"BROKEN: {one.why}"))
    if len(found.breaks) > _SHOWN:
        click.echo(f"BROKEN: {len(found.breaks) - _SHOWN} more; --json lists all")
    if found.sound:
        click.echo("sound: all that is here is as it was recorded")


def _told(room: "Room") -> str:
    if not room.values:
        return ""
    each = room.bytes / room.values
    return f"; {room.values:,} samples and edges in {room.bytes:,} bytes, {each:.2f} bytes each"


def _line(chain: "Walked") -> str:
    if chain.lots:
        more = [f"{chain.lots} lot{'s' if chain.lots > 1 else ''}"]
        where = "lots"
    else:
        more, where = [f"{chain.records} records as recorded"], f"bench {chain.bench}"
    more += [f"{chain.elsewhere} elsewhere"] if chain.elsewhere else []
    more += [f"{chain.open} without an end yet"] if chain.open else []
    kind = "" if chain.own else ", from another archive"
    return (
        f"{where}{kind}: entries {chain.first} to {chain.last}, "
        f"{', '.join(more)}, head {chain.head}"
    )
