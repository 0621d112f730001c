"""The list of lots: what is looked for, one page of lots."""

from functools import partial
from typing import Any, Final

from PySide6.QtCore import QAbstractTableModel, QEvent, QObject, Qt, QTimer, Signal
from PySide6.QtGui import QKeyEvent, QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QComboBox,
    QHBoxLayout,
    QHeaderView,
    QLineEdit,
    QTableView,
    QVBoxLayout,
    QWidget,
)

from rungbench.desktop.lots_mark import MarkDelegate
from rungbench.desktop.lots_pages import HEADINGS, Page, Stage, Wanted, lot_cells, page_text
from rungbench.desktop.records_pages import Turn
from rungbench.desktop.run_flow import FlowLayout
from rungbench.desktop.run_labels import PlainLabel, button
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

_LEFT_OUT: Final = (9, 8, 4, 3)
"""Columns that a narrow table does without, in this order; the opened lot shows them."""

_FIGURES: Final = (4, 5, 6, 7, 8)
_WAIT_MS: Final = 180  # while somebody types nothing is asked for
_TURNS: Final = {
    Qt.Key.Key_PageDown: Turn.NEXT,
    Qt.Key.Key_PageUp: Turn.BACK,
    Qt.Key.Key_Home: Turn.FIRST,
    Qt.Key.Key_End: Turn.LAST,
}
_TURN_NAMES: Final = (
    (Turn.FIRST, "First  (Ctrl+Home)"),
    (Turn.BACK, "Back  (Ctrl+PgUp)"),
    (Turn.NEXT, "Next  (Ctrl+PgDn)"),
    (Turn.LAST, "Last  (Ctrl+End)"),
)


