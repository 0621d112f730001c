"""Runs as CSV for spreadsheets: one row a run, the columns fixed.

A spreadsheet runs a cell as a formula if it begins with one of a few characters, and takes control
characters for rows and cells.  The first get an apostrophe in front, the others are written as
their codes; the JSON export holds every text as it is.
"""

import csv
import io
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Final

from pilotsignal.judge import Verdict
from pilotsignal.quantity import Quantity
from rungbench.archive.record import CheckResult, Record, Role
from rungbench.archive.store import Entered
from rungbench.report.digest import known_hash, record_sha256
from rungbench.report.verdicts import counting

# The beginning of a cell, or of what another separator would make one; full-width signs count.
_FORMULA: Final = re.compile(r"(^|;)(\s*)(?=[=+\-@＝＋－＠])")
# Spreadsheets tell UTF-8 from older codes by this mark.
MARK: Final = "\ufeff"

Cell = str | float | int | None


@dataclass(frozen=True, slots=True)
class CsvColumn:
    """One column: its name, what it holds, and how to get it."""

    name: str
    about: str
    value: Callable[[Record], Cell]


@dataclass(frozen=True, slots=True)
class _Measured:
    """A quantity that has columns of its own: value, expanded uncertainty (95 %), verdict."""

    column: str
    check: str
    quantity: str
    about: str


_MEASURED: Final = (
    _Measured("frequency_b_hz", "frequency-b", "frequency_hz", "frequency in B, Hz"),
    _Measured(
        "pulse_width_error_b_us",
        "pulse-width-b",
        "pulse_width_error_us",
        "pulse width in B less its nominal value, us",
    ),
    _Measured("duty_b_percent", "pulse-width-b", "duty_percent", "duty in B, %"),
    _Measured(
        "advertised_a", "advertised-current", "advertised_current_a", "advertised current, A"
    ),
    _Measured("level_open_v", "idle-level", "high_plateau_v", "level with nothing connected, V"),
    _Measured("high_plateau_b_v", "plateau-b", "high_plateau_v", "high plateau in B, V"),
    _Measured("high_plateau_c_v", "plateau-c", "high_plateau_v", "high plateau in C, V"),
    _Measured("low_plateau_b_v", "low-plateau-b", "low_plateau_v", "low plateau in B, V"),
    _Measured("low_plateau_c_v", "low-plateau-c", "low_plateau_v", "low plateau in C, V"),
    _Measured(
        "source_resistance_ohm",
        "source-resistance",
        "source_resistance_ohm",
        "source resistance, ohm",
    ),
    _Measured("mains_on_s", "mains-on", "mains_on_after_c_s", "C to mains on, s"),
    _Measured("mains_off_b_ms", "mains-off-b", "mains_off_c_to_b_ms", "C to B: mains off, ms"),
    _Measured(
        "mains_off_unplug_ms", "mains-off-unplug", "mains_off_unplug_ms", "unplugged: mains off, ms"
    ),
)


def columns() -> tuple[CsvColumn, ...]:
    """All columns in order; they never change within a version, new ones come last."""
    return (
        *_identity(),
        *_counts(),
        *_measured(),
        CsvColumn("sha256", "hash of the record, as in its bench's chain", record_sha256),
    )


def _identity() -> Iterator[CsvColumn]:
    yield CsvColumn("record", "id of the run", lambda one: one.run_id)
    yield CsvColumn("simulated", "yes or no", lambda one: _word(one.header.simulated))
    yield CsvColumn("verdict", "verdict of the run", lambda one: one.verdict.value)
    yield CsvColumn("started_utc", "when it began", lambda one: _when(one.header.started))
    yield CsvColumn(
        "finished_utc",
        "when it ended; empty: no end was recorded",
        lambda one: None if one.finished is None else _when(one.finished),
    )
    yield CsvColumn("interrupted", "why, or empty", lambda one: one.interrupted)
    for name, about in (
        ("maker", "maker of the charger"),
        ("model", "model"),
        ("serial", "serial number"),
        ("rated_current_a", "rated current, A"),
        ("set_current_a", "set current, A; empty: not stated"),
        ("phases", "phases it switches"),
        ("outlet", "socket or cable"),
        ("notes", "notes"),
    ):
        yield CsvColumn(name, about, _of_charger(name))
    for name, about in (
        ("operator", "who did it"),
        ("plan", "plan"),
        ("plan_hash", "hash of the plan"),
        ("profile", "limits it was judged by"),
        ("profile_hash", "hash of the profile"),
    ):
        yield CsvColumn(name, about, _of_header(name))
    yield CsvColumn("board", "id of the board", lambda one: _plain(one.header.board, "board_id"))
    yield CsvColumn("firmware", "its version", lambda one: _plain(one.header.board, "firmware"))
    yield CsvColumn(
        "calibration", "id of the calibration", lambda one: _plain(one.header.calibration, "id")
    )
    yield CsvColumn(
        "calibration_until",
        "last day of its validity",
        lambda one: _plain(one.header.calibration, "valid_until"),
    )
    yield CsvColumn(
        "software", "version of the program", lambda one: _plain(one.header.versions, "rungbench")
    )


