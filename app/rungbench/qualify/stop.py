"""A wish to stop, looked at where stopping is safe."""

import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

from rungbench.errors import Interrupted


class Stop:
    """Set from any thread or by Ctrl-C; the stand-in looks at it while it waits."""

    def __init__(self) -> None:
        self._event = threading.Event()
        self.reason = ""

    def request(self, reason: str) -> None:
        """Ask for the end of the run."""
        self.reason = self.reason or reason
        self._event.set()

    def check(self) -> None:
        """Raise `Interrupted` if somebody asked."""
        if self._event.is_set():
            raise Interrupted(f"{self.reason}.")

    def clear(self) -> None:
        """Forget the wish: making safe is not to be stopped by it."""
        self._event.clear()


def _wishes() -> tuple[signal.Signals, ...]:
    """Ctrl-C, the end of the session, and where there is one the end of the terminal."""
    wishes = (signal.SIGINT, signal.SIGTERM)
    if sys.platform == "win32" or signal.getsignal(signal.SIGHUP) is signal.SIG_IGN:
        return wishes
    return (*wishes, signal.SIGHUP)


@contextmanager
def on_ctrl_c(stop: Stop) -> Iterator[None]:
    """Turn the first Ctrl-C, and the system's wish to end the program, into a wish to stop.

    The second Ctrl-C interrupts at once.  Main thread only.
    """

    def ask(number: int, _frame: FrameType | None) -> None:
        signal.signal(signal.SIGINT, signal.default_int_handler)
        by = "Ctrl-C" if number == signal.SIGINT else "the system"
        stop.request(f"Stopped by {by}")

    before = {number: signal.signal(number, ask) for number in _wishes()}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
