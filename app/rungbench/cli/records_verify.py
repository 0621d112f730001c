"""``rungbench records verify``: whether the archive holds what was recorded."""

from typing import TYPE_CHECKING, Any

import click

from rungbench.cli.printing import print_json
from rungbench.cli.records_archive import archive_meant, one_archive
from rungbench.errors import ExitStatus

if TYPE_CHECKING:
    from rungbench.archive.verify import Room, Verified, Walked

_SHOWN = 20


@click.command("verify")
@click.option("--head", default="", metavar="HASH", help="Noted earlier: it must be in a chain.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON.")
@one_archive
def verify_records(head: str, as_json: bool, archive: str | None, demo: bool) -> ExitStatus:
    """Walk the chains of hashes, records and captures, and name the first break."""
    from rungbench.archive.verify import verify

    with archive_meant(archive, demo=demo) as opened:
        found = verify(opened, head)
    if as_json:
        print_json(verified_document(found))
    else:
        print_verified(found)
    return ExitStatus.DONE if found.sound else ExitStatus.BENCH_FAULT


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
    more = [f"{chain.records} records as recorded"]
    more += [f"{chain.elsewhere} elsewhere"] if chain.elsewhere else []
    more += [f"{chain.open} without an end yet"] if chain.open else []
    kind = "" if chain.own else ", from another archive"
    return (
        f"bench {chain.bench}{kind}: entries {chain.first} to {chain.last}, "
        f"{', '.join(more)}, head {chain.head}"
    )