def _counts() -> Iterator[CsvColumn]:
    for verdict in Verdict:
        name = f"required_{verdict.value.replace(' ', '_')}"
        yield CsvColumn(name, f"required checks: {verdict.value}", _counting(verdict))
    yield CsvColumn("failed_checks", "required checks that failed, by id", _failed)


def _measured() -> Iterator[CsvColumn]:
    for one in _MEASURED:
        yield CsvColumn(one.column, one.about, _value(one))
        yield CsvColumn(f"{one.column}_u95", f"{one.about}: expanded uncertainty", _expanded(one))


def _of_charger(name: str) -> Callable[[Record], Cell]:
    return lambda record: getattr(record.header.charger, name)


def _of_header(name: str) -> Callable[[Record], Cell]:
    return lambda record: getattr(record.header, name)


def _plain(values: Mapping[str, object], name: str) -> str | None:
    value = values.get(name)
    return None if value is None else str(value)


def _when(moment: datetime) -> str:
    """A moment in UTC as spreadsheets read one."""
    return f"{moment.astimezone(UTC):%Y-%m-%d %H:%M:%S}"


def _word(yes: bool) -> str:
    return "yes" if yes else "no"


def _required(record: Record, verdict: Verdict) -> list[CheckResult]:
    every = counting(record.checks)
    return [one for one in every if one.role is Role.REQUIRED and one.verdict is verdict]


def _counting(verdict: Verdict) -> Callable[[Record], Cell]:
    return lambda record: len(_required(record, verdict))


def _failed(record: Record) -> str:
    return " ".join(one.check for one in _required(record, Verdict.FAIL))


def _found(record: Record, wanted: _Measured) -> Quantity | None:
    for result in counting(record.checks):
        if result.check == wanted.check:
            return next((one for one in result.quantities if one.name == wanted.quantity), None)
    return None


def _value(wanted: _Measured) -> Callable[[Record], Cell]:
    def value(record: Record) -> Cell:
        quantity = _found(record, wanted)
        return None if quantity is None else quantity.value

    return value


def _expanded(wanted: _Measured) -> Callable[[Record], Cell]:
    def expanded(record: Record) -> Cell:
        quantity = _found(record, wanted)
        return None if quantity is None else quantity.expanded()

    return expanded


def csv_chunks(records: Iterable[Record | Entered]) -> Iterator[bytes]:
    """The whole table in UTF-8 with its mark, one record in memory at a time.

    The hash of what comes with the one of its chain is taken from there: to work it out takes
    longer than all the rest.
    """
    known = columns()
    yield (MARK + _line(column.name for column in known)).encode()
    for one in records:
        record, sha256 = known_hash(one)
        cells = [_text(column.value(record)) for column in known[:-1]]
        yield _line([*cells, sha256]).encode()


def _line(cells: Iterable[str]) -> str:
    stream = io.StringIO()
    csv.writer(stream, lineterminator="\r\n").writerow(cells)
    return stream.getvalue()


def _text(value: Cell) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        return defused(value)
    return f"{value:.9g}" if isinstance(value, float) else str(value)


def defused(text: str) -> str:
    """A text that no spreadsheet runs, and that stays in its cell."""
    visible = "".join(one if one.isprintable() else ascii(one)[1:-1] for one in text)
    return _FORMULA.sub(r"\1\2'", visible)
