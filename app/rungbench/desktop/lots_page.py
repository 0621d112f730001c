"""One lot: its decision or what remains, units, plan, values, supplier."""

from typing import Final

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QHBoxLayout, QTabBar, QVBoxLayout, QWidget

from rungbench.desktop.lots_mark import DecisionMark
from rungbench.desktop.lots_opened import OpenedLot
from rungbench.desktop.lots_plan_page import PlanPage, SupplierPage
from rungbench.desktop.lots_units import UnitsPage
from rungbench.desktop.lots_values_page import ValuesPage
from rungbench.desktop.lots_words import decision_of, remaining_text, standing_text
from rungbench.desktop.run_flow import Pages
from rungbench.desktop.run_labels import PlainLabel
from rungbench.desktop.theme import Theme
from rungbench.lots.lot import LotState

TABS: Final = ("Units", "Plan and risk", "Values", "Supplier")


class LotPage(QWidget):
    """Shows one lot; `turned` has the part that was brought to the front."""

    turned = Signal(int)

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self.opened: OpenedLot | None = None
        self._mark = DecisionMark(theme, 1.8)
        self._title = PlainLabel(theme, size=1.3, bold=True)
        self._simulated = PlainLabel(theme, "SIMULATED", bold=True)
        self._simulated.setWordWrap(False)
        self._simulated.setObjectName("simulated")
        self.standing = PlainLabel(theme)
        self.remaining = PlainLabel(theme, bold=True)
        self.tabs = QTabBar()
        self.units, self.plan = UnitsPage(theme), PlanPage(theme)
        self.values, self.supplier = ValuesPage(theme), SupplierPage(theme)
        self._pages = Pages()
        self._lay_out()
        self.tabs.currentChanged.connect(self._turn)

    def _lay_out(self) -> None:
        head = QHBoxLayout()
        marks = QVBoxLayout()
        marks.addWidget(self._mark)
        marks.addWidget(self._simulated, 0, Qt.AlignmentFlag.AlignLeft)
        marks.addStretch(1)
        head.addLayout(marks)
        head.addSpacing(self._theme.px(12))
        texts = QVBoxLayout()
        texts.setSpacing(self._theme.px(2))
        for label in (self._title, self.standing, self.remaining):
            texts.addWidget(label)
        head.addLayout(texts, 1)
        for title in TABS:
            self.tabs.addTab(title)
        self.tabs.setAccessibleName("Parts of the lot")
        self.tabs.setExpanding(False)
        for page in (self.units, self.plan, self.values, self.supplier):
            self._pages.addWidget(page)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addLayout(head)
        whole.addWidget(self.tabs)
        whole.addWidget(self._pages, 1)

    @property
    def state(self) -> LotState | None:
        """The lot that is shown."""
        return None if self.opened is None else self.opened.state

    @property
    def part(self) -> str:
        """The part in front, as in `TABS`."""
        return TABS[self.tabs.currentIndex()]

    def show_lot(self, opened: OpenedLot) -> None:
        """Show a lot; plan, values and supplier are filled when they are worked out."""
        self.opened = opened
        state = opened.state
        self.show_state(state)
        self.units.show_lot(state, opened.failures)
        self.plan.show_lot(state)
        self.supplier.wait(state.lot.supplier)
        self.values.show_lot(opened)

    def show_state(self, state: LotState) -> None:
        """What stands at the head."""
        lot = state.lot
        self._mark.show_word(decision_of(state).value)
        model = f"{lot.sheet.maker} {lot.sheet.model}"
        self._title.setText(f"Lot {lot.name} of {lot.supplier}, {model}")
        self.standing.setText(standing_text(state))
        self.remaining.setText(remaining_text(state))
        self._simulated.setVisible(lot.simulated)

    def next_tab(self) -> None:
        """The next part."""
        self.tabs.setCurrentIndex((self.tabs.currentIndex() + 1) % len(TABS))

    def take_focus(self) -> None:
        """To what the part in front is about."""
        at = self.tabs.currentIndex()
        (self.units.grid, self.plan.chart, self.values.table, self.supplier.table)[at].setFocus()

    def _turn(self, at: int) -> None:
        self._pages.setCurrentIndex(at)
        self.take_focus()
        self.turned.emit(at)
