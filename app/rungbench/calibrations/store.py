"""A folder of calibration records: one file each, written once, never changed.

Whatever lies in the folder as ``*.json`` must be a record that can be trusted.  One that is
damaged stops whoever asks, because it may be the one that counts.
"""

import os
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Final

from rungbench.calibrations.document import DamagedRecord, from_text, to_text
from rungbench.calibrations.record import CalibrationRecord, Part
from rungbench.errors import BenchError

_ENDING: Final = ".json"
_LARGEST: Final = 4_000_000  # bytes; a record has some thousand


@dataclass(frozen=True, slots=True)
class Shelf:
    """What was found: records, oldest first, and what could not be read, a sentence each."""

    records: tuple[CalibrationRecord, ...]
    damaged: tuple[DamagedRecord, ...] = ()


@dataclass(frozen=True, slots=True)
class CalibrationStore:
    """Records of all boards in `folder`, which need not exist yet.

    `simulated` is the kind of board that they must be of; ``None``: either.
    """

    folder: Path
    simulated: bool | None = None

    def shelf(self) -> Shelf:
        """Everything in the folder, whether it can be read or not."""
        records: list[CalibrationRecord] = []
        damaged: list[DamagedRecord] = []
        for path in self._files():
            try:
                records.append(self._of_kind(_read(path), path))
            except DamagedRecord as problem:
                damaged.append(problem)
        records.sort(key=lambda record: (record.made.at, record.id))
        return Shelf(tuple(records), tuple(damaged))

    def records(self, board_id: str | None = None) -> tuple[CalibrationRecord, ...]:
        """Records, oldest first, of one board or of all.

        Raises
        ------
        DamagedRecord : any file of the folder cannot be trusted.
        """
        shelf = self.shelf()
        if shelf.damaged:
            raise shelf.damaged[0]
        return tuple(one for one in shelf.records if board_id in (None, one.board_id))

    def add(self, record: CalibrationRecord) -> Path:
        """Write a new record: whole or not at all, and never over another one.

        Raises
        ------
        BenchError : a record with this id is there already.
        OSError : the folder cannot be written.
        """
        self.folder.mkdir(parents=True, exist_ok=True)
        path = self.folder / f"{record.id}{_ENDING}"
        if path.exists():
            raise BenchError(
                f"There is a calibration record {record.id} already; wait a second and try again."
            )
        write_whole(path, to_text(record))
        return path

    def _of_kind(self, record: CalibrationRecord, path: Path) -> CalibrationRecord:
        if self.simulated is not None and record.simulated is not self.simulated:
            kind = "simulated" if record.simulated else "real"
            raise DamagedRecord(
                f"The calibration record {path} is one of a {kind} board and lies in the wrong "
                "folder; move it out of there."
            )
        return record

    def _files(self) -> Iterable[Path]:
        if not self.folder.is_dir():
            return ()
        return sorted(self.folder.glob(f"[!.]*{_ENDING}"))


def newest(
    records: Iterable[CalibrationRecord], on: date, temperature_c: float | None
) -> dict[Part, CalibrationRecord]:
    """The newest usable record of each part; where none is usable the newest of all."""
    best: dict[Part, CalibrationRecord] = {}
    for record in sorted(records, key=lambda record: (record.made.at, record.id)):
        held = best.get(record.part)
        usable = not record.doubt(on, temperature_c)
        if held is None or usable or held.doubt(on, temperature_c):
            best[record.part] = record
    return best


def write_whole(path: Path, text: str) -> None:
    """Write a file so that it is there whole or not at all, even after a loss of power."""
    handle, name = tempfile.mkstemp(prefix=".", suffix=".part", dir=path.parent)
    try:
        with os.fdopen(handle, "w", encoding="ascii") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        os.replace(name, path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    _sync_folder(path.parent)


def _sync_folder(folder: Path) -> None:
    """The name of a file is in its folder, which has to reach the disk as well."""
    if os.name != "posix":
        return
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _read(path: Path) -> CalibrationRecord:
    try:
        if path.stat().st_size > _LARGEST:
            raise DamagedRecord(
                f"The calibration record {path} is too large to be one; move it out of its folder."
            )
        text = path.read_text("ascii")
    except UnicodeDecodeError as problem:
        raise DamagedRecord(
            f"The calibration record {path} is damaged: it is no text; put back a copy of it, or "
            "move it out of its folder and calibrate again."
        ) from problem
    except OSError as problem:
        raise DamagedRecord(
            f"The calibration record {path} cannot be read ({problem.strerror}); check your "
            "rights to it."
        ) from problem
    record = from_text(text, str(path))
    if path.name != f"{record.id}{_ENDING}":
        raise DamagedRecord(
            f"The calibration record {path} is called {record.id} inside; give the file the name "
            f"{record.id}{_ENDING}."
        )
    return record
