"""What happens when the program itself fails: rung open, a file for the report, a sentence.

The file holds versions and the trace of calls: no values of variables, no names, no serial
numbers; the user's own folder appears as ``~``.
"""

import logging
import platform
import sys
import threading
import traceback
from collections.abc import Callable
from pathlib import Path
from types import TracebackType
from typing import Final

from rungbench import __version__
from rungbench.paths import paths, under_home

_FILE: Final = "crash.txt"
_log = logging.getLogger(__name__)


def crash_text(kind: type[BaseException], trace: TracebackType | None) -> str:
    """What is written: no message of the exception, which may quote what the user typed."""
    home = str(Path.home())
    frames = "".join(traceback.format_tb(trace)).replace(home, "~")
    thread = threading.current_thread().name.split(" ")[0]
    return (
        f"Rungbench {__version__}, Python {platform.python_version()}, {platform.system()} "
        f"{platform.machine()}\nthread {thread}\n{frames}{kind.__name__}\n"
    )


def write_crash(kind: type[BaseException], trace: TracebackType | None) -> Path | None:
    """Write the file beside the log; ``None`` where that is not possible."""
    file = paths().log_file.with_name(_FILE)
    try:
        file.parent.mkdir(mode=0o700, parents=True, exist_ok=True)
        file.write_text(crash_text(kind, trace), encoding="utf-8")
    except OSError:
        return None
    return file


def catch_crashes(tell: Callable[[str], None]) -> Callable[[], None]:
    """From now on whatever nobody caught is written down and told; returns how to undo it.

    `tell` may be called from any thread.
    """
    before = sys.excepthook, threading.excepthook

    def caught(
        kind: type[BaseException], problem: BaseException, trace: TracebackType | None
    ) -> None:
        if issubclass(kind, KeyboardInterrupt):
            before[0](kind, problem, trace)
            return
        _log.error("unexpected %s", kind.__name__)
        file = write_crash(kind, trace)
        where = f" It is described in {under_home(file)}." if file else ""
        tell(
            f"This is a fault of the program.{where} The stand-in goes to open by itself; "
            "start the program again."
        )

    def caught_in_thread(fault: threading.ExceptHookArgs) -> None:
        if fault.exc_value is not None:
            caught(fault.exc_type, fault.exc_value, fault.exc_traceback)

    sys.excepthook, threading.excepthook = caught, caught_in_thread

    def undo() -> None:
        sys.excepthook, threading.excepthook = before

    return undo
