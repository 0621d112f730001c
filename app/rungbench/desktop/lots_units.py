"""The units of a sample drawn one by one, and the runs of the unit that is looked at."""

from typing import Any, Final

from PySide6.QtCore import QAbstractListModel, QObject, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QKeyEvent, QPainter, QPaintEvent, QPen, QShowEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QListView,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QVBoxLayout,
    QWidget,
)

from rungbench.desktop.lots_mark import MarkDelegate, shape_of
from rungbench.desktop.lots_words import RUN_HEADINGS, run_cells, unit_text, unit_word
from rungbench.desktop.records_budget import PlainTable
from rungbench.desktop.run_flow import Halves
from rungbench.desktop.run_labels import PlainLabel
from rungbench.desktop.run_table import Index, calm_selection
from rungbench.desktop.theme import Theme
from rungbench.desktop.verdict_mark import draw_shape
from rungbench.lots.counting import Unit
from rungbench.lots.failures import Failure
from rungbench.lots.lot import LotState

_ENTER: Final = (Qt.Key.Key_Return, Qt.Key.Key_Enter)
_WIDE, _HIGH = 50.0, 46.0


class UnitModel(QAbstractListModel):
    """The units of a sample in rising order."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.units: tuple[Unit, ...] = ()

    def show_units(self, units: tuple[Unit, ...]) -> None:
        """Other units."""
        self.beginResetModel()
        self.units = units
        self.endResetModel()

    def rowCount(self, parent: Index | None = None) -> int:
        """One a unit."""
        return 0 if parent is not None and parent.isValid() else len(self.units)

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """The number; all in words for screen readers."""
        unit = self.units[index.row()]
        if role == Qt.ItemDataRole.DisplayRole:
            return f"{unit.number}"
        if role == Qt.ItemDataRole.AccessibleTextRole:
            return unit_text(unit)
        return None


class UnitDelegate(QStyledItemDelegate):
    """Shape above, number below; a second, smaller ring where a unit was tested again."""

    def __init__(self, theme: Theme, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._theme = theme

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        """See the class."""
        model, theme, box = index.model(), self._theme, QRectF(option.rect)
        if not isinstance(model, UnitModel):
            return
        unit = model.units[index.row()]
        painter.save()
        if option.state & QStyle.StateFlag.State_Selected:
            painter.fillRect(box, theme.colour("band"))
            painter.setPen(QPen(theme.colour("focus"), theme.px(2)))
            painter.drawRect(box.adjusted(1, 1, -1, -1))
        side = theme.px(20)
        shape = QRectF(box.center().x() - side / 2, box.top() + theme.px(5), side, side)
        draw_shape(painter, shape_of(unit_word(unit)), shape, theme)
        if len(unit.runs) > 1:
            self._draw_again(painter, shape)
        font = theme.font(0.8, bold=unit.counts is not None)
        painter.setFont(font)
        painter.setPen(theme.colour("ink" if unit.runs else "faint"))
        text = QRectF(box.left(), shape.bottom() + theme.px(2), box.width(), theme.px(16))
        painter.drawText(text, Qt.AlignmentFlag.AlignHCenter, f"{unit.number}")
        painter.restore()

    def _draw_again(self, painter: QPainter, shape: QRectF) -> None:
        """A plus beside the shape: there is more than one run."""
        theme = self._theme
        painter.setPen(QPen(theme.colour("ink"), theme.px(2)))
        x, y, half = shape.right() + theme.px(4), shape.top() + theme.px(4), theme.px(4)
        painter.drawLine(int(x - half), int(y), int(x + half), int(y))
        painter.drawLine(int(x), int(y - half), int(x), int(y + half))

    def sizeHint(self, _option: QStyleOptionViewItem, _index: Index) -> QSize:
        """The same for all."""
        return QSize(self._theme.px(_WIDE), self._theme.px(_HIGH))


class UnitGrid(QListView):
    """Arrows go from unit to unit; `chosen` after another one is looked at, Enter opens its run."""

    chosen = Signal()
    opened = Signal()

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self.model_ = UnitModel(self)
        self.setModel(self.model_)
        self.setItemDelegate(UnitDelegate(theme, self))
        self.setViewMode(QListView.ViewMode.IconMode)
        self.setMovement(QListView.Movement.Static)
        self.setResizeMode(QListView.ResizeMode.Adjust)
        self.setUniformItemSizes(True)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setAccessibleName("Units of the sample")
        self.selectionModel().currentChanged.connect(lambda *_: self.chosen.emit())
        self.doubleClicked.connect(lambda _: self.opened.emit())
        theme.changed.connect(self._dress)
        self._dress()

    def show_units(self, units: tuple[Unit, ...]) -> None:
        """Show these."""
        self.model_.show_units(units)
        if not units:
            self.chosen.emit()

    def look_at(self, row: int) -> None:
        """Look at a unit by its place."""
        self.setCurrentIndex(self.model_.index(row, 0))

    @property
    def unit(self) -> Unit | None:
        """The unit that is looked at."""
        row = self.currentIndex().row()
        return self.model_.units[row] if 0 <= row < len(self.model_.units) else None

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """See the class."""
        if event.key() in _ENTER:
            self.opened.emit()
        else:
            super().keyPressEvent(event)

    def showEvent(self, event: QShowEvent) -> None:
        """A style sheet takes the colours back when it first comes to a view."""
        super().showEvent(event)
        self._dress()

    def paintEvent(self, event: QPaintEvent) -> None:
        """On the sheet of this look, whatever a style sheet says."""
        painter = QPainter(self.viewport())
        painter.fillRect(self.viewport().rect(), self._theme.colour("sheet"))
        painter.end()
        super().paintEvent(event)

    def _dress(self) -> None:
        self.setGridSize(QSize(self._theme.px(_WIDE + 2), self._theme.px(_HIGH + 2)))
        calm_selection(self, self._theme)


class UnitsPage(QWidget):
    """Units left, runs of one unit and what failed right; `opened` has the id of a record."""

    opened = Signal(str)

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._lot: int | None = None
        self.grid = UnitGrid(theme)
        self._title = PlainLabel(theme, bold=True)
        self.runs = PlainTable(theme, RUN_HEADINGS, "Runs of the unit", wraps=True, wide=1)
        self.runs.setItemDelegateForColumn(0, MarkDelegate(theme, self.runs))
        self._failed = PlainLabel(theme, "What failed", bold=True)
        self.failures = PlainTable(theme, ("Check", "Units"), "What failed", wraps=True, wide=1)
        right = QWidget()
        column = QVBoxLayout(right)
        column.setContentsMargins(theme.px(8), 0, 0, 0)
        for part, stretch in (
            (self._title, 0),
            (self.runs, 3),
            (self._failed, 0),
            (self.failures, 2),
        ):
            column.addWidget(part, stretch)
        split = Halves(theme, self.grid, right, [470, 560])
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addWidget(split)
        self.grid.chosen.connect(self._on_chosen)
        self.grid.opened.connect(self._open)
        theme.changed.connect(self._on_chosen)  # other letters need other heights
        self.runs.cellActivated.connect(lambda row, _column: self._open_run(row))

    def show_lot(self, state: LotState, failures: tuple[Failure, ...]) -> None:
        """Units and failures of a lot."""
        before = self.grid.unit if self._lot == state.lot.number else None
        self._lot = state.lot.number
        self.grid.show_units(state.units)
        self.grid.look_at(_telling(state, before))
        rows = [(one.title, f"{len(one.serials)}: {', '.join(one.serials)}") for one in failures]
        self.failures.show_rows(rows or [("No unit failed.", "")])

    def _on_chosen(self) -> None:
        unit = self.grid.unit
        if unit is None:
            self._title.setText("")
            self.runs.show_rows(())
            return
        serial = f", serial {unit.serial}" if unit.serial else ", serial number not known yet"
        self._title.setText(f"Unit {unit.number}{serial}: {unit_word(unit)}")
        self.runs.show_rows([run_cells(unit, run) for run in unit.runs])

    def _open(self) -> None:
        """The run that counts, else the last one."""
        unit = self.grid.unit
        if unit is not None and unit.runs:
            self.opened.emit((unit.counts or unit.runs[-1]).run_id)

    def _open_run(self, row: int) -> None:
        unit = self.grid.unit
        if unit is not None and 0 <= row < len(unit.runs):
            self.opened.emit(unit.runs[row].run_id)


def _telling(state: LotState, before: Unit | None) -> int:
    """The place of the unit to look at: the one from before, the next, else the first failed."""
    numbers = [unit.number for unit in state.units]
    failed = next((unit for unit in state.units if unit_word(unit) == "fail"), None)
    wanted = before or state.next_unit or failed
    return numbers.index(wanted.number) if wanted is not None and wanted.number in numbers else 0
