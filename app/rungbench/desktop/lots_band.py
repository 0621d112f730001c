"""Where the lot stands that is being inspected: in the Run view and in inspection mode."""

from PySide6.QtCore import QObject, Signal
from PySide6.QtWidgets import QHBoxLayout, QWidget

from rungbench.archive.store import open_archive
from rungbench.desktop.errands import Cancel
from rungbench.desktop.lots_mark import DecisionMark
from rungbench.desktop.lots_words import decision_of, remaining_text, tally_text
from rungbench.desktop.run_control import RunControl
from rungbench.desktop.run_labels import PlainLabel
from rungbench.lots.lot import LotState
from rungbench.lots.store import Lots


class LotWatch(QObject):
    """The lot that `control` has chosen, as far as it has come; `changed` after it went on."""

    changed = Signal()

    def __init__(self, control: RunControl) -> None:
        super().__init__()
        self._control = control
        self.state: LotState | None = None
        self._asked = ""
        control.changed.connect(self._look)
        control.counting.counted.connect(self._read)
        self._look()

    @property
    def _name(self) -> str:
        choice = self._control.choice
        lot = None if choice is None else choice.model.lot
        return "" if lot is None else lot.name

    def _look(self) -> None:
        """Another lot, or a run that has just joined it."""
        name, outcome = self._name, self._control.outcome
        if not name:
            self._show(None)
        elif outcome is not None and outcome.lot is not None and outcome.lot.lot.name == name:
            self._show(outcome.lot)
        elif name != self._asked:
            self._read()

    def _read(self) -> None:
        """Another bench may work on the same lot: the archive knows."""
        name, place = self._name, self._control.archive
        self._asked = name
        if not name or place is None:
            return
        simulated = self._control.simulated

        def work(_cancel: Cancel) -> LotState:
            with open_archive(place, simulated, create=False) as archive:
                return Lots(archive).state(name)

        self._control.errand(work, self._show, self._control.tell)

    def _show(self, state: LotState | None) -> None:
        if state is not None and state.lot.name != self._name:
            return
        if state is not self.state:
            self.state = state
            self._asked = "" if state is None else state.lot.name
            self.changed.emit()


class LotBand(QWidget):
    """Decision, what is left to test, the next unit; hidden while no lot is chosen."""

    def __init__(self, control: RunControl, size: float = 1.0) -> None:
        super().__init__()
        theme = control.room.theme
        self.watch = LotWatch(control)
        self._mark = DecisionMark(theme, size)
        self.text = PlainLabel(theme, size=size)
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(self._mark)
        row.addSpacing(theme.px(8))
        row.addWidget(self.text, 1)
        self.watch.changed.connect(self.refresh)
        self.refresh()

    def refresh(self) -> None:
        """Show where the lot stands."""
        state = self.watch.state
        self.setVisible(state is not None)
        if state is None:
            return
        self._mark.show_word(decision_of(state).value)
        self.text.setText(band_text(state))


def band_text(state: LotState) -> str:
    """The lot in two sentences: how far it is, and what comes next."""
    return f"Lot {state.lot.name}: {tally_text(state.standing.tally)}. {remaining_text(state)}"
