"""What the views of an archive share: its source, threads, the list in pages, errors in place."""

from collections.abc import Callable, Sequence
from functools import partial
from pathlib import Path
from typing import Any, Final

from PySide6.QtCore import QObject, Qt, QTimer, Slot
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QPushButton, QWidget

from rungbench.archive.store import Archive
from rungbench.desktop.errands import Cancel, Errand, Errands
from rungbench.desktop.page_list import PageList, PageTable
from rungbench.desktop.paging import Page, Turn
from rungbench.desktop.records_source import Source
from rungbench.desktop.room import Room
from rungbench.desktop.run_flow import FlowLayout, Pages
from rungbench.desktop.run_labels import PlainLabel, button
from rungbench.desktop.snapshots import LinkState

_LOOK_MS: Final = 200


class ArchiveView(QObject):
    """A list of an archive, and pages for what is opened from it."""

    held_key_repeats = True

    def __init__(self, room: Room, threads: tuple[str, str], found: PageList) -> None:
        """`threads` names the one for reading and the one for files; `found` is the list."""
        super().__init__()
        self.room = room
        self.source = Source()
        self.found: Page[Any] = Page()
        self.errands, self.exports = (Errands(name, self) for name in threads)
        self.pages = Pages()
        self.sentence = PlainLabel(room.theme, bold=True)
        self._asked: Cancel | None = None
        self._written, self._writing = Cancel(), Path()
        self._course = QTimer(self)
        self._course.setInterval(_LOOK_MS)
        self._course.timeout.connect(self._show_course)
        self._found = found
        self._page = QWidget()
        self._page.setObjectName("page")

    @property
    def widget(self) -> QWidget:
        """What fills the window."""
        return self._page

    def hidden(self) -> None:
        """Nothing is painted."""

    def close(self) -> None:
        """End the threads and let go of the archives."""
        self._course.stop()
        self.errands.close()
        self.exports.close()
        self.source.close()

    def back(self) -> None:
        """To the list."""
        raise NotImplementedError

    def open(self, name: str) -> None:
        """Open what a row of the list stands for."""
        raise NotImplementedError

    def reader(self, turn: Turn) -> Callable[[Archive], Page[Any]]:
        """How to read another page of what is looked for now; it is called on another thread."""
        raise NotImplementedError

    def _refresh(self) -> None:
        raise NotImplementedError

    def _foot(self, acts: Sequence[tuple[str, str, Callable[[], None]]]) -> FlowLayout:
        """Buttons with their keys, kept in `buttons`."""
        foot = FlowLayout(self.room.theme.px(6))
        self.buttons: dict[str, QPushButton] = {}
        for text, keys, act in acts:
            self.buttons[text] = button(f"{text}  ({keys})", act)
            foot.addWidget(self.buttons[text])
            self._bind(keys, act)
        return foot

    def _bind(self, keys: str, act: Callable[[], None]) -> None:
        shortcut = QShortcut(QKeySequence(keys), self._page)
        shortcut.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
        shortcut.setAutoRepeat(self.held_key_repeats)
        shortcut.activated.connect(act)

    def _wire_list(self, table: PageTable) -> None:
        self._found.wanted_changed.connect(partial(self.turn, Turn.FIRST))
        self._found.archive_chosen.connect(self.choose_archive)
        table.turned.connect(self.turn)
        table.opened.connect(self.open)
        self.room.worker.link.connect(self._on_link)

    # The list -----------------------------------------------------------------------------------

    @Slot(object)
    def _on_link(self, link: LinkState) -> None:
        """The archive that goes with the bench, until another one is chosen."""
        if link.url and not self.source.chosen:
            self.source.simulated = link.simulated

    def choose_archive(self, simulated: bool) -> None:
        """The real or the demo archive."""
        self.source.simulated, self.source.chosen = simulated, True
        self.turn(Turn.FIRST)

    def look(self) -> None:
        """To the first field of the list."""
        self.back()
        self._found.text.setFocus()
        self._found.text.selectAll()

    def turn(self, turn: Turn) -> None:
        """Another page; a question that is still open is dropped for it."""
        drop(self._asked)
        read, simulated = self.reader(turn), self.source.simulated

        def work(_cancel: Cancel) -> Page[Any]:
            archive = self.source.archive(simulated)
            return Page() if archive is None else read(archive)

        self._asked = self.errands.start(Errand(work, self._show_page, self._not_found))

    def _show_page(self, found: Page[Any]) -> None:
        self.found = found
        self._say("")
        self._found.show_page(found, simulated=self.source.simulated)
        self._refresh()

    def _not_found(self, sentence: str) -> None:
        """The sentence in place, and no rows of before that would pass for what was asked for."""
        self.found = Page()
        self._found.show_page(self.found, simulated=self.source.simulated)
        self._found.about.setText("Nothing is shown.")
        self._told(sentence)

    # Errands ------------------------------------------------------------------------------------

    def _archive(self) -> Archive:
        return self.source.require(self.source.simulated)

    def _errand(self, work: Callable[[Cancel], Any], done: Callable[[Any], None]) -> Cancel:
        return self.errands.start(Errand(work, done, self._told))

    def _write(
        self, file: Path, work: Callable[[Cancel], Any], done: Callable[[Any], None]
    ) -> None:
        """Write a file; it can be cancelled, and nothing of it stays then."""
        self._say(f"Writing {file}; F10 cancels.")
        self._written = self.exports.start(Errand(work, done, self._told))
        self._writing = file
        self._course.start()
        self._refresh()

    def _show_course(self) -> None:
        """How far it is, until it is over."""
        if not self.exports.busy or self._written.wanted:
            self._course.stop()
        elif self._written.done:
            self._say(f"Writing {self._writing}: {self._written.done} so far; F10 cancels.")

    def cancel(self) -> None:
        """Whatever is being written is left; nothing of it stays."""
        if self.exports.busy:
            self.exports.cancel_all()
            self._say("Cancelled; nothing was written.")

    def _told(self, sentence: str) -> None:
        self._say(sentence)
        self._refresh()

    def _say(self, sentence: str) -> None:
        self.sentence.setText(sentence)
        self.sentence.setVisible(bool(sentence))


def drop(cancel: Cancel | None) -> None:
    """Nobody waits for it any more."""
    if cancel is not None:
        cancel.request()