class LotModel(QAbstractTableModel):
    """One page of lots."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.rows: tuple[LotState, ...] = ()

    def show_rows(self, rows: tuple[LotState, ...]) -> None:
        """Another page."""
        self.beginResetModel()
        self.rows = rows
        self.endResetModel()

    def rowCount(self, parent: Index | None = None) -> int:
        """One row a lot."""
        return 0 if parent is not None and parent.isValid() else len(self.rows)

    def columnCount(self, parent: Index | None = None) -> int:
        """As many as headings."""
        return 0 if parent is not None and parent.isValid() else len(HEADINGS)

    def headerData(
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> Any:
        """The headings."""
        if orientation != Qt.Orientation.Horizontal:
            return None
        if role == Qt.ItemDataRole.TextAlignmentRole and section in _FIGURES:
            return Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
        return HEADINGS[section] if role == Qt.ItemDataRole.DisplayRole else None

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


class LotTable(QTableView):
    """The page; Enter opens a lot, Ctrl and the page keys turn; `looked` at another line."""

    opened = Signal(str)
    turned = Signal(object)
    looked = Signal()

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self.lots = LotModel(self)
        self.setModel(self.lots)
        self.setItemDelegate(RowDelegate(self))
        self.setItemDelegateForColumn(0, MarkDelegate(theme, self))
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setShowGrid(False)
        self.setWordWrap(False)
        self.setTabKeyNavigation(False)
        self.verticalHeader().hide()
        self.setAccessibleName("Lots")
        header = self.horizontalHeader()
        header.setHighlightSections(False)
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft)
        header.setSectionResizeMode(QHeaderView.ResizeMode.Interactive)
        header.setSectionResizeMode(2, QHeaderView.ResizeMode.Stretch)
        self.doubleClicked.connect(lambda index: self._open(index.row()))
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

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """See the class."""
        control = event.modifiers() & Qt.KeyboardModifier.ControlModifier
        turn = _TURNS.get(Qt.Key(event.key())) if control else None
        if turn is not None:
            self.turned.emit(turn)
        elif event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self._open(self.currentIndex().row())
        else:
            super().keyPressEvent(event)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """A narrow table leaves columns out."""
        super().resizeEvent(event)
        room = self.viewport().width() - self.fontMetrics().horizontalAdvance("M" * 14)
        needed = {column: self._width(column) for column in _SAMPLES}
        whole = sum(needed.values())
        for column in _LEFT_OUT:
            self.setColumnHidden(column, whole > room)
            if whole > room:
                whole -= needed[column]

    def _open(self, row: int) -> None:
        if 0 <= row < len(self.lots.rows):
            self.opened.emit(self.lots.rows[row].lot.name)

    def _width(self, column: int) -> int:
        texts = (_SAMPLES[column], HEADINGS[column])
        widest = max(self.fontMetrics().horizontalAdvance(text) for text in texts)
        return widest + self._theme.px(22)

    def _dress(self) -> None:
        self.verticalHeader().setDefaultSectionSize(self.fontMetrics().height() + self._theme.px(8))
        calm_selection(self, self._theme)
        for column in _SAMPLES:
            self.horizontalHeader().resizeSection(column, self._width(column))


class LotsList(QWidget):
    """What is looked for above, the page below; `wanted_changed` after somebody typed."""

    wanted_changed = Signal()
    archive_chosen = Signal(bool)

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self.text = QLineEdit()
        self.text.setPlaceholderText("Lot or supplier begins with")
        self.text.setAccessibleName("Lot or supplier")
        self.text.setClearButtonEnabled(True)
        self.text.setMaxLength(200)
        self.stage, self.which = QComboBox(), QComboBox()
        self.stage.setAccessibleName("Which lots")
        self.stage.addItems([stage.value for stage in Stage])
        self.which.setAccessibleName("Archive")
        self.which.addItem("Real lots", False)
        self.which.addItem("Simulated lots", True)
        self.table = LotTable(theme)
        self.about = PlainLabel(theme).colour("faint")
        self.mark = PlainLabel(theme, "SIMULATED: lots of the demo archive.", bold=True)
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(_WAIT_MS)
        self._timer.timeout.connect(self.wanted_changed)
        self._lay_out()
        self.text.textEdited.connect(self._timer.start)
        self.text.installEventFilter(self)
        self.stage.activated.connect(lambda _: self.wanted_changed.emit())
        self.which.activated.connect(lambda row: self.archive_chosen.emit(bool(row)))

    def _lay_out(self) -> None:
        row = QHBoxLayout()
        row.addWidget(self.text, 1)
        row.addWidget(self.stage)
        row.addWidget(self.which)
        told = QHBoxLayout()
        told.addWidget(self.mark)
        told.addWidget(self.about, 1)
        self.turns = FlowLayout(self._theme.px(6))
        self.buttons = {}
        for turn, text in _TURN_NAMES:
            self.buttons[turn] = button(text, partial(self.table.turned.emit, turn))
            self.turns.addWidget(self.buttons[turn])
        self.mark.setWordWrap(False)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addLayout(row)
        whole.addWidget(self.table, 1)
        whole.addLayout(told)
        whole.addLayout(self.turns)

    @property
    def wanted(self) -> Wanted:
        """What is looked for."""
        return Wanted(self.text.text().strip(), tuple(Stage)[self.stage.currentIndex()])

    def show_page(self, found: Page, *, simulated: bool) -> None:
        """Show a page; what was typed meanwhile is still looked for."""
        self.table.show_rows(found.rows)
        self.about.setText(page_text(found, self.wanted))
        self.mark.setVisible(simulated)
        self.which.setCurrentIndex(int(simulated))
        for turn, able in (
            (Turn.FIRST, found.newer),
            (Turn.BACK, found.newer),
            (Turn.NEXT, found.older),
            (Turn.LAST, found.older),
        ):
            self.buttons[turn].setEnabled(able)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Down leads from the field into the table, Enter looks at once."""
        if isinstance(event, QKeyEvent) and event.type() == QEvent.Type.KeyPress:
            if event.key() == Qt.Key.Key_Down:
                self.table.setFocus()
                return True
            if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
                self._timer.stop()
                self.wanted_changed.emit()
                return True
        return super().eventFilter(watched, event)
