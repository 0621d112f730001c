"""A window on a simulated bench, for tests: opened, looked at, closed with its threads."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from pytestqt.qtbot import QtBot

from pilotsignal.standard import load_profile
from rungbench.desktop.app import Desktop
from rungbench.desktop.snapshots import Snapshot
from rungbench.desktop.window import MainWindow
from rungbench.desktop.worker import BenchWorker
from rungbench.link.words import Rung

FAST = "sim://sound?speed=4"
LONG_MS = 30_000


@dataclass
class Stage:
    """What a test looks at."""

    bot: QtBot
    desktop: Desktop

    @property
    def window(self) -> MainWindow:
        return self.desktop.window

    @property
    def worker(self) -> BenchWorker:
        return self.desktop.worker

    @property
    def live(self) -> Any:
        return self.window.view("Live")

    @property
    def said(self) -> str:
        """The sentence in place."""
        return self.window.sentence.text()

    def until(self, reached: Callable[[], object]) -> None:
        """Wait for it."""
        self.bot.waitUntil(lambda: bool(reached()), timeout=LONG_MS)

    def until_snapshot(self, reached: Callable[[Snapshot], object]) -> None:
        """Wait for a snapshot of which it holds."""
        self.until(
            lambda: self.worker.snapshot_now is not None and reached(self.worker.snapshot_now)
        )

    def until_rung(self, rung: Rung) -> None:
        """Wait until the board reports it."""
        self.until_snapshot(lambda snapshot: snapshot.setting.rung is rung)

    def confirm_cautions(self) -> None:
        """As if they had been confirmed before."""
        self.window.cautions.read = True


@contextmanager
def staged(bot: QtBot, url: str = FAST) -> Iterator[Stage]:
    """Open the window; close it at the end without the watch of the outlet."""
    desktop = Desktop(load_profile())
    stage = Stage(bot, desktop)
    desktop.open(url)
    try:
        if url:
            stage.until_snapshot(lambda _snapshot: True)
        yield stage
    finally:
        desktop.worker.end()
        desktop.close()
        desktop.worker.end()
        bot.waitUntil(lambda: not desktop.worker.running, timeout=LONG_MS)
        desktop.window.alarm.was_noted = True
        bot.wait(10)
        desktop.window.close()
        bot.waitUntil(lambda: not desktop.window.isVisible(), timeout=LONG_MS)
        assert desktop.worker.wait_for_end()
        desktop.window.deleteLater()
        bot.wait(1)
