"""The main window: a column of views, the head with arming, alarms and sentences."""

import importlib
import importlib.util
from dataclasses import dataclass
from typing import Any, Final

from PySide6.QtCore import QEvent, QSize, Qt, Signal, Slot
from PySide6.QtGui import QCloseEvent, QKeySequence, QShortcut
from PySide6.QtWidgets import (
    QApplication,
    QHBoxLayout,
    QMainWindow,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from pilotsignal.standard import Profile
from rungbench.desktop.arm_bar import ArmBar
from rungbench.desktop.cautions import Cautions, CautionsPage
from rungbench.desktop.notes import AlarmBar, Head, Sentence
from rungbench.desktop.preferences import Preferences
from rungbench.desktop.room import Room, View
from rungbench.desktop.run_flow import Pages
from rungbench.desktop.side import Side, framed
from rungbench.desktop.snapshots import LinkState, Snapshot
from rungbench.desktop.theme import SCALES, Theme
from rungbench.desktop.worker import BenchWorker

_PACKAGE: Final = "rungbench.desktop"


@dataclass(frozen=True, slots=True)
class ViewEntry:
    """One view of the window: its name, its keys, and where its class is."""

    name: str
    keys: str
    module: str
    cls: str

    @property
    def present(self) -> bool:
        """Whether its module is there."""
        return importlib.util.find_spec(f"{_PACKAGE}.{self.module}") is not None


VIEWS: Final = (
    ViewEntry("Live", "Ctrl+1", "live", "LiveView"),
    ViewEntry("Run", "Ctrl+2", "run_view", "RunView"),
    ViewEntry("Records", "Ctrl+3", "records_view", "RecordsView"),
    ViewEntry("Lots", "Ctrl+4", "lots_view", "LotsView"),
    ViewEntry("Bench", "Ctrl+5", "bench_view", "BenchView"),
    ViewEntry("Help", "F1", "help_view", "HelpView"),
)


class MainWindow(QMainWindow):
    """One window; it ends the worker before it closes, so that the rung is open."""

    closed = Signal()
    leaving = Signal()

    def __init__(
        self, worker: BenchWorker, preferences: Preferences, theme: Theme, profile: Profile
    ) -> None:
        super().__init__()
        self.setWindowTitle("Rungbench")
        self._worker, self._preferences, self._theme = worker, preferences, theme
        self.cautions = Cautions()
        self._entries = [entry for entry in VIEWS if entry.present]
        self._views: dict[str, View] = {}
        self._frames: dict[str, QScrollArea] = {}
        self._front = ""
        self._ending = False
        self._build()
        self.room = Room(
            worker,
            preferences,
            theme,
            self.cautions,
            self.sentence.say,
            self.alarm.shout,
            self.go,
            profile,
            self.hand,
        )
        self._wire()
        self._shortcuts()
        theme.changed.connect(self._restyle)
        self._restyle()
        self._restore()

    # Widgets ----------------------------------------------------------------------------------

    def _build(self) -> None:
        theme = self._theme
        self.side = Side(theme, [entry.name for entry in self._entries])
        self.column, self.simulated = self.side.views, self.side.simulated
        self.head, self.arm = Head(), ArmBar(theme)
        self.alarm, self.sentence = AlarmBar(), Sentence()
        self._stack = Pages()
        self._cautions_page = CautionsPage(self.cautions, theme)
        self._stack.addWidget(self._cautions_page)
        top = QHBoxLayout()
        top.addWidget(self.head, 2)
        top.addWidget(self.arm, 5)
        self._right = right = QVBoxLayout()
        right.addWidget(self.alarm)
        right.addLayout(top)
        right.addWidget(self._stack, 1)
        right.addWidget(self.sentence)
        page = QWidget()
        page.setObjectName("page")
        whole = QHBoxLayout(page)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.setSpacing(0)
        whole.addWidget(self.side)
        whole.addLayout(right, 1)
        self.setCentralWidget(page)

    def _wire(self) -> None:
        worker = self._worker
        worker.snapshot.connect(self._on_snapshot)
        worker.link.connect(self._on_link)
        worker.refused.connect(self.sentence.say)
        worker.silent.connect(self.head.show_silence)
        worker.ended.connect(self._on_ended)
        self.leaving.connect(self.close, Qt.ConnectionType.QueuedConnection)
        self.side.look.connect(self._next_look)
        self.arm.arm.connect(self._arm)
        self.arm.back.connect(worker.open)
        self.alarm.noted.connect(worker.note_alarm)
        self.column.currentRowChanged.connect(self._go_row)
        self.cautions.asked.connect(self._ask_cautions)
        self.cautions.settled.connect(self._cautions_settled)

    def _shortcuts(self) -> None:
        everywhere = Qt.ShortcutContext.ApplicationShortcut
        for keys, act in (
            ("Escape", self._escape),
            ("Ctrl+F9", self._arm_key),
            ("Ctrl+F10", self.alarm.note),
            ("Ctrl++", lambda: self._zoom(1)),
            ("Ctrl+=", lambda: self._zoom(1)),
            ("Ctrl+-", lambda: self._zoom(-1)),
            ("Ctrl+L", self._next_look),
        ):
            shortcut = QShortcut(QKeySequence(keys), self)
            shortcut.setContext(everywhere)
            shortcut.setAutoRepeat(False)
            shortcut.activated.connect(act)
        for entry in self._entries:
            shortcut = QShortcut(QKeySequence(entry.keys), self)
            shortcut.activated.connect(lambda name=entry.name: self.go(name))

    def _restyle(self) -> None:
        wide, high = self._theme.px(10), self._theme.px(6)
        self._right.setContentsMargins(wide, high, wide, high)

    # Views ------------------------------------------------------------------------------------

    def go(self, name: str) -> None:
        """Bring a view to the front, making it first if need be."""
        names = [entry.name for entry in self._entries]
        if name not in names or self._ending:
            return
        if self._front and self._front != name:
            self._views[self._front].hidden()
            # What was said was said of that view, unless it is about the link.
            self.sentence.say(self._worker.link_now.sentence)
        view = self._views.get(name) or self._make(self._entries[names.index(name)])
        self._stack.setCurrentWidget(self._frames[name])
        self._front = name
        self.column.blockSignals(True)
        self.column.setCurrentRow(names.index(name))
        self.column.blockSignals(False)
        view.shown()

    def hand(self, name: str, what: object) -> None:
        """Bring a view to the front and hand it something; see `handing`."""
        self.go(name)
        take = getattr(self._views.get(name), "take", None)
        if take is not None:
            take(what)

    def view(self, name: str) -> Any:
        """A view that was made already."""
        return self._views[name]

    def _make(self, entry: ViewEntry) -> View:
        module = importlib.import_module(f"{_PACKAGE}.{entry.module}")
        made: View = getattr(module, entry.cls)(self.room)
        self._views[entry.name] = made
        made.widget.setAccessibleName(entry.name)
        frame = self._frames[entry.name] = framed(made.widget)
        self._stack.addWidget(frame)
        return made

    def _go_row(self, row: int) -> None:
        if 0 <= row < len(self._entries):
            self.go(self._entries[row].name)

    # The bench --------------------------------------------------------------------------------

    @Slot(object)
    def _on_snapshot(self, snapshot: Snapshot) -> None:
        self.arm.show_snapshot(snapshot)
        if snapshot.alarm:
            self.alarm.shout(snapshot.alarm)

    @Slot(object)
    def _on_link(self, link: LinkState) -> None:
        self.head.show_link(link)
        self.cautions.simulated = link.simulated
        self.simulated.setVisible(link.simulated)
        if not link.up:
            self.arm.show_snapshot(None)
            if link.sentence:
                self.sentence.say(link.sentence)
        else:
            self.sentence.say("")

    def _escape(self) -> None:
        self._worker.open()
        if self._stack.currentWidget() is self._cautions_page:
            self.cautions.settle(read=False)

    def _arm_key(self) -> None:
        if self._stack.currentWidget() is self._cautions_page:
            self._cautions_page.confirm_key()
        else:
            self._arm()

    def _arm(self) -> None:
        """Arm for the next setting; a view with an `arm` of its own arms for what it does."""
        front = self._views.get(self._front)
        own = getattr(front, "arm", None)
        if own is not None:
            own()
        else:
            self.cautions.confirmed(self._worker.arm)

    def _ask_cautions(self) -> None:
        self._stack.setCurrentWidget(self._cautions_page)
        self._cautions_page.ask()

    def _cautions_settled(self) -> None:
        if self._front:
            self._stack.setCurrentWidget(self._frames[self._front])
            self._views[self._front].shown()

    # Looks ------------------------------------------------------------------------------------

    def _zoom(self, step: int) -> None:
        place = min(range(len(SCALES)), key=lambda one: abs(SCALES[one] - self._theme.scale))
        place = min(len(SCALES) - 1, max(0, place + step))
        self._theme.set(scale=SCALES[place])

    def _next_look(self) -> None:
        self._theme.set(look="light" if self._theme.dark else "dark")

    def changeEvent(self, event: QEvent) -> None:
        """A hidden window repaints nothing."""
        if event.type() == QEvent.Type.WindowStateChange and self._front:
            view = self._views[self._front]
            (view.hidden if self.isMinimized() else view.shown)()
        super().changeEvent(event)

    # The end ----------------------------------------------------------------------------------

    def _restore(self) -> None:
        get = self._preferences.get
        size = QSize(get("window", "width", 1200), get("window", "height", 800))
        screen = QApplication.primaryScreen()
        self.resize(size.boundedTo(screen.availableSize()))
        if get("window", "maximised", False):
            self.setWindowState(Qt.WindowState.WindowMaximized)

    def closeEvent(self, event: QCloseEvent) -> None:
        """Open first: the window goes when the outlet was watched; closing twice does without."""
        if not self._worker.running:
            self.close_views()
            event.accept()
            self.closed.emit()
            return
        event.ignore()
        self._ending_begins()
        self._worker.end()

    def _ending_begins(self) -> None:
        if self._ending:
            return
        self._ending = True
        snapshot = self._worker.snapshot_now
        if snapshot is not None and snapshot.energised:
            self.sentence.say("Going to open and watching the outlet; then the window closes.")
        size = self.normalGeometry().size() if self.isMaximized() else self.size()
        self._preferences.put("window", "width", size.width())
        self._preferences.put("window", "height", size.height())
        self._preferences.put("window", "maximised", self.isMaximized())
        self._preferences.save()

    def close_views(self) -> None:
        """End the threads of all views."""
        for view in self._views.values():
            view.close()
        self._views.clear()
        self._frames.clear()
        self._front = ""

    @Slot()
    def _on_ended(self) -> None:
        if not self._ending:
            self.arm.show_snapshot(None)
            self.alarm.shout("The thread of the bench has ended; the board goes open by itself.")
            return
        snapshot = self._worker.snapshot_now
        if snapshot is not None and snapshot.alarm and not self.alarm.was_noted:
            # Nobody must miss it because the window went away.
            self.alarm.shout(snapshot.alarm)
            self.sentence.say("The window closes when the alarm was noted.")
            self.alarm.noted.connect(self.close)
            return
        self.leaving.emit()
