"""The bench, seen from the window's thread: calls that never wait, and signals that come queued."""

import time
from typing import Final

from PySide6.QtCore import QObject, Qt, QTimer, Signal, Slot

from rungbench.desktop.commands import (
    ArmOnce,
    Connect,
    GoOpen,
    Job,
    NoteAlarm,
    PresentSetting,
    Sample,
)
from rungbench.desktop.runner import RunnerThread
from rungbench.desktop.snapshots import JobEnd, LinkState, Snapshot
from rungbench.link.words import Mode, Setting

SILENT_S: Final = 0.6
"""Without a word from the bench for so long, the window says so."""

_LOOK_MS: Final = 100
_END_S: Final = 15.0


class BenchWorker(QObject):
    """Owns the runner's thread; lives on the main thread.

    `silent` tells how long nothing was heard, in seconds, every 100 ms while that is too long, and
    once 0.0 when it is over.
    """

    snapshot = Signal(object)
    link = Signal(object)
    told = Signal(object)
    job_ended = Signal(object)
    refused = Signal(str)
    silent = Signal(float)
    ended = Signal()

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.snapshot_now: Snapshot | None = None
        self.link_now = LinkState()
        self._heard_s = time.monotonic()
        self._silent = False
        self._over = False
        self._thread = RunnerThread()
        signals, queued = self._thread.signals, Qt.ConnectionType.QueuedConnection
        signals.snapshot.connect(self._on_snapshot, queued)
        signals.link.connect(self._on_link, queued)
        signals.told.connect(self.told, queued)
        signals.job_ended.connect(self._on_job_ended, queued)
        signals.refused.connect(self.refused, queued)
        signals.ended.connect(self._on_ended, queued)
        self._timer = QTimer(self)
        self._timer.setInterval(_LOOK_MS)
        self._timer.timeout.connect(self._look)

    def begin(self) -> None:
        """Start the thread."""
        self._thread.start()
        self._timer.start()

    def connect_bench(self, url: str) -> None:
        """Use this bench; a link that breaks is taken up again when the bench comes back."""
        self._thread.ask(Connect(url))

    def disconnect_bench(self) -> None:
        """Open, and give the port back."""
        self._thread.ask(Connect(""))

    def present(self, setting: Setting) -> None:
        """Present a setting; an energising one is refused unless it was armed for."""
        self._thread.ask(PresentSetting(setting))

    def arm(self) -> None:
        """Let the next setting be an energising one; never call it for a key that scanners send."""
        self._thread.ask(ArmOnce())

    def open(self) -> None:
        """Back to open, at once, whatever is being done; a job is stopped by it."""
        self._thread.ask(GoOpen())

    def sample(self, mode: Mode) -> None:
        """Sample the pilot in another mode while no job does so."""
        self._thread.ask(Sample(mode))

    def note_alarm(self) -> None:
        """Somebody has read the alarm."""
        self._thread.ask(NoteAlarm())

    def start(self, job: Job) -> None:
        """Give the stand-in to a job; `job_ended` tells its end."""
        self._thread.ask(job)

    def end(self) -> None:
        """Open, watched, closed; `ended` follows.  A second call does without the watch."""
        self._thread.end()

    @property
    def running(self) -> bool:
        """Whether the thread still has to do with the bench."""
        return self._thread.is_alive() and not self._over

    def wait_for_end(self) -> bool:
        """Wait for the thread after `end`, at the very end of the program; whether it ended."""
        self._timer.stop()
        if self._thread.is_alive():
            self._thread.join(_END_S)
        return not self._thread.is_alive()

    @Slot(object)
    def _on_snapshot(self, snapshot: Snapshot) -> None:
        self._heard_s = time.monotonic()
        self.snapshot_now = snapshot
        self.snapshot.emit(snapshot)

    @Slot(object)
    def _on_link(self, link: LinkState) -> None:
        self._heard_s = time.monotonic()
        self.link_now = link
        if not link.up:
            self.snapshot_now = None
        self.link.emit(link)

    @Slot(object)
    def _on_job_ended(self, end: JobEnd) -> None:
        self.job_ended.emit(end)

    @Slot()
    def _on_ended(self) -> None:
        self._over = True
        self.ended.emit()

    @Slot()
    def _look(self) -> None:
        self._thread.beat()
        passed_s = time.monotonic() - self._heard_s
        if self.link_now.up and passed_s > SILENT_S:
            self._silent = True
            self.silent.emit(passed_s)
        elif self._silent:
            self._silent = False
            self.silent.emit(0.0)
