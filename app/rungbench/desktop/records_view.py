"""The Records view: look for records, open, compare, judge again, export."""

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any, Final

from PySide6.QtWidgets import QFileDialog, QVBoxLayout

from rungbench.archive.record import CheckResult
from rungbench.archive.store import Archive
from rungbench.desktop.archive_view import ArchiveView
from rungbench.desktop.errands import Cancel
from rungbench.desktop.handing import OpenRecord
from rungbench.desktop.handing import explain as ask_help
from rungbench.desktop.paging import Page, Turn
from rungbench.desktop.records_compare import compare
from rungbench.desktop.records_compare_page import Compared, ComparePage
from rungbench.desktop.records_detail import Opened, RecordPage
from rungbench.desktop.records_export import Exported, export_fitting, export_ids
from rungbench.desktop.records_judge import Asked, judged_again, own_name
from rungbench.desktop.records_judge_band import JudgeBand
from rungbench.desktop.records_list import RecordsList
from rungbench.desktop.records_pages import page
from rungbench.desktop.records_traces import trace_of_check, traces_of
from rungbench.desktop.room import Room
from rungbench.desktop.side import into_sight
from rungbench.qualify.findings import explain

_MOST_COMPARED: Final = 4
_FILES: Final = "Table (*.csv);;Everything (*.json);;Inspection report (*.pdf)"


class RecordsView(ArchiveView):
    """The view; see the package's docstring."""

    name = "Records"

    def __init__(self, room: Room) -> None:
        found = RecordsList(room.theme)
        super().__init__(room, ("records", "export"), found)
        self.list = found
        self.detail = RecordPage(room.theme)
        self.compared = ComparePage(room.theme)
        self.judge = JudgeBand(room.theme)
        self._lay_out()
        self._wire()
        self._on_link(room.worker.link_now)

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
        foot = self._foot(acts)
        self._bind("Ctrl+F", self.look)
        self._bind("F5", partial(self.turn, Turn.FIRST))
        whole = QVBoxLayout(self._page)
        whole.setContentsMargins(0, self.room.theme.px(8), 0, 0)
        whole.addWidget(self.sentence)
        whole.addWidget(self.judge)
        whole.addWidget(self.pages, 1)
        whole.addLayout(foot)
        self._refresh()

    def _wire(self) -> None:
        self._wire_list(self.list.table)
        self.list.table.marks.connect(self._refresh)
        self.detail.wants_trace.connect(self._read_trace)
        self.detail.table.asked.connect(lambda check, said: ask_help(self.room, check, said))
        self.judge.asked.connect(self._judge)

    # The list -----------------------------------------------------------------------------------

    def choose_archive(self, simulated: bool) -> None:
        """The real or the demo archive; marks are of one of them."""
        self.list.table.runs.marked.clear()
        super().choose_archive(simulated)

    def reader(self, turn: Turn) -> Callable[[Archive], Page[Any]]:
        """See the class above."""
        wanted, now = self.list.wanted, self.found
        return lambda archive: page(archive, wanted, turn, now)

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

        self._write(file, work, self._exported)

    def _exported_ids(self) -> list[str]:
        opened = self.detail.opened
        if self.pages.currentWidget() is self.detail and opened is not None:
            return [opened.record.run_id]
        return list(self.list.table.runs.marked)

    def _exported(self, exported: Exported) -> None:
        runs = "1 record" if exported.runs == 1 else f"{exported.runs} records"
        self._told(f"{runs} in {exported.file}.")

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
