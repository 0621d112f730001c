"""The list of lots: what is looked for, one page of lots."""

from typing import Any, Final

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QComboBox,
    QHBoxLayout,
    QHeaderView,
)

from rungbench.desktop.lots_mark import MarkDelegate
from rungbench.desktop.lots_pages import HEADINGS, Stage, Wanted, lot_cells, page_text
from rungbench.desktop.page_list import PageList, PageModel, PageTable
from rungbench.desktop.paging import Page
from rungbench.desktop.run_table import Index, RowDelegate, calm_selection
from rungbench.desktop.theme import Theme
from rungbench.lots.lot import LotState

_SAMPLES: Final = {
    0: "reject, closed mmm",
    1: "M" * 9,
    3: "M" * 13,
    4: "10000000",
    5: "1250 / 21 / 22",
    6: "Tested",
    7: "10000",
    8: "Failed",
    9: "2025-12-31",
}
"""As wide as columns are; that of the supplier takes what is left."""

_LEFT_OUT: Final = (9, 8, 4, 3, 6, 5)
"""Columns that a narrow table does without, in this order; the opened lot shows them."""

_FIGURES: Final = (4, 5, 6, 7, 8)


class LotModel(PageModel):
    """One page of lots."""

    headings = HEADINGS
    rows: tuple[LotState, ...]

    def headerData(
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> Any:
        """The headings, those of figures to the right."""
        figures = orientation == Qt.Orientation.Horizontal and section in _FIGURES
        if role == Qt.ItemDataRole.TextAlignmentRole and figures:
            return Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
        return super().headerData(section, orientation, role)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Texts; whole lines for screen readers; figures to the right."""
        if role == Qt.ItemDataRole.TextAlignmentRole and index.column() in _FIGURES:
            return Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
        if role not in (Qt.ItemDataRole.DisplayRole, Qt.ItemDataRole.AccessibleTextRole):
            return None
        cells = lot_cells(self.rows[index.row()])
        if role == Qt.ItemDataRole.DisplayRole:
            return cells[index.column()]
        pairs = zip(HEADINGS, cells, strict=True)
        return ", ".join(f"{title} {cell}" for title, cell in pairs)


class LotTable(PageTable):
    """The page; Enter opens a lot, Ctrl and the page keys turn; `looked` at another line."""

    looked = Signal()

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self.lots = LotModel(self)
        header = self.set_up("Lots", self.lots, RowDelegate(self), wide=2)
        header.setSectionResizeMode(QHeaderView.ResizeMode.Interactive)
        header.setSectionResizeMode(2, QHeaderView.ResizeMode.Stretch)
        self.setItemDelegateForColumn(0, MarkDelegate(theme, self))
        self.doubleClicked.connect(lambda index: self.open_row(index.row()))
        self.selectionModel().currentRowChanged.connect(lambda *_: self.looked.emit())
        theme.changed.connect(self._dress)
        self._dress()

    def show_rows(self, rows: tuple[LotState, ...]) -> None:
        """Another page; the lot that was looked at stays so if it is there."""
        before = self.current
        self.lots.show_rows(rows)
        names = [state.lot.number for state in rows]
        if rows:
            at = before.lot.number if before is not None else 0
            self.selectRow(names.index(at) if at in names else 0)

    @property
    def current(self) -> LotState | None:
        """The lot that is looked at."""
        row = self.currentIndex().row()
        return self.lots.rows[row] if 0 <= row < len(self.lots.rows) else None

    def name_of(self, row: int) -> str:
        """The lot's name."""
        return self.lots.rows[row].lot.name

    def resizeEvent(self, event: QResizeEvent) -> None:
        """A narrow table leaves columns out."""
        super().resizeEvent(event)
        self._fit()

    def _fit(self) -> None:
        room = self.viewport().width() - self.fontMetrics().horizontalAdvance("M" * 14)
        needed = {column: self._width(column) for column in _SAMPLES}
        whole = sum(needed.values())
        for column in _LEFT_OUT:
            self.setColumnHidden(column, whole > room)
            if whole > room:
                whole -= needed[column]

    def _width(self, column: int) -> int:
        texts = (_SAMPLES[column], HEADINGS[column])
        widest = max(self.fontMetrics().horizontalAdvance(text) for text in texts)
        return widest + self._theme.px(22)

    def _dress(self) -> None:
        self.verticalHeader().setDefaultSectionSize(self.fontMetrics().height() + self._theme.px(8))
        calm_selection(self, self._theme)
        for column in _SAMPLES:
            self.horizontalHeader().resizeSection(column, self._width(column))
        self._fit()


class LotsList(PageList):
    """What is looked for in lots, and a page of them."""

    def __init__(self, theme: Theme) -> None:
        table = LotTable(theme)
        super().__init__(theme, table, "lots")
        self.table = table
        self.take_field(self.text, "Lot or supplier", "Lot or supplier begins with")
        self.stage = QComboBox()
        self.stage.setAccessibleName("Which lots")
        self.stage.addItems([stage.value for stage in Stage])
        self.stage.activated.connect(lambda _: self.wanted_changed.emit())
        row = QHBoxLayout()
        row.addWidget(self.text, 1)
        row.addWidget(self.stage)
        row.addWidget(self.which)
        self.lay_out(row)

    def words(self, found: Page[LotState]) -> str:
        """See the class above."""
        return page_text(found, self.wanted)

    @property
    def wanted(self) -> Wanted:
        """What is looked for."""
        return Wanted(self.text.text().strip(), tuple(Stage)[self.stage.currentIndex()])
