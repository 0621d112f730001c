"""Model sheets: what is the same for every charger of a model, as TOML."""

import re
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Final

from rungbench.errors import InputError, WrongUse
from rungbench.qualify.desk import Ask

_TEXTS: Final = (
    *("maker", "model", "outlet", "plan", "serial_pattern", "barcode_prefix", "notes"),
    "ventilation",
)
_NUMBERS: Final = ("rated_current_a", "set_current_a")
_KEYS: Final = (*_TEXTS, *_NUMBERS, "phases", "cannot")
_VENTILATION: Final = ("allow", "refuse")


@dataclass(frozen=True, slots=True)
class Sheet:
    """A model sheet; what it does not state is ``None``."""

    maker: str | None = None
    model: str | None = None
    rated_current_a: float | None = None
    set_current_a: float | None = None
    phases: int | None = None
    outlet: str | None = None
    plan: str | None = None
    serial_pattern: str | None = None
    notes: str | None = None
    ventilation: str | None = None
    cannot: tuple[str, ...] | None = None
    barcode_prefix: str | None = None

    def serial_of(self, scanned: str) -> str:
        """The serial number in what a scanner read; `WrongUse` if it cannot be the model's."""
        text = scanned.strip()
        prefix = self.barcode_prefix or ""
        if not text.startswith(prefix):
            raise WrongUse(
                f"Barcode {text!r} does not begin with {prefix!r}, as those of this model do; "
                "scan the serial number, or take the right sheet."
            )
        serial = text.removeprefix(prefix).strip()
        self.check_serial(serial)
        return serial

    def check_serial(self, serial: str) -> None:
        """Refuse a serial number that the model cannot have; `WrongUse`."""
        if self.serial_pattern and re.fullmatch(self.serial_pattern, serial) is None:
            raise WrongUse(
                f"Serial {serial!r} does not fit the model sheet's pattern "
                f"{self.serial_pattern!r}; scan it again, or take the right sheet."
            )


INVENTED: Final = Sheet(
    maker="Example",
    model="Simulated AC charger",
    rated_current_a=16.0,
    phases=3,
    outlet="cable",
)
"""The charger that a simulated bench answers for unless told otherwise."""

INVENTED_SERIAL: Final = "SIM-0001"


def read_sheet(path: Path) -> Sheet:
    """The model sheet in a file.

    Raises
    ------
    InputError : it cannot be read or is not TOML.
    WrongUse : an unknown key, or a value of the wrong kind.
    """
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as problem:
        raise InputError(
            f"The model sheet {path} cannot be read: {problem.strerror}; check the path."
        ) from problem
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as problem:
        raise InputError(f"The model sheet {path} is not TOML: {problem}.") from problem
    return Sheet(**{key: _value(key, value, path) for key, value in _known(table, path).items()})


def _known(table: Mapping[str, Any], path: Path) -> Mapping[str, Any]:
    for key in table:
        if key not in _KEYS:
            raise WrongUse(f"{path}: there is no key {key!r}; known: {', '.join(_KEYS)}.")
    return table


def _value(key: str, value: Any, path: Path) -> Any:
    if key == "cannot":
        return _asks(value, path)
    if key in _TEXTS:
        if not isinstance(value, str):
            raise WrongUse(f"{path}: {key} must be a text in quotes.")
        if key == "serial_pattern":
            _check_pattern(value, path)
        if key == "ventilation" and value not in _VENTILATION:
            raise WrongUse(f"{path}: ventilation must be one of {', '.join(_VENTILATION)}.")
        return value
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise WrongUse(f"{path}: {key} must be a number.")
    if key == "phases":
        if not isinstance(value, int):
            raise WrongUse(f"{path}: phases must be 1 or 3.")
        return value
    return float(value)


def _asks(value: Any, path: Path) -> tuple[str, ...]:
    if not isinstance(value, list) or not all(one in tuple(Ask) for one in value):
        raise WrongUse(f"{path}: cannot must be a list of {', '.join(Ask)}.")
    return tuple(value)


def _check_pattern(pattern: str, path: Path) -> None:
    try:
        re.compile(pattern)
    except re.error as problem:
        raise WrongUse(f"{path}: serial_pattern is no regular expression: {problem}.") from problem
