"""Records to files: CSV, JSON, PDF; long ones can be cancelled; no Qt."""

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from itertools import chain, islice
from pathlib import Path
from typing import Final

from rungbench.archive.record import Record
from rungbench.archive.search import Search
from rungbench.archive.store import Archive, Entered
from rungbench.desktop.errands import Cancel
from rungbench.errors import WrongUse
from rungbench.report.evidence import Evidence
from rungbench.report.files import write_whole

KINDS: Final = ("csv", "json", "pdf")
_MOST_PDF: Final = 100
_One = Record | Entered  # the second with its hash, which need not be worked out


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
    return _write(archive, _by_ids(archive, ids), file, cancel)


def export_fitting(archive: Archive, search: Search, file: Path, cancel: Cancel) -> Exported:
    """All records that fit, the oldest first, a batch of them in memory; errors as above."""
    return _write(archive, archive.every(search), file, cancel)


def _by_ids(archive: Archive, ids: Iterable[str]) -> Iterator[_One]:
    for one in ids:
        yield archive.load(one)


class _Counted:
    """Records one by one: counted for whoever waits, and left off where somebody cancels."""

    def __init__(self, records: Iterator[_One], cancel: Cancel) -> None:
        self._records, self._cancel = records, cancel
        self.count = 0

    def __iter__(self) -> Iterator[_One]:
        return self

    def __next__(self) -> _One:
        self._cancel.check()
        record = next(self._records)
        self.count += 1
        self._cancel.done = self.count
        return record


def _write(archive: Archive, records: Iterator[_One], file: Path, cancel: Cancel) -> Exported:
    kind = file.suffix.lower().removeprefix(".")
    if kind not in KINDS:
        raise WrongUse(f"{file.name!r} ends in none of {', '.join(KINDS)}; name it so.")
    first = next(records, None)
    if first is None:
        raise WrongUse("No record fits, so that there is nothing to write; look for others.")
    counted = _Counted(chain((first,), records), cancel)
    write_whole(file, _CHUNKS[kind](archive, counted), replace=True)
    return Exported(file, counted.count)


def _csv(_archive: Archive, records: Iterable[_One]) -> Iterable[bytes]:
    from rungbench.report.export_csv import csv_chunks

    return csv_chunks(records)


def _json(_archive: Archive, records: Iterable[_One]) -> Iterable[bytes]:
    from rungbench.report.export_json import export_chunks

    return export_chunks(records)


def _pdf(archive: Archive, records: Iterable[_One]) -> Iterable[bytes]:
    """One report; with too many records it would not fit in memory."""
    from rungbench.report.pdf import report_pdf

    taken = list(islice(records, _MOST_PDF + 1))
    if len(taken) > _MOST_PDF:
        raise WrongUse(
            f"More than {_MOST_PDF} records are too many for one report; mark fewer, or take CSV."
        )
    bare = [one.record if isinstance(one, Entered) else one for one in taken]
    return [report_pdf([Evidence.of(one, archive.load_capture) for one in bare])]


_CHUNKS: Final[dict[str, Callable[[Archive, Iterable[_One]], Iterable[bytes]]]] = {
    "csv": _csv,
    "json": _json,
    "pdf": _pdf,
}
