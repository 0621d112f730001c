"""A new lot from the form to the archive: what can be chosen, the preview, the making."""

from functools import partial

from PySide6.QtCore import QObject, Signal

from rungbench.archive.store import open_archive
from rungbench.desktop.errands import Cancel, Errand, Errands
from rungbench.desktop.lots_draft import Preview, make, preview
from rungbench.desktop.lots_form import LotForm
from rungbench.desktop.lots_opened import OpenedLot, open_lot
from rungbench.desktop.records_source import Source
from rungbench.desktop.room import Room
from rungbench.desktop.run_choice import Offer, offer
from rungbench.lots.lot import Lot, LotState
from rungbench.lots.search import rejected_lots
from rungbench.settings import load_settings


class LotMaking(QObject):
    """Owns the form; `ready` when it may be shown, with a sentence, `made` with an `OpenedLot`.

    What is being stored cannot be cancelled, so it has a thread of its own.
    """

    ready = Signal(str)
    made = Signal(object)
    failed = Signal(str)

    def __init__(self, room: Room, source: Source, errands: Errands) -> None:
        super().__init__()
        self._room, self._source, self._errands = room, source, errands
        self.storing = Errands("lot making", self)
        self.form = LotForm(room.theme)
        self._open = False
        self._asked: Cancel | None = None
        self.form.changed.connect(self._read_preview)

    @property
    def operator(self) -> str:
        """Who works here, as the Run view was told."""
        return str(self._room.preferences.get("run", "operator", ""))

    def close(self) -> None:
        """End the thread."""
        self.storing.close()

    def ask(self, again: Lot | None) -> None:
        """Look what there is to choose from, then show the form; `again` is presented again."""
        simulated = self._source.simulated

        def work(_cancel: Cancel) -> tuple[Offer, tuple[LotState, ...]]:
            archive = self._source.archive(simulated)
            place = load_settings().archive_for(simulated)
            states = () if archive is None else rejected_lots(archive)
            return offer(place, simulated=simulated), states

        show = partial(self._show, again)
        self._errands.start(Errand(work, show, self.failed.emit))

    def _show(self, again: Lot | None, found: tuple[Offer, tuple[LotState, ...]]) -> None:
        offered, states = found
        self._open = True
        rejected = [state.lot for state in states]
        self.form.offer(offered, rejected, simulated=self._source.simulated)
        self.form.prefer(self._usual("plan"), self._usual("profile"))
        if again is not None:
            self.form.clear()
            self.form.present_again(again)
        self.ready.emit(" ".join(offered.trouble))
        self.form.ask(self.operator)

    def _usual(self, what: str) -> str:
        """What runs are usually judged by: as chosen in the Run view, else by the settings."""
        known = getattr(load_settings().settings, what)
        return str(self._room.preferences.get("run", what, known))

    def leave(self) -> None:
        """The form went away."""
        self._open = False

    def _read_preview(self) -> None:
        if not self._open:
            return
        self._drop()
        draft, simulated = self.form.draft, self._source.simulated

        def work(cancel: Cancel) -> Preview:
            return preview(self._source.archive(simulated), draft, cancel)

        self._asked = self._errands.start(Errand(work, self.form.show_preview, self.form.refuse))

    def make(self) -> None:
        """Make the lot; what it refuses is told in the form."""
        if not self._open or self.storing.busy:
            return
        self._drop()
        draft, simulated = self.form.draft, self._source.simulated

        def work(cancel: Cancel) -> OpenedLot:
            with open_archive(load_settings().archive_for(simulated), simulated) as archive:
                state = make(archive, draft, cancel)
                return open_lot(archive, state.lot.name, cancel)

        self.storing.start(Errand(work, self._made, self.form.refuse))

    def _made(self, opened: OpenedLot) -> None:
        self.leave()
        self.form.clear()
        self.made.emit(opened)

    def _drop(self) -> None:
        if self._asked is not None:
            self._asked.request()
