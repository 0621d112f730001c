"""What the first lines of a file of samples say: columns, units, stated interval.

Oscilloscopes write keys and values above or beside the samples, one or two
header rows, or nothing at all.  This module reads the layout off the lines; it
guesses no rate and no unit.
"""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from pilotsignal.csv_text import is_comment, sniff_delimiter, split_cells
from pilotsignal.csv_units import Unit, parse_amount, parse_unit, split_unit
from pilotsignal.errors import CsvError

_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?|[-+]?(?:nan|inf|infinity|∞)", re.I)
_DECIMAL_COMMA = re.compile(r"[-+]?\d*,\d+(?:[eE][-+]?\d+)?")
_KEY_VALUE = re.compile(r"([^:=]+?)\s*[:=]\s*(.+)")
_TIME_NAMES: Final = frozenset({"time", "t", "x", "x-axis", "zeit", "temps", "tiempo", "tempo"})
_INDEX_NAMES: Final = frozenset({"sample", "samples", "sequence", "index", "point", "points", "n"})
_INTERVAL_KEYS: Final = frozenset(
    {
        "interval",
        "increment",
        "x increment",
        "sample interval",
        "sampling interval",
        "sample period",
        "sampling period",
        "sample time",
        "time interval",
        "time increment",
        "delta t",
        "dt",
    }
)
_RATE_KEYS: Final = frozenset(
    {"sample rate", "sampling rate", "samplerate", "sampling frequency", "sample frequency"}
)
_BESIDE_COLUMNS: Final = (3, 4)
_SURE_ROWS: Final = 5


@dataclass(frozen=True, slots=True)
class Column:
    """A column: its place, its name and its unit if the file tells one."""

    place: int
    name: str
    unit: Unit | None


@dataclass(frozen=True, slots=True)
class Layout:
    """How a file is laid out.

    Parameters
    ----------
    delimiter : ``None`` where there is one column.
    decimal_comma : numbers are written with a comma.
    body : line number (from 0) of the first row of samples.
    axis : column of times or of sample numbers, or ``None``.
    axis_counts : the axis holds sample numbers.
    channels : all others.
    named : whether the file names its columns; if not, the first may be times all the same.
    interval_s : interval that the file states, or ``None``.
    """

    delimiter: str | None
    decimal_comma: bool
    body: int
    axis: Column | None
    axis_counts: bool
    channels: tuple[Column, ...]
    named: bool
    interval_s: float | None


def read_layout(lines: tuple[str, ...]) -> Layout:
    """Layout of a file that begins with `lines`.

    Raises
    ------
    CsvError : no rows of numbers, rows wider than their header, a stated interval that is none.
    """
    delimiter = sniff_delimiter(lines)
    decimal_comma = delimiter in ("\t", ";") and any(
        _DECIMAL_COMMA.fullmatch(cell) for line in lines for cell in split_cells(line, delimiter)
    )
    rows = [_cells(line, delimiter) for line in lines]
    if _is_beside(rows):
        return _beside(rows, delimiter)
    body = _first_body_row(rows, decimal_comma)
    header = [(lines[at], rows[at]) for at in range(body) if rows[at]]
    stated = _stated_values(header)
    names, units = _column_rows([cells for _, cells in header])
    width = max(len(cells) for cells in rows[body : body + 40])
    if delimiter == " " and len(names) != width:
        names = ()  # blanks inside the names cannot be told from blanks between them
    columns = _columns(names, units, width, stated)
    axis, counts = _find_axis(columns)
    return Layout(
        delimiter,
        decimal_comma,
        body,
        axis,
        counts,
        tuple(column for column in columns if column is not axis),
        bool(names),
        _stated_interval(stated),
    )


def _cells(line: str, delimiter: str | None) -> tuple[str, ...]:
    if is_comment(line):
        line = line.lstrip().lstrip("#%/")
    return split_cells(line, delimiter)


def _is_number(cell: str, decimal_comma: bool) -> bool:
    return bool(_NUMBER.fullmatch(cell)) or (decimal_comma and bool(_DECIMAL_COMMA.fullmatch(cell)))


def _first_body_row(rows: Sequence[tuple[str, ...]], decimal_comma: bool) -> int:
    numeric = [
        bool(cells and cells[0]) and all(_is_number(cell, decimal_comma) for cell in cells if cell)
        for cells in rows
    ]
    for at, sure in enumerate(numeric):
        following = [good for good, cells in zip(numeric[at:], rows[at:], strict=True) if cells]
        if sure and all(following[:_SURE_ROWS]):
            return at
    raise CsvError(
        "No rows of numbers were found in the input; "
        "export the record as CSV with one row for each sample."
    )


def _is_beside(rows: Sequence[tuple[str, ...]]) -> bool:
    """Keys and values in the first three columns, samples in the next two."""
    told = [cells for cells in rows[:40] if cells]
    return len(told) > 1 and all(
        len(cells) > max(_BESIDE_COLUMNS)
        and not _NUMBER.fullmatch(cells[0])
        and all(_NUMBER.fullmatch(cells[place]) for place in _BESIDE_COLUMNS)
        for cells in told
    )


