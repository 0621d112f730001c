"""Plain tables of the records: budgets of quantities, facts, differences."""

from collections.abc import Sequence
from typing import Final

from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QResizeEvent, QShowEvent
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QTableWidget, QTableWidgetItem

from rungbench.desktop.run_table import RowDelegate, calm_selection
from rungbench.desktop.theme import Theme

_LEAST_LETTERS: Final = 8
_MOST_SHARE: Final = 0.36  # of the width, for one column of texts that wrap
_LEAST_MOST: Final = 150


class PlainTable(QTableWidget):
    """Rows of texts; what stands in them is never read as marked-up.

    Columns are as wide as what stands in them, the last one takes what is left; with `wraps` long
    texts go on in the next line, and column `wide` takes what is left in place of the last one.
    """

    def __init__(
        self,
        theme: Theme,
        headings: Sequence[str],
        name: str,
        *,
        wraps: bool = False,
        wide: int | None = None,
    ) -> None:
        super().__init__(0, len(headings))
        self._theme, self._wraps = theme, wraps
        self.setWordWrap(self._wraps)
        self.setHorizontalHeaderLabels(list(headings))
        self.setAccessibleName(name)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setTabKeyNavigation(False)
        self.setShowGrid(False)
        self.setItemDelegate(RowDelegate(self))
        self.verticalHeader().hide()
        header = self.horizontalHeader()
        header.setHighlightSections(False)
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft)
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        self._wide = wide
        header.setStretchLastSection(wide is None)
        if wide is not None:
            header.setSectionResizeMode(wide, QHeaderView.ResizeMode.Fixed)
        theme.changed.connect(self._dress)
        self._dress()

    def show_rows(
        self, rows: Sequence[Sequence[str]], bold: Sequence[bool] = (), colour: str = "ink"
    ) -> None:
        """Show these; `bold` rows stand out, in `colour`."""
        self.setRowCount(len(rows))
        for place, cells in enumerate(rows):
            strong = place < len(bold) and bold[place]
            for column, text in enumerate(cells):
                self.setItem(place, column, self._item(text, colour if strong else "ink", strong))
        self._fit()
        if rows:
            self.selectRow(0)

    def showEvent(self, event: QShowEvent) -> None:
        """A style sheet takes the colours back when it first comes to a table."""
        super().showEvent(event)
        self._dress()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Wrapped texts need other heights."""
        super().resizeEvent(event)
        self._fit()

    def _fit(self) -> None:
        """The wide column takes what is left, and never less than a few words."""
        header = self.horizontalHeader()
        if self._wide is not None:
            others = sum(
                max(self.sizeHintForColumn(column), header.sectionSizeHint(column))
                for column in range(self.columnCount())
                if column != self._wide
            )
            least = self.fontMetrics().horizontalAdvance("M" * _LEAST_LETTERS)
            width = max(least, self.viewport().width() - others)
            # Rows are measured a little narrower: a style's padding is not counted with them.
            header.resizeSection(self._wide, width - self._theme.px(8))
            self._heighten()
            header.resizeSection(self._wide, width)
        elif self._wraps:
            most = max(self._theme.px(_LEAST_MOST), round(_MOST_SHARE * self.viewport().width()))
            for width in (most - self._theme.px(8), most):
                header.setMaximumSectionSize(width)
                header.resizeSections(QHeaderView.ResizeMode.ResizeToContents)
                if width < most:
                    self._heighten()

    def _heighten(self) -> None:
        """As high as the texts, with the air that rows of one line have."""
        self.resizeRowsToContents()
        least = self.fontMetrics().height() + self._theme.px(8)
        for row in range(self.rowCount()):
            if self.rowHeight(row) > least:
                self.setRowHeight(row, self.rowHeight(row) + self._theme.px(6))

    def set_headings(self, headings: Sequence[str]) -> None:
        """Other columns."""
        self.setColumnCount(len(headings))
        self.setHorizontalHeaderLabels(list(headings))

    def _item(self, text: str, colour: str, strong: bool) -> QTableWidgetItem:
        item = QTableWidgetItem(text)
        if strong:
            item.setForeground(QColor(self._theme.colour(colour)))
            item.setFont(self._theme.font(bold=True))
        return item

    def _dress(self) -> None:
        metrics = self.fontMetrics()
        self.verticalHeader().setDefaultSectionSize(metrics.height() + self._theme.px(8))
        calm_selection(self, self._theme)
