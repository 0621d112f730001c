"""The Lots view: look for lots, make one, see where one stands and what its values say."""

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any, Final

from PySide6.QtWidgets import QFileDialog, QVBoxLayout, QWidget

from rungbench.archive.store import Archive
from rungbench.desktop.archive_view import ArchiveView, drop
from rungbench.desktop.errands import Cancel, Errand, Errands
from rungbench.desktop.handing import NextUnit, OpenRecord, ShowShift
from rungbench.desktop.lots_export import export_lot
from rungbench.desktop.lots_list import LotsList
from rungbench.desktop.lots_making import LotMaking
from rungbench.desktop.lots_opened import (
    OpenedLot,
    PlanViews,
    SupplierViews,
    open_lot,
    plan_views,
    quantity_of,
    supplier_views,
)
from rungbench.desktop.lots_page import LotPage
from rungbench.desktop.lots_pages import page
from rungbench.desktop.lots_words import may_come_again
from rungbench.desktop.paging import Page, Turn
from rungbench.desktop.room import Room
from rungbench.desktop.run_fields import AskedLine
from rungbench.lots.decision import LotDecision
from rungbench.lots.lot import Lot, LotState
from rungbench.lots.store import Lots
from rungbench.lots.variables import Variables

_FILES: Final = "Lot report (*.pdf);;Runs of the lot (*.csv);;Everything (*.json)"


class _Still(QWidget):
    """As high as the window is: its tables and charts make do with what there is."""

    def hasHeightForWidth(self) -> bool:
        """Texts that wrap do not make the page longer, the parts below them give way."""
        return False


