"""From what a scanner typed to the serial number of the charger to come; no Qt.

A scan never starts anything: it only names a charger, or is refused with a sentence.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final

from rungbench.archive.rows import search_key
from rungbench.archive.search import RunSummary
from rungbench.errors import WrongUse
from rungbench.qualify.sheet import Sheet

LONGEST: Final = 120
"""Characters of the longest scan that is looked at."""

_NOTHING: Final[Mapping[str, RunSummary]] = MappingProxyType({})


class ScanRefused(WrongUse):
    """A scan that names no charger of the model, or one that was tested before."""


class Repeated(ScanRefused):
    """The charger was tested before; with a reason it may be tested again."""


@dataclass(frozen=True, slots=True)
class Intake:
    """A model sheet, and the chargers of it that were tested before, by the key of their serial."""

    sheet: Sheet
    tested: Mapping[str, RunSummary] = field(default_factory=lambda: _NOTHING)

    def take(self, scanned: str, reason: str = "") -> str:
        """The serial number in a scan.

        Raises
        ------
        ScanRefused : it is empty, no text, or not of the model sheet.
        Repeated : the charger was tested before and no reason says why it is again.
        """
        text = scanned.strip()
        if not text:
            raise ScanRefused("Nothing was scanned; scan the serial number, or type it.")
        if len(text) > LONGEST or not text.isprintable():
            raise ScanRefused(f"{text[:40]!a} is no serial number; scan it again, or type it.")
        try:
            serial = self.sheet.serial_of(text)
        except WrongUse as problem:
            raise ScanRefused(str(problem)) from problem
        if not serial:
            raise ScanRefused("The barcode holds no serial number; scan another, or type it.")
        self._refuse_repeated(serial, reason)
        return serial

    def _refuse_repeated(self, serial: str, reason: str) -> None:
        before = self.tested.get(search_key(serial))
        if before is not None and not reason.strip():
            raise Repeated(
                f"Serial {serial!r} was tested before (record {before.run_id}, {before.verdict}); "
                "scan the next one, or state why it is tested again."
            )


def newest_by_serial(summaries: Iterable[RunSummary]) -> Mapping[str, RunSummary]:
    """The newest run of each charger; `summaries` come the newest first."""
    newest: dict[str, RunSummary] = {}
    for summary in summaries:
        newest.setdefault(search_key(summary.serial), summary)
    return MappingProxyType(newest)


def untested(serial: str, tested: Mapping[str, RunSummary]) -> str:
    """The first serial number from this one on that was not tested."""
    while search_key(serial) in tested:
        serial = next_serial(serial)
    return serial


def next_serial(serial: str) -> str:
    """The serial number after this one, for invented chargers: its last digits counted up."""
    stem = serial.rstrip("0123456789")
    digits = serial[len(stem) :]
    return f"{stem}{int(digits or '0') + 1:0{max(4, len(digits))}d}"
