"""The Records view: look for records, open, compare, judge again, export."""

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any, Final

from PySide6.QtCore import QObject, Qt, Slot
from PySide6.QtGui import QKeySequence, QShortcut
from PySide6.QtWidgets import QFileDialog, QStackedWidget, QVBoxLayout, QWidget

from rungbench.archive.record import CheckResult
from rungbench.archive.store import Archive
from rungbench.desktop.errands import Cancel, Errand, Errands
from rungbench.desktop.handing import OpenRecord
from rungbench.desktop.handing import explain as ask_help
from rungbench.desktop.records_compare import compare
from rungbench.desktop.records_compare_page import Compared, ComparePage
from rungbench.desktop.records_detail import Opened, RecordPage
from rungbench.desktop.records_export import Exported, export_fitting, export_ids
from rungbench.desktop.records_judge import Asked, judged_again, own_name
from rungbench.desktop.records_judge_band import JudgeBand
from rungbench.desktop.records_list import RecordsList
from rungbench.desktop.records_pages import Page, Turn, page
from rungbench.desktop.records_source import Source
from rungbench.desktop.records_traces import trace_of_check, traces_of
from rungbench.desktop.room import Room
from rungbench.desktop.run_flow import FlowLayout
from rungbench.desktop.run_labels import PlainLabel, button
from rungbench.desktop.side import into_sight
from rungbench.desktop.snapshots import LinkState
from rungbench.qualify.findings import explain

_MOST_COMPARED: Final = 4
_FILES: Final = "Table (*.csv);;Everything (*.json);;Inspection report (*.pdf)"


