"""A wish to stop, looked at where stopping is safe."""

import signal
import sys
import threading
from collections.abc import Iterator
from contextlib import contextmanager
from types import FrameType

from rungbench.errors import Interrupted


class Stop:
    """Set from any thread or by Ctrl-C; the stand-in looks at it while it waits.

    `patient` is true while a run goes on: nothing then breaks in between two lines of its code.
    """

    def __init__(self) -> None:
        self._event = threading.Event()
        self._insisted = threading.Event()
        self.reason = ""
        self.patient = False

    @property
    def wished(self) -> bool:
        """Whether somebody asked."""
        return self._event.is_set()

    def request(self, reason: str) -> None:
        """Ask for the end of the run."""
        self.reason = self.reason or reason
        self._event.set()

    def check(self) -> None:
        """Raise `Interrupted` if somebody asked."""
        if self._event.is_set():
            raise Interrupted(f"{self.reason}.")

    def insist(self) -> None:
        """Ask for an end that leaves out what may be left out."""
        self._insisted.set()

    def hurry(self) -> None:
        """Raise `KeyboardInterrupt` if somebody insisted: looked at while making safe."""
        if self._insisted.is_set():
            raise KeyboardInterrupt

    @contextmanager
    def patiently(self) -> Iterator[None]:
        """Around a run: each Ctrl-C is looked at where it can do no harm.

        Otherwise the second or third of them might come between the check that is being stored and
        the end of the record, and the record would have none.
        """
        self.patient = True
        try:
            yield
        finally:
            self.patient = False

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

    The second Ctrl-C interrupts at once, or insists while a run is to be waited for.  Main thread
    only.
    """

    def ask(number: int, _frame: FrameType | None) -> None:
        by = "Ctrl-C" if number == signal.SIGINT else "the system"
        if not stop.wished:
            stop.request(f"Stopped by {by}")
        elif number == signal.SIGINT and stop.patient:
            stop.insist()
        elif number == signal.SIGINT:
            raise KeyboardInterrupt

    before = {number: signal.signal(number, ask) for number in _wishes()}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