class LotsView(ArchiveView):
    """The view; see the package's docstring."""

    name = "Lots"
    held_key_repeats = False

    def __init__(self, room: Room) -> None:
        found = LotsList(room.theme)
        super().__init__(room, ("lots", "lot export"), found)
        self.list = found
        self.storing = Errands("lot end", self)
        self._quantity: Cancel | None = None
        self._supplier: Cancel | None = None
        self._shown_supplier = ""
        self.making = LotMaking(room, self.source, self.errands)
        self.form = self.making.form
        self.lot = LotPage(room.theme)
        self.line = AskedLine(room.theme)
        self._lay_out()
        self._wire()
        self._on_link(room.worker.link_now)

    def shown(self) -> None:
        """Look again: there may be new lots and runs."""
        if self.pages.currentWidget() is self.lot and self.lot.state is not None:
            self.open(self.lot.state.lot.name)
        elif self.pages.currentWidget() is self.list:
            self.turn(Turn.FIRST)
            self.list.table.setFocus()

    def close(self) -> None:
        """End all threads and let go of the archives."""
        self.storing.close()
        self.making.close()
        super().close()

    def _lay_out(self) -> None:
        for one in (self.list, self.lot, self.form):
            self.pages.addWidget(one)
        acts: tuple[tuple[str, str, Callable[[], None]], ...] = (
            ("Back to the list", "Alt+Left", self.back),
            ("Test the next unit", "F9", self.test_next),
            ("Make the lot", "F5", self._again_or_make),
            ("New lot", "Ctrl+N", self.new),
            ("Present again", "Ctrl+R", self.present_again),
            ("Next part", "F6", self.lot.next_tab),
            ("Close the lot", "F8", self.ask_close),
            ("Let a record join", "Ctrl+J", self.ask_join),
            ("Export", "F12", self.ask_export),
            ("Shift", "F3", self.show_shift),
            ("Cancel", "F10", self.cancel),
        )
        foot = self._foot(acts)
        others: tuple[tuple[str, Callable[[], None]], ...] = (
            ("Ctrl+F", self.look),
            ("F7", self._more_charts),
            ("Ctrl+O", self._ask_sheet),
            ("Ctrl+I", self._ask_list),
        )
        for keys, act in others:
            self._bind(keys, act)
        inner = _Still()
        outer = QVBoxLayout(self._page)
        outer.setContentsMargins(0, 0, 0, 0)
        outer.addWidget(inner)
        whole = QVBoxLayout(inner)
        whole.setContentsMargins(0, self.room.theme.px(8), 0, 0)
        whole.addWidget(self.sentence)
        whole.addWidget(self.line)
        whole.addWidget(self.pages, 1)
        whole.addLayout(foot)
        self._say("")
        self._refresh()

    def _wire(self) -> None:
        self._wire_list(self.list.table)
        self.list.table.looked.connect(self._refresh)
        self.lot.turned.connect(lambda _: self._part_shown())
        self.lot.values.wanted.connect(self._read_quantity)
        self.lot.values.opened.connect(self._open_record)
        self.lot.units.opened.connect(self._open_record)
        self.lot.supplier.opened.connect(self.open)
        self.lot.supplier.record.connect(self._open_record)
        self.making.ready.connect(self._show_form)
        self.making.made.connect(self._made)
        self.making.failed.connect(self._told)
        self.line.given.connect(self._given)
        self.line.left.connect(self.lot.take_focus)

    # The list -----------------------------------------------------------------------------------

    def reader(self, turn: Turn) -> Callable[[Archive], Page[Any]]:
        """See the class above."""
        wanted, now = self.list.wanted, self.found
        return lambda archive: page(archive, wanted, turn, now)

    def back(self) -> None:
        """To the list."""
        self.line.leave()
        self.making.leave()
        self.pages.setCurrentWidget(self.list)
        self.turn(Turn.FIRST)
        self.list.table.setFocus()
        self._refresh()

    # One lot ------------------------------------------------------------------------------------

    def open(self, name: str) -> None:
        """Open a lot; its plan's risks and the charts follow when they are worked out."""
        drop(self._asked)

        def work(cancel: Cancel) -> OpenedLot:
            return open_lot(self._archive(), name, cancel)

        self._asked = self._errand(work, self._show_lot)

    def _show_lot(self, opened: OpenedLot) -> None:
        self._say("")
        self._shown_supplier = ""
        here = self.pages.currentWidget() is self.lot
        self.pages.setCurrentWidget(self.lot)
        self.lot.show_lot(opened)
        if not here:
            self.lot.take_focus()
        lot = opened.state.lot
        self._errand(lambda _cancel: plan_views(lot.plan), partial(self._show_plan, lot))
        self._part_shown()
        self._refresh()

    def _show_plan(self, lot: Lot, views: PlanViews) -> None:
        if self.lot.state is not None and self.lot.state.lot.number == lot.number:
            self.lot.plan.show_views(lot, views)

    def _read_quantity(self, name: str) -> None:
        drop(self._quantity)
        state = self.lot.state
        if state is None:
            return

        def work(_cancel: Cancel) -> Variables:
            return quantity_of(self._archive(), state, name)

        self._quantity = self._errand(work, self.lot.values.show_quantity)
        self._part_shown()

    def _part_shown(self) -> None:
        """The supplier is looked through only where somebody looks."""
        state = self.lot.state
        if state is None or self.lot.part != "Supplier":
            return
        lot, name, words = state.lot, self.lot.values.name, self.lot.values.words
        if self._shown_supplier == f"{lot.number} {name}":
            return
        drop(self._supplier)

        def work(cancel: Cancel) -> SupplierViews:
            return supplier_views(self._archive(), lot, name, cancel)

        self.lot.supplier.wait(lot.supplier)

        def show(views: SupplierViews) -> None:
            self._shown_supplier = f"{lot.number} {name}"
            self.lot.supplier.show_views(lot, views, words)

        self._supplier = self._errand(work, show)

    def _more_charts(self) -> None:
        """In the part of the lot that is in front."""
        page = self.lot.supplier if self.lot.part == "Supplier" else self.lot.values
        page.charts.next()

    def _open_record(self, run_id: str) -> None:
        """To the record, in its own view."""
        self.room.hand("Records", OpenRecord(run_id, self.source.simulated))

    def show_shift(self) -> None:
        """The summary of the shift."""
        self.room.hand("Run", ShowShift())

    def test_next(self) -> None:
        """To the Run view, with the lot and its sheet chosen."""
        state = self._looked_at
        if state is None:
            self._say("Look at a lot first; its next unit is tested then.")
            return
        if state.next_unit is None:
            self._say("There is no unit to test: the lot is decided or closed.")
            return
        bench = self.room.worker.link_now
        if bench.url and bench.simulated is not state.lot.simulated:
            kind = "simulated runs" if state.lot.simulated else "real chargers"
            self._say(f"Lot {state.lot.name!r} is one of {kind}; connect a bench that fits it.")
            return
        self._say("")
        self.room.hand("Run", NextUnit(state))

    @property
    def _looked_at(self) -> LotState | None:
        if self.pages.currentWidget() is self.lot:
            return self.lot.state
        return self.list.table.current if self.pages.currentWidget() is self.list else None

    # The end of a lot ---------------------------------------------------------------------------

    def ask_close(self) -> None:
        """Ask for the reason; one is needed only to close without a decision."""
        state = self.lot.state
        if state is None or self.pages.currentWidget() is not self.lot:
            return
        if state.end is not None:
            self._say("The lot is closed already.")
            return
        decision = state.standing.decision
        told = f"Close as {decision}. Remarks (may be empty):"
        if decision is LotDecision.OPEN:
            told = "Close without a decision. Reason:"
        self.line.ask("close", told)

    def ask_join(self) -> None:
        """Ask which record of a unit joins the lot."""
        if self.lot.state is not None and self.pages.currentWidget() is self.lot:
            self.line.ask(
                "join", "Record that joins, and if the unit was tested before, why again:"
            )

    def _given(self, purpose: str, text: str) -> None:
        state = self.lot.state
        if state is None:
            return
        lot, operator = state.lot, self.making.operator

        def work(_cancel: Cancel) -> OpenedLot:
            archive = self._archive()
            if purpose == "close":
                Lots(archive).close(lot, text, operator)
            else:
                record, _, reason = text.strip().partition(" ")
                Lots(archive).add(lot, record, reason)
            return open_lot(archive, lot.name, Cancel())

        # Not to be cancelled half way: it would be closed, and nobody told.
        self.storing.start(Errand(work, self._show_lot, self._told))

    # A new lot ----------------------------------------------------------------------------------

    def new(self) -> None:
        """To the form of a new lot."""
        self.making.ask(None)

    def present_again(self) -> None:
        """To the form, with the rejected lot that is presented again."""
        state = self._looked_at
        if state is None or not may_come_again(state):
            self._say("Only a lot that was closed as rejected is presented again, and only once.")
            return
        self.making.ask(state.lot)

    def _show_form(self, sentence: str) -> None:
        self._say(sentence)
        self.pages.setCurrentWidget(self.form)
        self._refresh()

    def _made(self, opened: OpenedLot) -> None:
        self._show_lot(opened)
        lot = opened.state.lot
        self._say(f"Lot {lot.name} was made; its sample was drawn with seed {lot.seed}.")

    def _again_or_make(self) -> None:
        """The same key finishes whatever page is shown."""
        here = self.pages.currentWidget()
        if here is self.form:
            self.making.make()
        elif here is self.lot and self.lot.state is not None:
            self.open(self.lot.state.lot.name)
        else:
            self.turn(Turn.FIRST)

    def _ask_sheet(self) -> None:
        if self.pages.currentWidget() is self.form:
            self.form.ask_sheet()

    def _ask_list(self) -> None:
        if self.pages.currentWidget() is self.form:
            self.form.ask_list()

    # Export -------------------------------------------------------------------------------------

    def ask_export(self) -> None:
        """Ask for a file, then export the lot that is looked at."""
        state = self._looked_at
        if state is None:
            self._say("Look at a lot first; it is exported then.")
            return
        proposed = f"lot-{_safe(state.lot.name)}.pdf"
        name, _ = QFileDialog.getSaveFileName(self._page, "Export the lot", proposed, _FILES)
        if name:
            self.export(Path(name))

    def export(self, file: Path) -> None:
        """The lot that is looked at to a file, by its ending."""
        state = self._looked_at
        if state is None:
            return
        lot = state.lot.name

        def work(cancel: Cancel) -> Path:
            return export_lot(self._archive(), lot, file, cancel)

        self._write(file, work, self._exported)

    def _exported(self, file: Path) -> None:
        self._told(f"The lot is in {file}.")

    def cancel(self) -> None:
        """Whatever is being worked out or written is left; nothing of a file stays."""
        if not self.exports.busy and self.errands.busy:
            self.errands.cancel_all()
            self._say("Cancelled.")
        super().cancel()

    def _refresh(self) -> None:
        here = self.pages.currentWidget()
        for text, pages in (
            ("Back to the list", (self.lot, self.form)),
            ("Next part", (self.lot,)),
            ("New lot", (self.list, self.lot)),
            ("Make the lot", (self.form,)),
        ):
            self.buttons[text].setVisible(here in pages)
        state = self._looked_at
        able = {
            "Test the next unit": state is not None and state.next_unit is not None,
            "Present again": state is not None and may_come_again(state),
            "Close the lot": here is self.lot and state is not None and state.end is None,
            "Let a record join": here is self.lot and state is not None and state.end is None,
            "Export": state is not None,
            "Cancel": self.exports.busy,
        }
        for text, one in able.items():
            self.buttons[text].setVisible(one)


def _safe(name: str) -> str:
    """A lot's name as the beginning of a file's."""
    return "".join(one if one.isalnum() or one in "-_." else "-" for one in name)[:60]
