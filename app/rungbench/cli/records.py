"""``rungbench records``: list and show what the archive holds, and get raw captures out.

The archive and its database are imported only once a command needs them.
"""

import json
import sys
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

import click

from rungbench.cli.records_amend import correct_record, judge_record
from rungbench.cli.records_copy import (
    backup_records,
    extract_records,
    import_records,
    restore_records,
)
from rungbench.cli.records_prune import prune_records
from rungbench.cli.records_push import push_records
from rungbench.cli.records_report import label_records, report_records
from rungbench.cli.records_report_export import export_records
from rungbench.cli.records_verify import verify_records
from rungbench.errors import RungbenchError, WrongUse
from rungbench.settings import Chosen, load_settings

if TYPE_CHECKING:
    from rungbench.archive.search import Search
    from rungbench.archive.store import Archive

T = TypeVar("T")

# The values of `RunVerdict`, a test compares them: importing it would slow every `--help` down.
VERDICTS = ("fail", "bench fault", "incomplete", "undecided", "pass")

_archive_option = click.option(
    "--archive", metavar="FILE|URL", help="Read this archive instead of those of the settings."
)
_json_option = click.option("--json", "as_json", is_flag=True, help="Print JSON.")


@click.group()
def records() -> None:
    """List and show the records of past runs, and hand them on."""


records.add_command(report_records)
records.add_command(label_records)
records.add_command(export_records)
records.add_command(verify_records)
records.add_command(backup_records)
records.add_command(restore_records)
records.add_command(extract_records)
records.add_command(import_records)
records.add_command(push_records)
records.add_command(prune_records)
records.add_command(judge_record)
records.add_command(correct_record)


@dataclass(frozen=True, slots=True)
class ListOptions:
    """The options of `records list`."""

    which: str
    archive: str | None
    as_json: bool
    maker: str | None
    serial: str | None
    verdict: str | None
    since: str | None
    until: str | None
    oldest: bool
    limit: int

    def search(self) -> "Search":
        from rungbench.archive.record import RunVerdict
        from rungbench.archive.search import Search

        return Search(
            maker=self.maker,
            serial=self.serial,
            verdict=None if self.verdict is None else RunVerdict(self.verdict),
            since=None if self.since is None else moment_of(self.since),
            until=None if self.until is None else moment_of(self.until, "--until"),
            oldest=self.oldest,
            limit=self.limit,
        )


@records.command("list")
@click.option("--maker", help="Only this maker, upper or lower case.")
@click.option("--serial", help="Only serial numbers that begin so.")
@click.option("--verdict", type=click.Choice(VERDICTS), help="Only runs with this verdict.")
@click.option("--since", metavar="DATE", help="Only runs from this day or moment on, UTC.")
@click.option("--until", metavar="DATE", help="Only runs before this day or moment, UTC.")
@click.option("--oldest", is_flag=True, help="The oldest that fit instead of the newest.")
@click.option("--limit", type=click.IntRange(1, 10_000), default=50, show_default=True)
@click.option("--real", "which", flag_value="real", default=True, help="Real runs (the default).")
@click.option("--demo", "which", flag_value="demo", help="Simulated runs; every line says so.")
@click.option("--both", "which", flag_value="both", help="Real runs, then simulated ones.")
@_archive_option
@_json_option
def list_records(**given: Any) -> None:
    """List runs, the newest first."""
    options = ListOptions(**given)
    search = options.search()
    from rungbench.archive.document import list_document
    from rungbench.cli.records_list import Page, other_archive_hint, print_pages

    with ExitStack() as stack:
        archives = open_archives(load_settings({"archive": options.archive}), options.which, stack)
        pages = [Page.of(archive, search) for archive in archives]
        if options.as_json:
            click.echo(_dump(list_document(page.summaries for page in pages)))
            return
        print_pages(pages)
        if options.archive is None and not any(page.summaries for page in pages):
            click.echo(other_archive_hint(_counts(stack)), err=True)


@records.command("show")
@click.argument("record_id", metavar="ID")
@click.option("--budget", is_flag=True, help="Add the uncertainty budget of every value.")
@click.option("--hashed", is_flag=True, help="Print the bytes whose SHA-256 is the record's hash.")
@_archive_option
@_json_option
def show_record(
    record_id: str, budget: bool, hashed: bool, archive: str | None, as_json: bool
) -> None:
    """Show one run; the beginning of its ID is enough."""
    from rungbench.archive import chain
    from rungbench.archive.document import run_document
    from rungbench.qualify.findings import findings_document

    record = _look_up(archive, lambda one: one.load(record_id))
    if hashed:
        sys.stdout.buffer.write(chain.hashed(record))
        return
    if as_json:
        document = run_document(record, budget=budget)
        click.echo(_dump(document | {"findings": findings_document(record)}))
        return
    from rungbench.cli.records_show import print_record

    print_record(record, budget=budget)


@records.command("capture")
@click.argument("key", metavar="SHA")
@click.option("--csv", "file", required=True, metavar="FILE", help="File to make, - for output.")
@_archive_option
def write_capture(key: str, file: str, archive: str | None) -> None:
    """Write a raw capture as CSV: counts as the converter gave them, and volts."""
    from rungbench.cli.records_capture import write_csv

    recorded = _look_up(archive, lambda one: one.load_capture(key))
    if file == "-":
        write_csv(recorded, sys.stdout)
        return
    try:
        with Path(file).open("x", encoding="utf-8", newline="") as stream:
            write_csv(recorded, stream)
    except FileExistsError as problem:
        raise WrongUse(f"{file} exists already; name another file.") from problem
    except OSError as problem:
        raise RungbenchError(
            f"{file} cannot be written ({problem.strerror}); name another file."
        ) from problem


def _look_up(archive: str | None, find: Callable[["Archive"], T]) -> T:
    """Look in the real archive, then in the demo archive."""
    from rungbench.archive.errors import ArchiveError, NoSuchRecord

    missing: ArchiveError | None = None
    with ExitStack() as stack:
        for one in open_archives(load_settings({"archive": archive}), "both", stack):
            try:
                return find(one)
            except NoSuchRecord as problem:
                missing = problem
    raise missing or ArchiveError("There are no records yet; `rungbench qualify` makes the first.")


def open_archives(chosen: Chosen, which: str, stack: ExitStack) -> Iterator["Archive"]:
    """The archives asked for, as far as they exist; one named as an option must."""
    from rungbench.archive.store import open_archive

    if chosen.sources["archive"] == "option":
        yield stack.enter_context(open_archive(chosen.archive_for(simulated=False)))
        return
    for simulated in (False, True):
        file = chosen.archive_for(simulated)
        if which in ("both", "demo" if simulated else "real") and file.exists():
            yield stack.enter_context(open_archive(file, simulated, create=False))


def _counts(stack: ExitStack) -> dict[bool, int]:
    return {one.simulated: one.count() for one in open_archives(load_settings(), "both", stack)}


def moment_of(text: str, option: str = "--since") -> datetime:
    """A day or a moment as an option gives it, in UTC unless it says otherwise."""
    try:
        moment = datetime.fromisoformat(text)
    except ValueError as problem:
        raise WrongUse(f"{option} {text!r} is no date; write it as 2025-07-31.") from problem
    return moment.replace(tzinfo=UTC) if moment.tzinfo is None else moment


def _dump(document: dict[str, Any]) -> str:
    return json.dumps(document, ensure_ascii=False, allow_nan=False, indent=2)
