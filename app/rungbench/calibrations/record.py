"""A dated record of what was calibrated on one board, by whom, against what."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from enum import StrEnum
from typing import Any

from rungbench.calibrations.accuracy import Instrument


class Part(StrEnum):
    """What one record is about; each is made, dated and replaced by itself."""

    VOLTS = "volts"
    CLOCK = "clock"
    PARTS = "parts"
    WIDTHS = "widths"


@dataclass(frozen=True, slots=True)
class Made:
    """When, by whom and in what surroundings; `temperature_c` is that of the board.

    `span_k` is how far from it the record may be used, and `valid_until` is the last day.
    """

    at: datetime
    valid_until: date
    by: str
    temperature_c: float
    span_k: float
    note: str = ""

    @property
    def on(self) -> date:
        """The day, in UTC as all dates of records."""
        return self.at.date()


@dataclass(frozen=True, slots=True)
class CalibrationRecord:
    """One record; it is never changed once it is written.

    `readings` is what was typed and measured, `result` what follows from it, both as plain
    values: `hardware_notes/calibration.md` lists them by part.  `sha256` is of the file's content.
    """

    id: str
    part: Part
    board_id: str
    firmware: str
    simulated: bool
    made: Made
    instruments: tuple[Instrument, ...]
    readings: Mapping[str, Any]
    result: Mapping[str, Any]
    sha256: str = ""

    def doubt(self, on: date, temperature_c: float | None) -> str:
        """Why it may not be used on a day and at a temperature of the board, or nothing."""
        made = self.made
        if on > made.valid_until:
            return f"{self.id} ended on {made.valid_until.isoformat()}; calibrate again."
        if on < made.on:
            return (
                f"{self.id} dates from {made.on.isoformat()}, after today; check the date of "
                "this computer."
            )
        if temperature_c is not None and abs(temperature_c - made.temperature_c) > made.span_k:
            return (
                f"{self.id} was made at {made.temperature_c:.1f} °C and holds for "
                f"{made.span_k:g} K around it, and the board is at {temperature_c:.1f} °C; bring "
                "the bench to its temperature, or calibrate at this one."
            )
        return ""


def new_id(part: Part, board_id: str, at: datetime) -> str:
    """Id of a record: what, which board, when."""
    return f"{part}-{board_id}-{at.astimezone(UTC):%Y%m%dT%H%M%SZ}"
