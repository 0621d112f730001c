"""Tables that are only read: walked by keys, resized with the theme, spoken by screen readers."""

from collections.abc import Sequence
from typing import Final

from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QColor, QKeyEvent, QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QSizePolicy,
    QTableWidget,
    QTableWidgetItem,
)

from rungbench.desktop.theme import Theme

_ROW: Final = 26


class ReadTable(QTableWidget):
    """Rows of texts under the names of `columns`; `wide` is the column that takes what is left.

    Tab leaves it, arrows walk in it; Enter and double click are `itemActivated`.  With `whole` it
    is as high as its rows, so that the page is scrolled and not the table.
    """

    def __init__(
        self, theme: Theme, name: str, columns: Sequence[str], wide: int, *, whole: bool = False
    ) -> None:
        super().__init__(0, len(columns))
        self._theme, self._whole = theme, whole
        self.setAccessibleName(name)
        self.setHorizontalHeaderLabels(list(columns))
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setTabKeyNavigation(False)
        self.setShowGrid(False)
        self.setWordWrap(True)
        self.verticalHeader().setVisible(False)
        self.verticalHeader().setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        if whole:
            self.verticalHeader().sectionResized.connect(lambda *_: self.updateGeometry())
            self.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
            self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        header = self.horizontalHeader()
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        header.setHighlightSections(False)
        for column in range(len(columns)):
            kind = QHeaderView.ResizeMode
            header.setSectionResizeMode(
                column, kind.Stretch if column == wide else kind.ResizeToContents
            )
        theme.changed.connect(self._restyle)
        self._restyle()

    def fill(self, rows: Sequence[Sequence[str]]) -> None:
        """Put these rows in place of what is there; the chosen row stays where it was."""
        chosen = self.currentRow()
        self.setRowCount(len(rows))
        for number, row in enumerate(rows):
            for column, text in enumerate(row):
                self._put(number, column, text)
        if rows:
            self.setCurrentCell(min(max(0, chosen), len(rows) - 1), 0)
        self.resizeRowsToContents()
        self.updateGeometry()

    def sizeHint(self) -> QSize:
        """As high as the rows, if all of them are to be seen."""
        hint = super().sizeHint()
        return QSize(hint.width(), self._height()) if self._whole else hint

    def minimumSizeHint(self) -> QSize:
        """All rows, or the names and two rows."""
        hint = super().minimumSizeHint()
        least = self._theme.px(_ROW) * 3
        return QSize(hint.width(), self._height() if self._whole else max(least, hint.height()))

    def _height(self) -> int:
        rows = self.verticalHeader().length()
        return rows + self.horizontalHeader().sizeHint().height() + 2 * self.frameWidth() + 2

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Rows wrap otherwise in another width."""
        super().resizeEvent(event)
        if event.size().width() != event.oldSize().width():
            self.resizeRowsToContents()
        if self._whole:
            self.updateGeometry()

    def text_at(self, row: int, column: int) -> str:
        """What stands in a cell."""
        item = self.item(row, column)
        return "" if item is None else item.text()

    def texts(self) -> list[list[str]]:
        """Everything that stands there."""
        columns = range(self.columnCount())
        return [[self.text_at(row, column) for column in columns] for row in range(self.rowCount())]

    def tint(self, row: int, colour: QColor) -> None:
        """Write a row in a colour; what it says must be in its words as well."""
        for column in range(self.columnCount()):
            item = self.item(row, column)
            if item is not None:
                item.setForeground(colour)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Enter activates the row; all else as usual."""
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and self.currentRow() >= 0:
            item = self.item(self.currentRow(), 0)
            if item is not None and not event.isAutoRepeat():
                self.itemActivated.emit(item)
            return
        super().keyPressEvent(event)

    def _put(self, row: int, column: int, text: str) -> None:
        item = self.item(row, column)
        if item is None:
            self.setItem(row, column, QTableWidgetItem(text))
        elif item.text() != text:
            item.setText(text)

    def _restyle(self) -> None:
        self.verticalHeader().setMinimumSectionSize(self._theme.px(_ROW))
        band, ink = (self._theme.colour(name).name() for name in ("band", "ink"))
        focus = self._theme.colour("focus").name()
        # A quiet mark of the row; the frame says where the keys go.
        self.setStyleSheet(
            f"QTableWidget {{ selection-background-color: {band}; selection-color: {ink}; }}"
            f"QTableWidget:focus {{ border: {self._theme.px(2)}px solid {focus}; }}"
        )
        self.updateGeometry()
