"""A table whose rows are looked at one by one: calm, by keys, with a verdict or a mark in front."""

from PySide6.QtCore import QAbstractItemModel, Qt
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QStyledItemDelegate, QTableView


class RowTable(QTableView):
    """Whole rows are selected, nothing is edited, Tab leads out of it."""

    def set_up(
        self, name: str, model: QAbstractItemModel, rows: QStyledItemDelegate, wide: int
    ) -> QHeaderView:
        """Give it its rows; the column `wide` takes what is left.  Returns the head."""
        self.setModel(model)
        self.setItemDelegate(rows)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setShowGrid(False)
        self.setWordWrap(False)
        self.setTabKeyNavigation(False)
        self.verticalHeader().hide()
        self.setAccessibleName(name)
        header = self.horizontalHeader()
        header.setHighlightSections(False)
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft)
        header.setSectionResizeMode(wide, QHeaderView.ResizeMode.Stretch)
        return header
