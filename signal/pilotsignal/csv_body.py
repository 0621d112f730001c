"""The rows of samples, parsed fast, and the exact line where one is bad."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
import numpy.typing as npt

from pilotsignal.csv_header import Layout
from pilotsignal.csv_text import TextSource, split_cells
from pilotsignal.errors import CsvError

Floats = npt.NDArray[np.float64]

_SHOWN: Final = 30  # characters of a bad cell that are repeated to the user


@dataclass(frozen=True, slots=True)
class Body:
    """Columns that were asked for.

    Parameters
    ----------
    columns : one array for each place asked for, float64, finite, all of one length.
    first_column_texts : some cells of the first of them as they were written, in order.
    cut_short : the last row was incomplete and was left out.
    """

    columns: tuple[Floats, ...]
    first_column_texts: tuple[str, ...]
    cut_short: bool


def read_body(source: TextSource, layout: Layout, places: Sequence[int]) -> Body:
    """Read the columns at `places` from all rows.

    Raises
    ------
    CsvError : a cell that is missing or not a finite number, with its line number.
    """
    parts: list[Floats] = []
    texts: list[str] = []
    line, cut_short = layout.body, False
    for piece in source.pieces(layout.body):
        text = _plain(piece, layout)
        complete = text.endswith("\n")
        if not complete and len(split_cells(text, layout.delimiter)) <= max(places):
            cut_short = bool(text.strip())
            break
        lines = text.splitlines()
        parts.append(_parse(lines, layout.delimiter, places, line))
        texts += _some_texts(lines, layout.delimiter, places[0])
        line += len(lines)
    table = np.concatenate(parts) if parts else np.empty((0, len(places)))
    return Body(tuple(np.ascontiguousarray(table.T)), tuple(texts), cut_short)


def _plain(piece: str, layout: Layout) -> str:
    if layout.decimal_comma:
        piece = piece.replace(",", ".")
    return piece.replace('"', "") if '"' in piece else piece


def _parse(
    lines: list[str], delimiter: str | None, places: Sequence[int], first_line: int
) -> Floats:
    told = [line for line in lines if line and not line.isspace()]
    if not told:
        return np.empty((0, len(places)))
    try:
        table = np.loadtxt(
            told,
            delimiter=None if delimiter == " " else delimiter,
            usecols=tuple(places),
            comments=None,
            ndmin=2,
        )
    except (ValueError, IndexError) as problem:
        _point_out(lines, delimiter, places, first_line)
        raise CsvError("The rows of the input cannot be read; export it again.") from problem
    if not np.isfinite(table).all():
        _point_out(lines, delimiter, places, first_line)
    return np.asarray(table, dtype=np.float64)


def _point_out(
    lines: Sequence[str], delimiter: str | None, places: Sequence[int], first_line: int
) -> None:
    """Raise for the first bad cell."""
    for number, line in enumerate(lines, start=first_line + 1):
        cells = split_cells(line, delimiter)
        if not cells:
            continue
        for place in places:
            text = cells[place] if place < len(cells) else ""
            if not _finite(text):
                shown = f'"{text[:_SHOWN]}", which is not a number' if text else "nothing"
                raise CsvError(
                    f"Line {number} holds {shown} in column {place + 1}; "
                    "remove the bad rows at an end of the file, or record it again."
                )


def _finite(text: str) -> bool:
    try:
        return math.isfinite(float(text))
    except ValueError:
        return False


def _some_texts(lines: Sequence[str], delimiter: str | None, place: int) -> list[str]:
    """Cells of the first rows and, spread thinly, of the others up to the last."""
    step = max(1, len(lines) // 200)
    rows = [split_cells(line, delimiter) for line in (*lines[:40], *lines[40::step], lines[-1])]
    return [cells[place] for cells in rows if place < len(cells)]
