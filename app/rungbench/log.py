"""The program's own log: a file that rotates, for finding faults of the program.

It holds no names, no serial numbers and no passwords; the user's own folder
appears as ``~``.  Results belong in the archive, not here.
"""

import logging
import os
from io import TextIOWrapper
from logging.handlers import RotatingFileHandler
from pathlib import Path
from typing import Final

from rungbench.errors import WrongUse
from rungbench.paths import paths
from rungbench.redact import without_password

_VARIABLE: Final = "RUNGBENCH_LOG"
_LEVELS: Final = ("debug", "info", "warning", "error")
_BYTES: Final = 1_000_000
_KEPT: Final = 3
_OWNER_ONLY: Final = 0o600


class _Discreet(logging.Formatter):
    """Takes passwords and the user's name in paths out of whatever is about to be written."""

    def format(self, record: logging.LogRecord) -> str:
        text = without_password(super().format(record))
        home = str(Path.home())
        return text.replace(home, "~") if len(home) > 1 else text


def start_log() -> str | None:
    """Start logging; returns a sentence if the log cannot be written, which stops nothing.

    The level is that of ``RUNGBENCH_LOG``: debug, info, warning (the default) or error.

    Raises
    ------
    WrongUse : another level.
    """
    level = os.environ.get(_VARIABLE, "warning").strip().lower()
    if level not in _LEVELS:
        raise WrongUse(f"{_VARIABLE} is {level!r}; it may be {', '.join(_LEVELS)}.")
    logger = logging.getLogger("rungbench")
    stop_log()
    file = paths().log_file
    try:
        handler = _open(file)
    except OSError as problem:
        logger.addHandler(logging.NullHandler())
        return f"The log {file} cannot be written ({problem.strerror}); going on without it."
    logger.addHandler(handler)
    logger.setLevel(level.upper())
    logger.propagate = False
    return None


def stop_log() -> None:
    """Close the log's file."""
    logger = logging.getLogger("rungbench")
    for handler in list(logger.handlers):
        logger.removeHandler(handler)
        handler.close()


def _open(file: Path) -> logging.Handler:
    file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
    handler = _OwnFile(file, maxBytes=_BYTES, backupCount=_KEPT, encoding="utf-8")
    handler.setFormatter(_Discreet("%(asctime)s %(levelname)s %(name)s: %(message)s"))
    return handler


class _OwnFile(RotatingFileHandler):
    """Files that only their owner may read."""

    def _open(self) -> TextIOWrapper:
        return TextIOWrapper(open(self.baseFilename, "ab", opener=_own), encoding="utf-8")


def _own(path: str, flags: int) -> int:
    return os.open(path, flags, _OWNER_ONLY)
