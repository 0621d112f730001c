"""Start and end of the windows."""

import sys
from collections.abc import Callable
from typing import Final

from PySide6.QtCore import QObject, Qt, QTimer, Signal
from PySide6.QtWidgets import QApplication

from pilotsignal.standard import Profile
from rungbench import __version__
from rungbench.desktop.crash import catch_crashes
from rungbench.desktop.preferences import Preferences
from rungbench.desktop.screen import require_screen
from rungbench.desktop.theme import Theme
from rungbench.desktop.window import MainWindow
from rungbench.desktop.worker import BenchWorker
from rungbench.errors import ExitStatus, Interrupted
from rungbench.qualify.stop import Stop, on_ctrl_c

_LOOK_MS: Final = 200
_SWITCH_S: Final = 0.0005


class _Crier(QObject):
    """Carries a sentence from any thread to the window."""

    cry = Signal(str)


class Desktop:
    """The program's parts while the window is open; tests make it without `run_desktop`."""

    def __init__(self, profile: Profile, preferences: Preferences | None = None) -> None:
        # A thread that measures would keep the window waiting for 5 ms at every call of Qt.
        sys.setswitchinterval(_SWITCH_S)
        self.preferences = preferences or Preferences()
        self.theme = Theme(self.preferences)
        self.theme.apply()
        self.worker = BenchWorker()
        self.window = MainWindow(self.worker, self.preferences, self.theme, profile)
        self._crier = _Crier()
        self._crier.cry.connect(self.window.alarm.shout, Qt.ConnectionType.QueuedConnection)
        self.cry: Callable[[str], None] = self._crier.cry.emit

    def open(self, url: str) -> None:
        """Show the window, then use the bench at `url`; empty: none."""
        self.window.show()
        self.worker.begin()
        self.window.go("Live")
        if url:
            QTimer.singleShot(0, lambda: self.worker.connect_bench(url))
        if self.preferences.trouble:
            self.window.sentence.say(self.preferences.trouble)

    def close(self) -> None:
        """Ask for the end; the window goes when the bench is on open."""
        self.window.close()


def run_desktop(url: str, profile: Profile) -> ExitStatus:
    """Open the window and return when it is closed.

    Ctrl-C in the terminal closes it like its own cross.

    Raises
    ------
    RungbenchError : there is no screen.
    """
    if QApplication.instance() is None:
        require_screen()
    app = QApplication.instance() or QApplication(sys.argv[:1])
    assert isinstance(app, QApplication)
    app.setApplicationName("Rungbench")
    app.setApplicationVersion(__version__)
    app.setQuitOnLastWindowClosed(False)
    desktop = Desktop(profile)
    desktop.window.closed.connect(app.quit)
    undo = catch_crashes(desktop.cry)
    stop = Stop()
    # Python sees signals only while it runs, so it is woken now and then.
    timer = QTimer()
    timer.timeout.connect(lambda: _close_if(stop, desktop))
    timer.start(_LOOK_MS)
    try:
        with on_ctrl_c(stop):
            desktop.open(url)
            app.exec()
    finally:
        desktop.worker.end()
        ended = desktop.worker.wait_for_end()
        desktop.window.close_views()  # also where the screen went away under the window
        undo()
    return ExitStatus.DONE if ended else ExitStatus.BENCH_FAULT


def _close_if(stop: Stop, desktop: Desktop) -> None:
    try:
        stop.check()
    except Interrupted:
        stop.clear()
        desktop.close()