def _beside(rows: Sequence[tuple[str, ...]], delimiter: str | None) -> Layout:
    stated = _stated_values([(cells[0], cells[:3]) for cells in rows if cells and cells[0]])
    at, volts = _BESIDE_COLUMNS
    axis = Column(at, "time", parse_unit(stated.get("horizontal units", "")))
    channel = Column(volts, stated.get("source", "1"), parse_unit(stated.get("vertical units", "")))
    return Layout(delimiter, False, 0, axis, False, (channel,), True, _stated_interval(stated))


def _stated_values(header: Sequence[tuple[str, tuple[str, ...]]]) -> dict[str, str]:
    """Keys (small letters, without unit) and values (with unit) of the header."""
    stated: dict[str, str] = {}
    for line, cells in header:
        if len(cells) > 1 and cells[0]:
            key, value = cells[0].rstrip(":= "), cells[1]
            if len(cells) > 2 and parse_unit(cells[2]):
                value += cells[2]
        else:
            found = _KEY_VALUE.fullmatch(line.strip().lstrip("#%/").strip(" ,;\t"))
            if found is None:
                continue
            key, value = found[1], found[2]
        name, unit = split_unit(key)
        if unit is not None:
            value += key[len(name) :].strip().strip("()[]")
        stated.setdefault(name.lower(), value.strip('" '))
    stated.update(_start_and_increment([cells for _, cells in header]))
    return stated


def _start_and_increment(header: Sequence[tuple[str, ...]]) -> dict[str, str]:
    """Values that stand below a header cell `Increment`."""
    for above, below in zip(header, header[1:], strict=False):
        folded = [cell.lower() for cell in above]
        if "increment" in folded:
            place = folded.index("increment")
            if place < len(below) and parse_amount(below[place]):
                return {"increment": below[place]}
    return {}


def _stated_interval(stated: dict[str, str]) -> float | None:
    for key, value in stated.items():
        if key not in _INTERVAL_KEYS and key not in _RATE_KEYS:
            continue
        wanted = "s" if key in _INTERVAL_KEYS else "Hz"
        amount = parse_amount(value)
        if amount is None:
            continue
        number, unit = amount
        if number <= 0 or (unit is not None and unit.dimension != wanted):
            raise CsvError(f'The file states "{key} {value}", which cannot be; state --interval.')
        base = number * (1.0 if unit is None else unit.factor)
        # Twelve digits: 10us is 1e-05, not 9.999999999999999e-06.
        return float(f"{base if wanted == 's' else 1.0 / base:.12g}")
    return None


def _column_rows(
    header: Sequence[tuple[str, ...]],
) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """Row of names and row of units; an empty tuple where there is none."""
    if not header:
        return (), ()
    last = header[-1]
    if _is_unit_row(last):
        named = len(header) > 1 and _is_name_row(header[-2])
        return (header[-2] if named else ()), last
    return (last, ()) if _is_name_row(last) else ((), ())


def _is_unit_row(cells: tuple[str, ...]) -> bool:
    told = [cell for cell in cells if cell]
    units = [parse_unit(cell) for cell in told]
    known = [
        unit is not None or parse_amount(cell) is not None
        for cell, unit in zip(told, units, strict=True)
    ]
    return bool(units) and units[0] is not None and all(known)


def _is_name_row(cells: tuple[str, ...]) -> bool:
    numbers = [cell for cell in cells if _NUMBER.fullmatch(cell)]
    if numbers and cells[0] and split_unit(cells[0])[0].lower() not in _TIME_NAMES:
        return False
    return cells[0].lower() not in _INTERVAL_KEYS | _RATE_KEYS


def _columns(
    names: tuple[str, ...], units: tuple[str, ...], width: int, stated: dict[str, str]
) -> tuple[Column, ...]:
    if 1 < len(names) < width:
        raise CsvError(
            f"The rows have {width} cells but the header names {len(names)} columns; "
            "if the numbers have decimal commas, export with semicolons between the cells."
        )
    if len(names) < width:
        names = ()
    if not names or (width == 1 and "source" in stated):
        names = (*map(str, range(1, width)), stated.get("source", str(width)))
    vertical = parse_unit(stated.get("vertical units", ""))
    horizontal = parse_unit(stated.get("horizontal units", ""))
    columns = []
    for place in range(width):
        name, unit = split_unit(names[place])
        if place < len(units):
            unit = parse_unit(units[place]) or unit
        if unit is None:
            unit = horizontal if _is_axis_name(name) else vertical
        columns.append(Column(place, name, unit))
    return tuple(columns)


def _is_axis_name(name: str) -> bool:
    return not name or name.lower() in _TIME_NAMES | _INDEX_NAMES


def _find_axis(columns: tuple[Column, ...]) -> tuple[Column | None, bool]:
    """The axis and whether it counts samples."""
    for column in columns:
        if column.unit is not None and column.unit.dimension in ("s", "index"):
            return column, column.unit.dimension == "index"
        if _is_axis_name(column.name):
            return column, column.name.lower() in _INDEX_NAMES
    return None, False
