"""``rungbench records report`` and ``label``: records on paper."""

import sys
from collections.abc import Callable, Iterable
from contextlib import ExitStack
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from rungbench.settings import load_settings

if TYPE_CHECKING:
    from rungbench.archive.store import Archive
    from rungbench.report.evidence import Evidence

_ids = click.argument("record_ids", metavar="ID...", nargs=-1, required=True)
archive_option = click.option(
    "--archive", metavar="FILE", help="Read this archive instead of those of the settings."
)
file_option = click.option(
    "--file", metavar="FILE", help="File to make, - for output (default: a name by its content)."
)
replace_option = click.option("--replace", is_flag=True, help="Replace the file if it exists.")


@click.command("report")
@_ids
@file_option
@replace_option
@archive_option
def report_records(**given: Any) -> None:
    """Write the inspection report of one run, or of several, as one PDF.

    The beginning of each ID is enough.  The same records give the same bytes.
    """
    from rungbench.report.pdf import report_pdf

    _make_pdf(given, report_pdf, "rungbench-{}.pdf")


@click.command("label")
@_ids
@file_option
@replace_option
@archive_option
def label_records(**given: Any) -> None:
    """Write a label of 70 mm by 36 mm for each run: serial, verdict, ID, QR code."""
    from rungbench.report.label import label_pdf

    _make_pdf(given, label_pdf, "rungbench-{}-label.pdf")


def _make_pdf(given: dict[str, Any], make: Callable[["list[Evidence]"], bytes], name: str) -> None:
    with ExitStack() as stack:
        archives = opened(given["archive"], "both", stack)
        evidence = [_evidence(archives, one) for one in dict.fromkeys(given["record_ids"])]
        content = make(evidence)
    first = evidence[0].record.run_id
    label = first if len(evidence) == 1 else f"{first}-and-{len(evidence) - 1}-more"
    file = given["file"] or name.format(label)
    deliver(file, [content], replace_it=given["replace"])
    if file != "-":
        mark = "SIMULATED: " if evidence[0].record.header.simulated else ""
        click.echo(f"{mark}{file}")


def _evidence(archives: "list[Archive]", record_id: str) -> "Evidence":
    """The first archive that knows the record, the real ones first."""
    from rungbench.archive.errors import ArchiveError, NoSuchRecord
    from rungbench.report.evidence import Evidence

    missing: ArchiveError | None = None
    for archive in archives:
        try:
            return Evidence.of(archive.load(record_id), archive.load_capture)
        except NoSuchRecord as problem:
            missing = problem
    raise missing or ArchiveError("There are no records yet; `rungbench qualify` makes the first.")


def opened(archive: str | None, which: str, stack: ExitStack) -> "list[Archive]":
    """The archives asked for, which close with the stack."""
    from rungbench.cli.records import open_archives

    return list(open_archives(load_settings({"archive": archive}), which, stack))


def file_name(text: str) -> str:
    """A text as part of a file's name: letters, digits, dots and hyphens, whatever it holds."""
    kept = "".join(one if one.isalnum() or one in "-." else "-" for one in text)
    return kept.strip("-.")[:80] or "unnamed"


def deliver(file: str, chunks: Iterable[bytes], *, replace_it: bool) -> None:
    """Write a file, or with ``-`` standard output."""
    from rungbench.report.files import write_whole

    if file != "-":
        write_whole(Path(file), chunks, replace=replace_it)
        return
    for chunk in chunks:
        sys.stdout.buffer.write(chunk)
    sys.stdout.buffer.flush()
