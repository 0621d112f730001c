"""``rungbench records export``: records for spreadsheets and other systems."""

from collections.abc import Iterable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import click

from rungbench.cli.records_report import archive_option, deliver, opened, replace_option
from rungbench.errors import WrongUse

if TYPE_CHECKING:
    from rungbench.archive.search import Search
    from rungbench.archive.store import Archive, Entered


@dataclass(frozen=True, slots=True)
class _Export:
    """The options of `records export`."""

    csv: str | None
    json: str | None
    schema: bool
    columns: bool
    since: str | None
    maker: str | None
    serial: str | None
    verdict: str | None
    which: str
    replace: bool
    archive: str | None

    @property
    def file(self) -> str:
        return self.csv or self.json or ""

    def search(self) -> "Search":
        from rungbench.archive.record import RunVerdict
        from rungbench.archive.search import Search
        from rungbench.cli.records import moment_of

        return Search(
            maker=self.maker,
            serial=self.serial,
            verdict=None if self.verdict is None else RunVerdict(self.verdict),
            since=None if self.since is None else moment_of(self.since),
        )


@click.command("export")
@click.option("--csv", metavar="FILE", help="One row a run, for spreadsheets; - for output.")
@click.option("--json", metavar="FILE", help="Everything, for other systems; - for output.")
@click.option("--schema", is_flag=True, help="Print the JSON Schema of --json and stop.")
@click.option("--columns", is_flag=True, help="Print the columns of --csv and stop.")
@click.option("--since", metavar="DATE", help="Only runs from this day or moment on, UTC.")
@click.option("--maker", help="Only this maker, upper or lower case.")
@click.option("--serial", help="Only serial numbers that begin so.")
@click.option("--verdict", help="Only runs with this verdict.")
@click.option("--real", "which", flag_value="real", default=True, help="Real runs (the default).")
@click.option("--demo", "which", flag_value="demo", help="Simulated runs; every row says so.")
@click.option("--both", "which", flag_value="both", help="Real runs, then simulated ones.")
@replace_option
@archive_option
def export_records(**given: Any) -> None:
    """Write runs to a file, the oldest first."""
    options = _Export(**given)
    if options.schema or options.columns:
        _describe(options)
        return
    if bool(options.csv) == bool(options.json):
        raise WrongUse("State one of --csv FILE and --json FILE.")
    _check_verdict(options.verdict)
    search = options.search()
    with ExitStack() as stack:
        archives = opened(options.archive, options.which, stack)
        records = _Counted(_every(archives, search))
        deliver(options.file, _chunks(options, records), replace_it=options.replace)
    if options.file != "-":
        click.echo(f"{records.number} runs in {options.file}")


def _check_verdict(verdict: str | None) -> None:
    from rungbench.cli.records import VERDICTS

    if verdict is not None and verdict not in VERDICTS:
        raise WrongUse(f"--verdict {verdict!r} is none; choose one of {', '.join(VERDICTS)}.")


def _describe(options: _Export) -> None:
    if options.schema:
        from rungbench.report.export_json import schema_text

        click.echo(schema_text(), nl=False)
        return
    from rungbench.report.export_csv import columns

    for column in columns():
        click.echo(f"{column.name:32}  {column.about}")


def _chunks(options: _Export, records: "Iterable[Entered]") -> Iterator[bytes]:
    if options.csv:
        from rungbench.report.export_csv import csv_chunks

        return csv_chunks(records)
    from rungbench.report.export_json import export_chunks

    return export_chunks(records)


class _Counted:
    """Records that are counted as they go by."""

    def __init__(self, records: "Iterable[Entered]") -> None:
        self._records = records
        self.number = 0

    def __iter__(self) -> "Iterator[Entered]":
        for record in self._records:
            self.number += 1
            yield record


def _every(archives: "Iterable[Archive]", search: "Search") -> "Iterator[Entered]":
    """All runs that fit, the oldest first, a batch of them in memory at a time."""
    for archive in archives:
        yield from archive.every(search)
