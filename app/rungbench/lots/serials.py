"""Serial numbers of a lot: a list in a file, or one from a scanner."""

import hashlib
from collections.abc import Sequence
from pathlib import Path
from typing import Final

from rungbench.archive.rows import search_key
from rungbench.errors import InputError, WrongUse
from rungbench.lots.errors import LotRefused
from rungbench.qualify.sheet import Sheet

_LONGEST: Final = 120


def check_serial(serial: str, sheet: Sheet) -> str:
    """`serial` without blanks around it.

    Raises
    ------
    LotRefused : it is empty, longer than any serial number, or holds signs that are no text.
    WrongUse : it does not fit the pattern of the model sheet.
    """
    text = serial.strip()
    if not text or len(text) > _LONGEST or not text.isprintable():
        raise LotRefused(
            f"Serial {serial[:_LONGEST]!a} is no serial number; scan it again, or type it."
        )
    sheet.check_serial(text)
    return text


def read_serials(path: Path, sheet: Sheet) -> tuple[str, ...]:
    """All serial numbers of a lot from a text file, one a line; empty lines do not count.

    Raises
    ------
    InputError : it cannot be read, or is no UTF-8 text.
    LotRefused : a line that is no serial number of the model, or one that came before.
    """
    try:
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except OSError as problem:
        raise InputError(
            f"The list of serial numbers {path} cannot be read ({problem.strerror}); check the "
            "path."
        ) from problem
    except UnicodeDecodeError as problem:
        raise InputError(
            f"The list of serial numbers {path} is no UTF-8 text; save it as such."
        ) from problem
    seen: dict[str, int] = {}
    found = []
    for number, line in enumerate(lines, start=1):
        if line.strip():
            found.append(_take(line, path, number, sheet, seen))
    return tuple(found)


def _take(line: str, path: Path, number: int, sheet: Sheet, seen: dict[str, int]) -> str:
    try:
        serial = check_serial(line, sheet)
    except WrongUse as problem:
        raise LotRefused(f"{path}, line {number}: {problem}") from problem
    first = seen.setdefault(search_key(serial), number)
    if first != number:
        raise LotRefused(
            f"{path}, line {number}: serial {serial!r} stands in line {first} already; correct "
            "the list."
        )
    return serial


def list_hash(serials: Sequence[str]) -> str:
    """SHA-256 of the serial numbers, one a line, each line ended by a line feed."""
    return hashlib.sha256("".join(f"{one}\n" for one in serials).encode()).hexdigest()
