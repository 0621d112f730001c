"""Records to files: CSV, JSON, PDF; long ones can be cancelled; no Qt."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Final

from rungbench.archive.record import Record
from rungbench.archive.search import Search
from rungbench.archive.store import Archive
from rungbench.desktop.errands import Cancel
from rungbench.errors import WrongUse
from rungbench.report.evidence import Evidence
from rungbench.report.files import write_whole

KINDS: Final = ("csv", "json", "pdf")
_PAGE: Final = 200
_MOST_PDF: Final = 100


@dataclass(frozen=True, slots=True)
class Exported:
    """What was written."""

    file: Path
    runs: int


def export_ids(archive: Archive, ids: Iterable[str], file: Path, cancel: Cancel) -> Exported:
    """These records, in this order.

    Raises
    ------
    WrongUse : the file's name ends in nothing that can be written.
    RungbenchError : it cannot be written; nothing of it is left behind.
    Interrupted : it was cancelled; the same.
    """
    return _write(archive, list(ids), file, cancel)


def export_fitting(archive: Archive, search: Search, file: Path, cancel: Cancel) -> Exported:
    """All records that fit, the oldest first; errors as above."""
    return _write(archive, _fitting(archive, search, cancel), file, cancel)


def _fitting(archive: Archive, search: Search, cancel: Cancel) -> list[str]:
    ids: list[str] = []
    before: int | None = None
    while found := archive.find(replace(search, before=before, limit=_PAGE)):
        cancel.check()
        ids += [one.run_id for one in found]
        before = found[-1].number
    return ids[::-1]


def _write(archive: Archive, ids: list[str], file: Path, cancel: Cancel) -> Exported:
    kind = file.suffix.lower().removeprefix(".")
    if kind not in KINDS:
        raise WrongUse(f"{file.name!r} ends in none of {', '.join(KINDS)}; name it so.")
    if not ids:
        raise WrongUse("No record fits, so that there is nothing to write; look for others.")
    write_whole(file, _CHUNKS[kind](archive, ids, cancel), replace=True)
    return Exported(file, len(ids))


def _records(archive: Archive, ids: list[str], cancel: Cancel) -> Iterator[Record]:
    for one in ids:
        cancel.check()
        yield archive.load(one)


def _csv(archive: Archive, ids: list[str], cancel: Cancel) -> Iterable[bytes]:
    from rungbench.report.export_csv import csv_chunks

    return csv_chunks(_records(archive, ids, cancel))


def _json(archive: Archive, ids: list[str], cancel: Cancel) -> Iterable[bytes]:
    from rungbench.report.export_json import export_chunks

    return export_chunks(_records(archive, ids, cancel))


def _pdf(archive: Archive, ids: list[str], cancel: Cancel) -> Iterable[bytes]:
    """One report; with too many records it would not fit in memory."""
    from rungbench.report.pdf import report_pdf

    if len(ids) > _MOST_PDF:
        raise WrongUse(
            f"{len(ids)} records are too many for one report; mark up to {_MOST_PDF}, or take CSV."
        )
    records = _records(archive, ids, cancel)
    return [report_pdf([Evidence.of(one, archive.load_capture) for one in records])]


_CHUNKS: Final[dict[str, Callable[[Archive, list[str], Cancel], Iterable[bytes]]]] = {
    "csv": _csv,
    "json": _json,
    "pdf": _pdf,
}
