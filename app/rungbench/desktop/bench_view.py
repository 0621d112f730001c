"""Bench: ports and board, calibration, self-check, resistors: a page each."""

from dataclasses import replace
from typing import Any, Final

from PySide6.QtCore import QEvent, QObject, Qt, QTimer, Slot
from PySide6.QtGui import QKeyEvent, QKeySequence, QShortcut
from PySide6.QtWidgets import QApplication, QScrollArea, QTabWidget, QWidget

from rungbench.desktop.bench_board import BoardPage
from rungbench.desktop.bench_calibration import CalibrationPage
from rungbench.desktop.bench_check import TITLE, CheckPage, extent_for, self_check
from rungbench.desktop.bench_dialogue import BROKEN_OFF, Dialogue, Wish
from rungbench.desktop.bench_model import find_places
from rungbench.desktop.room import Room
from rungbench.desktop.snapshots import JobEnd, LinkState, Snapshot
from rungbench.errors import RungbenchError
from rungbench.settings import load_settings

_REPAINT_MS: Final = 500
_NO_KEYS: Final = 175  # percent
_PAGES: Final = ("Board", "Calibration", "Self-check", "Resistors")


def _scrolled(page: QWidget) -> QScrollArea:
    """A page that scrolls where the window is smaller than it."""
    if isinstance(page, QScrollArea):
        return page
    scroll = QScrollArea()
    scroll.setWidgetResizable(True)
    scroll.setFrameShape(QScrollArea.Shape.NoFrame)
    page.setObjectName("page")
    scroll.setWidget(page)
    return scroll


