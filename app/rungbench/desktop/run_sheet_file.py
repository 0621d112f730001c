"""A model sheet from what was typed, and as a file; no Qt."""

import json
import re
from collections.abc import Mapping
from dataclasses import asdict
from pathlib import Path
from typing import Any, Final

from rungbench.errors import RungbenchError, WrongUse
from rungbench.qualify.sheet import Sheet, read_sheet
from rungbench.report.files import write_whole

_NEEDED: Final = {"maker": "maker", "model": "model", "rated_current_a": "rated current"}
_NUMBERS: Final = ("rated_current_a", "set_current_a")
_STEM: Final = re.compile(r"[^A-Za-z0-9]+")


def sheet_from(given: Mapping[str, str], decimal_point: str = ".") -> Sheet:
    """The sheet that the texts describe; an empty text states nothing.

    Raises
    ------
    WrongUse : a text is missing that a run needs, is no number, or is no pattern.
    """
    texts = {key: text.strip() for key, text in given.items() if text.strip()}
    missing = [word for key, word in _NEEDED.items() if key not in texts]
    if missing:
        raise WrongUse(f"The sheet needs the {' and the '.join(missing)}; fill in.")
    values: dict[str, Any] = dict(texts)
    for key in _NUMBERS:
        if key in texts:
            values[key] = _number(texts[key], decimal_point)
    values["phases"] = int(texts.get("phases", "3"))
    pattern = texts.get("serial_pattern", "")
    try:
        re.compile(pattern)
    except re.error as problem:
        raise WrongUse(
            f"The pattern of serial numbers is no regular expression ({problem}); correct it."
        ) from problem
    return Sheet(**values)


def _number(text: str, decimal_point: str) -> float:
    try:
        return float(text.replace(decimal_point, "."))
    except ValueError:
        raise WrongUse(f"{text!r} is no current; write ampere as a number.") from None


def sheet_text(sheet: Sheet) -> str:
    """The sheet as TOML; what it does not state is left out."""
    stated = ((key, value) for key, value in asdict(sheet).items() if value is not None)
    return "".join(f"{key} = {_toml(value)}\n" for key, value in stated)


def _toml(value: Any) -> str:
    if isinstance(value, str | tuple):
        # Strings and lists of JSON are those of TOML, except for this one sign.
        plain = value if isinstance(value, str) else list(value)
        return json.dumps(plain, ensure_ascii=False).replace("\x7f", "\\u007f")
    return f"{value}"


def write_sheet(sheet: Sheet, folder: Path) -> Path:
    """Keep a sheet under a name by maker and model; returns the file.

    Raises
    ------
    WrongUse : a file of that name holds another sheet.
    RungbenchError : it cannot be written.
    """
    stem = _STEM.sub("-", f"{sheet.maker} {sheet.model}").strip("-").lower() or "sheet"
    file = folder / f"{stem}.toml"
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as problem:
        raise RungbenchError(
            f"{folder} cannot be made ({problem.strerror}); keep the sheet elsewhere."
        ) from problem
    if file.is_file() and read_sheet(file) == sheet:
        return file
    write_whole(file, [sheet_text(sheet).encode("utf-8", "backslashreplace")])
    return file