class RecordsView(QObject):
    """The view; see the package's docstring."""

    name = "Records"

    def __init__(self, room: Room) -> None:
        super().__init__()
        self.room = room
        self.source = Source()
        self.found = Page()
        self.errands = Errands("records", self)
        self.exports = Errands("export", self)
        self._asked: Cancel | None = None
        self._page = QWidget()
        self._page.setObjectName("page")
        self.list = RecordsList(room.theme)
        self.detail = RecordPage(room.theme)
        self.compared = ComparePage(room.theme)
        self.pages = QStackedWidget()
        self.sentence = PlainLabel(room.theme, bold=True)
        self.judge = JudgeBand(room.theme)
        self._lay_out()
        self._wire()
        self._on_link(room.worker.link_now)

    @property
    def widget(self) -> QWidget:
        """What fills the window."""
        return self._page

    def shown(self) -> None:
        """Look again: there may be new records."""
        if self.pages.currentWidget() is self.list:
            self.turn(Turn.FIRST)
            self.list.text.setFocus()

    def take(self, what: object) -> None:
        """Another view hands over a record to open."""
        if isinstance(what, OpenRecord):
            self.source.simulated, self.source.chosen = what.simulated, True
            self.open(what.run_id)

    def hidden(self) -> None:
        """Nothing is painted."""

    def close(self) -> None:
        """End both threads and let go of the archives."""
        self.errands.close()
        self.exports.close()
        self.source.close()

    def _lay_out(self) -> None:
        for one in (self.list, self.detail, self.compared):
            self.pages.addWidget(one)
        acts: tuple[tuple[str, str, Callable[[], None]], ...] = (
            ("Back to the list", "Alt+Left", self.back),
            ("Next part", "F6", self.detail.next_tab),
            ("Compare marked", "F7", self.compare_marked),
            ("Judge again", "F8", self.judge_again),
            ("Export all that fit", "F12", self.ask_export),
            ("Cancel", "F10", self.cancel),
        )
        foot = FlowLayout(self.room.theme.px(6))
        self.buttons = {}
        for text, keys, act in acts:
            self.buttons[text] = button(f"{text}  ({keys})", act)
            foot.addWidget(self.buttons[text])
            self._bind(keys, act)
        self._bind("Ctrl+F", self.look)
        self._bind("F5", partial(self.turn, Turn.FIRST))
        whole = QVBoxLayout(self._page)
        whole.setContentsMargins(0, self.room.theme.px(8), 0, 0)
        whole.addWidget(self.sentence)
        whole.addWidget(self.judge)
        whole.addWidget(self.pages, 1)
        whole.addLayout(foot)
        self._refresh()

    def _bind(self, keys: str, act: Callable[[], None]) -> None:
        shortcut = QShortcut(QKeySequence(keys), self._page)
        shortcut.setContext(Qt.ShortcutContext.WidgetWithChildrenShortcut)
        shortcut.activated.connect(act)

    def _wire(self) -> None:
        self.list.wanted_changed.connect(partial(self.turn, Turn.FIRST))
        self.list.archive_chosen.connect(self.choose_archive)
        self.list.table.turned.connect(self.turn)
        self.list.table.opened.connect(self.open)
        self.list.table.marks.connect(self._refresh)
        self.detail.wants_trace.connect(self._read_trace)
        self.detail.table.asked.connect(lambda check, said: ask_help(self.room, check, said))
        self.judge.asked.connect(self._judge)
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
        self.list.table.runs.marked.clear()
        self.turn(Turn.FIRST)

    def look(self) -> None:
        """To the field for serials."""
        self.back()
        self.list.text.setFocus()
        self.list.text.selectAll()

    def turn(self, turn: Turn) -> None:
        """Another page; a question that is still open is dropped for it."""
        if self._asked is not None:
            self._asked.request()
        wanted, now = self.list.wanted, self.found
        simulated = self.source.simulated

        def work(_cancel: Cancel) -> Page:
            archive = self.source.archive(simulated)
            return Page() if archive is None else page(archive, wanted, turn, now)

        self._asked = self._errand(work, self._show_page)

    def _show_page(self, found: Page) -> None:
        self.found = found
        self._say("")
        self.list.show_page(found, simulated=self.source.simulated)
        self._refresh()

    # One record ---------------------------------------------------------------------------------

    def open(self, run_id: str) -> None:
        """Open a record."""

        def work(_cancel: Cancel) -> Opened:
            record = self._archive().load(run_id)
            return Opened(record, explain(record))

        self._errand(work, self._show_record)

    def _show_record(self, opened: Opened) -> None:
        self._say("")
        self.pages.setCurrentWidget(self.detail)
        self.detail.show_record(opened)
        self.detail.table.setFocus()
        self._refresh()

    def back(self) -> None:
        """To the list."""
        self.judge.hide()
        self.pages.setCurrentWidget(self.list)
        self.list.table.setFocus()
        self._refresh()

    def _read_trace(self, result: CheckResult) -> None:
        opened = self.detail.opened
        if opened is None:
            return

        def work(_cancel: Cancel) -> Any:
            return trace_of_check(result, opened.record, self._archive().load_capture)

        self._errand(work, partial(self.detail.show_trace, result))

    def compare_marked(self) -> None:
        """Put the marked records side by side."""
        ids = list(self.list.table.runs.marked)
        if not 2 <= len(ids) <= _MOST_COMPARED:
            self._say(f"Mark two to {_MOST_COMPARED} records with Space, then compare them.")
            return

        def work(cancel: Cancel) -> Compared:
            archive, records = self._archive(), []
            for one in ids:
                cancel.check()
                records.append(archive.load(one))
            traces = tuple(traces_of(one, archive.load_capture) for one in records)
            cancel.check()
            return Compared(tuple(records), compare(records), traces)

        self._errand(work, self._show_compared)

    def _show_compared(self, compared: Compared) -> None:
        self._say("")
        self.compared.show_compared(compared)
        self.pages.setCurrentWidget(self.compared)
        self.compared.table.setFocus()
        self._refresh()

    def judge_again(self) -> None:
        """Ask by what the open record is judged again, or leave it."""
        opened = self.detail.opened
        if opened is None or self.pages.currentWidget() is not self.detail:
            return
        if self.judge.isVisible():
            self.judge.hide()
            self.detail.table.setFocus()
        else:
            self.judge.ask(own_name(opened.record))
            into_sight(self.judge)

    def _judge(self, asked: Asked) -> None:
        opened = self.detail.opened
        if opened is None:
            return
        run_id = opened.record.run_id

        def work(_cancel: Cancel) -> Opened:
            record = judged_again(self._archive(), run_id, asked)
            return Opened(record, explain(record))

        self._errand(work, self._judged)

    def _judged(self, opened: Opened) -> None:
        self._show_record(opened)
        self._say(f"Record {opened.record.run_id} was made; the one that it came from is kept.")

    # Export -------------------------------------------------------------------------------------

    def ask_export(self) -> None:
        """Ask for a file, then export."""
        name, _ = QFileDialog.getSaveFileName(self._page, "Export", "records.csv", _FILES)
        if name:
            self.export(Path(name))

    def export(self, file: Path) -> None:
        """What is open, else what is marked, else all that fit, to a file by its ending."""
        ids = self._exported_ids()
        wanted = self.list.wanted

        def work(cancel: Cancel) -> Exported:
            archive = self._archive()
            if ids:
                return export_ids(archive, ids, file, cancel)
            return export_fitting(archive, wanted.search(), file, cancel)

        self._say(f"Writing {file}; F10 cancels.")
        self.exports.start(Errand(work, self._exported, self._failed))
        self._refresh()

    def _exported_ids(self) -> list[str]:
        opened = self.detail.opened
        if self.pages.currentWidget() is self.detail and opened is not None:
            return [opened.record.run_id]
        return list(self.list.table.runs.marked)

    def _exported(self, exported: Exported) -> None:
        runs = "1 record" if exported.runs == 1 else f"{exported.runs} records"
        self._say(f"{runs} in {exported.file}.")
        self._refresh()

    def cancel(self) -> None:
        """Whatever is being written is left; nothing of it stays."""
        if self.exports.busy:
            self.exports.cancel_all()
            self._say("Cancelled; nothing was written.")

    # Errands ------------------------------------------------------------------------------------

    def _archive(self) -> Archive:
        return self.source.require(self.source.simulated)

    def _errand(self, work: Callable[[Cancel], Any], done: Callable[[Any], None]) -> Cancel:
        return self.errands.start(Errand(work, done, self._failed))

    def _failed(self, sentence: str) -> None:
        self._say(sentence)
        self._refresh()

    def _say(self, sentence: str) -> None:
        self.sentence.setText(sentence)
        self.sentence.setVisible(bool(sentence))

    def _refresh(self) -> None:
        here = self.pages.currentWidget()
        self.buttons["Back to the list"].setEnabled(here is not self.list)
        self.buttons["Next part"].setEnabled(here is self.detail)
        self.buttons["Judge again"].setEnabled(here is self.detail)
        marked = len(self.list.table.runs.marked)
        what = f"{marked} marked" if marked else "all that fit"
        what = "this record" if here is self.detail else what
        self.buttons["Export all that fit"].setText(f"Export {what}  (F12)")
        self.buttons["Compare marked"].setText(f"Compare {marked} marked  (F7)")
        self.buttons["Compare marked"].setEnabled(2 <= marked <= _MOST_COMPARED)
        self.buttons["Cancel"].setEnabled(self.exports.busy)