class BenchView(QObject):
    """The view; it only listens to the bench but for what somebody starts here."""

    name = "Bench"

    def __init__(self, room: Room) -> None:
        super().__init__()
        self._room = room
        self._snapshot: Snapshot | None = None
        self._wish: Wish | None = None
        self._url = ""
        self._shown = False
        self.dialogue = Dialogue(self)
        self._build()
        self._wire()
        self._timer = QTimer(self)
        self._timer.setInterval(_REPAINT_MS)
        self._timer.timeout.connect(self._draw)
        self._on_link(room.worker.link_now)

    def _build(self) -> None:
        # Late: the resistors need scipy, and only this view does.
        from rungbench.desktop.resistors_page import ResistorsPage

        theme = self._room.theme
        self.board = BoardPage(theme, find_places)
        self.calibration = CalibrationPage(theme)
        self.check = CheckPage(theme)
        self.resistors = ResistorsPage(theme, self._room.profile, self._room.say)
        self.tabs = QTabWidget()
        self.tabs.setDocumentMode(True)
        self.tabs.setAccessibleName("Pages of the bench")
        pages = (self.board, self.calibration, self.check, self.resistors)
        for number, (title, page) in enumerate(zip(_PAGES, pages, strict=True), start=1):
            self.tabs.addTab(_scrolled(page), title)
            keys = QShortcut(QKeySequence(f"Alt+{number}"), self.tabs)
            keys.activated.connect(lambda place=number - 1: self.tabs.setCurrentIndex(place))
        self.tabs.currentChanged.connect(self._turned)
        theme.changed.connect(self._name_tabs)
        self._name_tabs()

    def _name_tabs(self) -> None:
        """With their keys, which large letters leave no room for."""
        small = self._room.theme.scale < _NO_KEYS
        for place, title in enumerate(_PAGES):
            keys = f"Alt+{place + 1}"
            self.tabs.setTabText(place, f"{title} ({keys})" if small else title)
            self.tabs.setTabToolTip(place, keys)

    def _wire(self) -> None:
        worker = self._room.worker
        worker.snapshot.connect(self._on_snapshot)
        worker.link.connect(self._on_link)
        worker.told.connect(self._on_told)
        worker.job_ended.connect(self._on_job_ended)
        self.board.chosen.connect(self._choose)
        self.board.leave.connect(self._leave)
        self.check.start.connect(self._start_check)
        self.calibration.start.connect(self._start_calibration)
        self.calibration.answered.connect(self.dialogue.answer)
        self.calibration.broken_off.connect(self._break_off)
        self.dialogue.asked.connect(self.calibration.ask)
        self.dialogue.said.connect(self.calibration.tell)
        self.dialogue.made.connect(self._on_made)
        self.dialogue.ended.connect(self._on_calibrated)

    # As a view --------------------------------------------------------------------------------

    @property
    def widget(self) -> QWidget:
        """What fills the window."""
        return self.tabs

    def shown(self) -> None:
        """Draw from now on."""
        self._shown = True
        self._timer.start()
        self._turned(self.tabs.currentIndex())
        self._draw()

    def hidden(self) -> None:
        """Draw nothing; what was started goes on."""
        self._shown = False
        self._timer.stop()

    def close(self) -> None:
        """The program ends."""
        self._timer.stop()
        self._watch_escape(on=False)
        self.dialogue.close()
        self.resistors.close_errands()

    def _turned(self, place: int) -> None:
        if not self._shown:
            return
        match _PAGES[place]:
            case "Board":
                self.board.look_again()
                self.board.places.setFocus()
            case "Calibration":
                self.calibration.look_again()
            case "Resistors":
                self.resistors.shown()
            case _:
                self.check.begin.setFocus()

    # The bench --------------------------------------------------------------------------------

    @Slot(object)
    def _on_snapshot(self, snapshot: Snapshot) -> None:
        self._snapshot = snapshot
        self.board.show_snapshot(snapshot, draw=False)

    @Slot(object)
    def _on_link(self, link: LinkState) -> None:
        self._snapshot = None
        self.board.show_link(link)
        self.calibration.show_link(link)
        wish, waits = self._wish, not link.url
        if wish is not None and waits:
            self._wish = None
            self.dialogue.start(wish)

    @Slot()
    def _draw(self) -> None:
        if self._shown and self._snapshot is not None:
            shown = replace(self._snapshot, sampled=None)
            self.board.show_snapshot(shown, draw=True)

    def _choose(self, url: str) -> None:
        if self._busy():
            return
        self._room.say("")
        self._room.worker.connect_bench(url)

    def _leave(self) -> None:
        if not self._busy():
            self._room.worker.disconnect_bench()

    def _busy(self) -> bool:
        """Whether somebody has the bench; says so."""
        snapshot = self._room.worker.snapshot_now
        if self.dialogue.running or self._wish is not None:
            self._room.say("A calibration is in progress; break it off with Esc first.")
        elif snapshot is not None and snapshot.job:
            self._room.say(f"{snapshot.job} has the bench; stop it with Esc first.")
        else:
            return False
        return True

    # Self-check -------------------------------------------------------------------------------

    def _start_check(self, clock_s: float) -> None:
        link = self._room.worker.link_now
        if self._busy():
            return
        if not link.up:
            self._room.say("There is no bench to check; connect one on the page Board.")
            return
        self.check.began()
        self._room.worker.start(self_check(extent_for(link.url, clock_s)))

    @Slot(object)
    def _on_told(self, told: Any) -> None:
        self.check.take(told)

    @Slot(object)
    def _on_job_ended(self, end: JobEnd) -> None:
        if end.title == TITLE:
            self.check.ended(end)
            self._room.say(end.sentence)

    # Calibration ------------------------------------------------------------------------------

    def _start_calibration(self, wish: Wish) -> None:
        if self._busy():
            return
        if not self._room.worker.link_now.up:
            self._room.say("There is no bench to calibrate; connect one on the page Board.")
            return
        if wish.armed:
            self._room.cautions.confirmed(lambda: self._give_bench(wish))
        else:
            self._give_bench(wish)

    def _give_bench(self, wish: Wish) -> None:
        """The port can be open once only: the window gives it back first."""
        try:
            operator = load_settings().settings.operator
        except RungbenchError:
            operator = ""
        self._wish = replace(wish, operator=operator)
        self._url = wish.url
        self.calibration.began()
        self._watch_escape(on=True)
        self._room.worker.disconnect_bench()

    @Slot(object)
    def _on_made(self, _record: Any) -> None:
        self.calibration.look_again()

    @Slot(str)
    def _on_calibrated(self, sentence: str) -> None:
        self._watch_escape(on=False)
        self.calibration.ended(sentence)
        self._room.say(sentence)
        self._room.worker.connect_bench(self._url)

    def _break_off(self) -> None:
        if self._wish is None:
            self.dialogue.break_off()
        else:
            self._wish = None  # the bench was not given back yet
            self._on_calibrated(BROKEN_OFF)

    def _watch_escape(self, *, on: bool) -> None:
        app = QApplication.instance()
        if app is None:
            return
        if on:
            app.installEventFilter(self)
        else:
            app.removeEventFilter(self)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Escape stops a calibration as it stops all else; who has the focus gets it too."""
        if (
            event.type() == QEvent.Type.ShortcutOverride
            and isinstance(event, QKeyEvent)
            and event.key() == Qt.Key.Key_Escape
        ):
            self._break_off()
        return super().eventFilter(watched, event)
