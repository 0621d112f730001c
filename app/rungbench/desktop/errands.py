"""Long work that needs no bench: one thread, one errand after the other, results back queued."""

import logging
import queue
import threading
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Final

from PySide6.QtCore import QObject, Qt, Signal, Slot

from pilotsignal.errors import PilotSignalError
from rungbench.errors import Interrupted, RungbenchError

_END_S: Final = 10.0
_log = logging.getLogger(__name__)

FAULT: Final = "This is a fault of the program; please report it with the end of the log."


class Cancel:
    """A wish to stop that an errand looks at; `done` is how far the errand says that it is."""

    def __init__(self) -> None:
        self._event = threading.Event()
        self.done = 0

    def request(self) -> None:
        """Stop, please."""
        self._event.set()

    @property
    def wanted(self) -> bool:
        """Whether somebody asked."""
        return self._event.is_set()

    def check(self) -> None:
        """Raise `Interrupted` if somebody asked."""
        if self.wanted:
            raise Interrupted("Cancelled.")


@dataclass(frozen=True, slots=True)
class Errand:
    """`work` runs on the thread; `done` gets its result, `failed` a sentence, on the main thread.

    What was cancelled calls neither.
    """

    work: Callable[[Cancel], Any]
    done: Callable[[Any], None]
    failed: Callable[[str], None]


@dataclass(frozen=True, slots=True, eq=False)
class _Outcome:
    errand: Errand
    cancel: Cancel
    result: Any = None
    sentence: str = ""


class _Signals(QObject):
    outcome = Signal(object)


class _Thread(threading.Thread):
    """A thread of Python's: what nobody caught reaches the crash file."""

    def __init__(self, title: str) -> None:
        super().__init__(name=title)
        self.signals = _Signals()
        self.errands: queue.SimpleQueue[tuple[Errand, Cancel] | None] = queue.SimpleQueue()

    def run(self) -> None:
        """The thread's life."""
        while (item := self.errands.get()) is not None:
            self.signals.outcome.emit(_performed(*item))


def _performed(errand: Errand, cancel: Cancel) -> _Outcome:
    if cancel.wanted:
        return _Outcome(errand, cancel)
    try:
        return _Outcome(errand, cancel, result=errand.work(cancel))
    except Interrupted:
        cancel.request()
        return _Outcome(errand, cancel)
    except (RungbenchError, PilotSignalError) as problem:
        return _Outcome(errand, cancel, sentence=str(problem))
    except OSError as problem:
        reason = problem.strerror or str(problem)
        name = problem.filename or "A file"
        return _Outcome(errand, cancel, sentence=f"{name} cannot be used ({reason}); check it.")


class Errands(QObject):
    """Where errands are given; lives on the main thread.  `close` ends the thread."""

    def __init__(self, title: str, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._thread = _Thread(title)
        self._thread.signals.outcome.connect(self._on_outcome, Qt.ConnectionType.QueuedConnection)
        self._open: set[Cancel] = set()
        self._closed = self._begun = False

    @property
    def busy(self) -> bool:
        """Whether anything is being done or waits."""
        return bool(self._open)

    def start(self, errand: Errand) -> Cancel:
        """Do it after what was given before; the return value cancels it.

        After `close` nothing is done any more.
        """
        cancel = Cancel()
        if self._closed:
            cancel.request()
            return cancel
        if not self._begun:
            self._thread.start()
            self._begun = True
        self._open.add(cancel)
        self._thread.errands.put((errand, cancel))
        return cancel

    def cancel_all(self) -> None:
        """Whatever waits is not done, and what is being done is asked to stop."""
        for cancel in self._open:
            cancel.request()

    def close(self) -> None:
        """Cancel everything and end the thread."""
        self._closed = True
        self.cancel_all()
        self._thread.errands.put(None)
        if self._begun:
            self._thread.join(_END_S)
            if self._thread.is_alive():
                _log.error("the thread %s does not end", self._thread.name)

    @Slot(object)
    def _on_outcome(self, outcome: _Outcome) -> None:
        self._open.discard(outcome.cancel)
        if outcome.cancel.wanted:
            return
        if outcome.sentence:
            outcome.errand.failed(outcome.sentence)
        else:
            outcome.errand.done(outcome.result)
