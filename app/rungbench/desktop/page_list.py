"""A list in pages: what is looked for above, one page, the keys and buttons that turn it."""

from functools import partial
from typing import Any, Final

from PySide6.QtCore import QAbstractTableModel, QEvent, QObject, Qt, QTimer, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QComboBox, QHBoxLayout, QLayout, QLineEdit, QVBoxLayout, QWidget

from rungbench.desktop.paging import Page, Turn
from rungbench.desktop.row_table import RowTable
from rungbench.desktop.run_flow import FlowLayout
from rungbench.desktop.run_labels import PlainLabel, button
from rungbench.desktop.run_table import Index
from rungbench.desktop.theme import Theme

_WAIT_MS: Final = 180  # while somebody types nothing is asked for
_KEYS: Final = {
    Qt.Key.Key_PageDown: Turn.NEXT,
    Qt.Key.Key_PageUp: Turn.BACK,
    Qt.Key.Key_Home: Turn.FIRST,
    Qt.Key.Key_End: Turn.LAST,
}
_BUTTONS: Final = (
    (Turn.FIRST, "First  (Ctrl+Home)"),
    (Turn.BACK, "Back  (Ctrl+PgUp)"),
    (Turn.NEXT, "Next  (Ctrl+PgDn)"),
    (Turn.LAST, "Last  (Ctrl+End)"),
)


class PageModel(QAbstractTableModel):
    """One page of rows."""

    headings: tuple[str, ...] = ()

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.rows: tuple[Any, ...] = ()

    def show_rows(self, rows: tuple[Any, ...]) -> None:
        """Another page."""
        self.beginResetModel()
        self.rows = rows
        self.endResetModel()

    def rowCount(self, parent: Index | None = None) -> int:
        """As many as the page has."""
        return 0 if parent is not None and parent.isValid() else len(self.rows)

    def columnCount(self, parent: Index | None = None) -> int:
        """As many as headings."""
        return 0 if parent is not None and parent.isValid() else len(self.headings)

    def headerData(
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> Any:
        """The headings."""
        if role == Qt.ItemDataRole.DisplayRole and orientation == Qt.Orientation.Horizontal:
            return self.headings[section]
        return None


class PageTable(RowTable):
    """The page; Enter or a double click opens a row, Ctrl and the page keys turn."""

    opened = Signal(str)
    turned = Signal(object)

    def name_of(self, row: int) -> str:
        """By which a row is opened."""
        raise NotImplementedError

    def show_rows(self, rows: tuple[Any, ...]) -> None:
        """Another page."""
        raise NotImplementedError

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """See the class."""
        control = event.modifiers() & Qt.KeyboardModifier.ControlModifier
        turn = _KEYS.get(Qt.Key(event.key())) if control else None
        if turn is not None:
            self.turned.emit(turn)
        elif event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.open_row(self.currentIndex().row())
        else:
            super().keyPressEvent(event)

    def open_row(self, row: int) -> None:
        """Open a row, if there is one of that number."""
        if 0 <= row < self.model().rowCount():
            self.opened.emit(self.name_of(row))


class PageList(QWidget):
    """Fields above, the page below; `wanted_changed` after somebody typed.

    `text` is the field that comes first; a subclass lays out the fields, and says in words what is
    shown.
    """

    wanted_changed = Signal()
    archive_chosen = Signal(bool)

    def __init__(self, theme: Theme, table: PageTable, rows: str) -> None:
        """`rows` is what a row is of, in the plural."""
        super().__init__()
        self._theme = theme
        self._table = table
        self.text = QLineEdit()
        self.which = QComboBox()
        self.which.setAccessibleName("Archive")
        self.which.addItem(f"Real {rows}", False)
        self.which.addItem(f"Simulated {rows}", True)
        self.which.activated.connect(lambda row: self.archive_chosen.emit(bool(row)))
        self.about = PlainLabel(theme).colour("faint")
        self.mark = PlainLabel(theme, f"SIMULATED: {rows} of the demo archive.", bold=True)
        self.mark.setWordWrap(False)
        self.turns = FlowLayout(theme.px(6))
        self.buttons = {}
        for turn, text in _BUTTONS:
            self.buttons[turn] = button(text, partial(table.turned.emit, turn))
            self.turns.addWidget(self.buttons[turn])
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(_WAIT_MS)
        self._timer.timeout.connect(self.wanted_changed)

    def words(self, found: Page[Any]) -> str:
        """What is shown of how many."""
        raise NotImplementedError

    def take_field(self, field: QLineEdit, name: str, hint: str = "") -> None:
        """A field in which somebody types what is looked for."""
        field.setPlaceholderText(hint or name)
        field.setAccessibleName(name)
        field.setClearButtonEnabled(True)
        field.setMaxLength(200)
        field.textEdited.connect(self._timer.start)
        field.installEventFilter(self)

    def lay_out(self, fields: QLayout) -> None:
        """The fields above, then the page, what it is, and the buttons."""
        told = QHBoxLayout()
        told.addWidget(self.mark)
        told.addWidget(self.about, 1)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addLayout(fields)
        whole.addWidget(self._table, 1)
        whole.addLayout(told)
        whole.addLayout(self.turns)

    def show_page(self, found: Page[Any], *, simulated: bool) -> None:
        """Show a page; what was typed meanwhile is still looked for."""
        self._table.show_rows(found.rows)
        self.about.setText(self.words(found))
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
        """Down leads from a field into the table, Enter looks at once."""
        if isinstance(event, QKeyEvent) and event.type() == QEvent.Type.KeyPress:
            if event.key() == Qt.Key.Key_Down:
                self._table.setFocus()
                return True
            if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
                self._timer.stop()
                self.wanted_changed.emit()
                return True
        return super().eventFilter(watched, event)
