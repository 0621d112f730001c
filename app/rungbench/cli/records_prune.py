"""``rungbench records prune``: captures that are no longer wanted."""

import click

from rungbench.cli.records_archive import archive_meant, one_archive


@click.command("prune")
@click.option("--before", required=True, metavar="DATE", help="Captures of runs begun before, UTC.")
@click.option("--rehearse", is_flag=True, help="Only tell what would go.")
@one_archive
def prune_records(before: str, rehearse: bool, archive: str | None, demo: bool) -> None:
    """Remove the content of old captures; records, values and hashes stay.

    A record then says which of its captures have expired and when.  It cannot be undone: make a
    copy first (`rungbench records backup`).
    """
    from rungbench.archive.expiry import expire
    from rungbench.cli.records import moment_of

    moment = moment_of(before, "--before")
    with archive_meant(archive, demo=demo) as opened:
        gone = expire(opened, moment, rehearse=rehearse)
        if gone.captures and not rehearse:
            opened.shrink()
    word = "would be removed" if rehearse else "removed"
    click.echo(f"content of {gone.captures} captures {word}, {gone.bytes:,} bytes")
