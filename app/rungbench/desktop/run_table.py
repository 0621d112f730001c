"""The checks of a run as a table: verdict, check, value, limit; filled while they are stored."""

from collections.abc import Sequence
from typing import Any, Final

from PySide6.QtCore import (
    QAbstractTableModel,
    QEvent,
    QModelIndex,
    QObject,
    QPersistentModelIndex,
    QRectF,
    QSize,
    Qt,
    Signal,
)
from PySide6.QtGui import QKeyEvent, QPainter, QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
)

from rungbench.archive.record import Role
from rungbench.desktop.figures import bounds, figure, localised
from rungbench.desktop.palette import VERDICT_COLOURS
from rungbench.desktop.row_table import RowTable
from rungbench.desktop.run_fields import typed_text
from rungbench.desktop.run_progress import Line
from rungbench.desktop.theme import Theme
from rungbench.desktop.verdict_mark import draw_shape

Index = QModelIndex | QPersistentModelIndex
HEADINGS: Final = ("Verdict", "Check", "Value, U (95 %)", "Limit")
_LONG: Final = (
    "bench fault mm",
    "High plateau, published window (B)",
    "1000.325 ± 0.057 Hz",
    "at most 0 phases m",
)
_TO_COME: Final = "to come"
_ROOT: Final = QModelIndex()


class LineModel(QAbstractTableModel):
    """Lines of a run; rows are only added and changed, so that what is selected stays."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.lines: tuple[Line, ...] = ()

    def show_lines(self, lines: Sequence[Line]) -> None:
        """Show these; the same checks in the same order are changed in place."""
        new = tuple(lines)
        if [line.check for line in new] != [line.check for line in self.lines]:
            self.beginResetModel()
            self.lines = new
            self.endResetModel()
            return
        before, self.lines = self.lines, new
        for row, (old, now) in enumerate(zip(before, new, strict=True)):
            if old is not now:
                self.dataChanged.emit(self.index(row, 0), self.index(row, len(HEADINGS) - 1))

    def rowCount(self, parent: Index = _ROOT) -> int:
        """One row a check."""
        return 0 if parent.isValid() else len(self.lines)

    def columnCount(self, parent: Index = _ROOT) -> int:
        """As many as headings."""
        return 0 if parent.isValid() else len(HEADINGS)

    def headerData(
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> Any:
        """The headings."""
        if role == Qt.ItemDataRole.DisplayRole and orientation == Qt.Orientation.Horizontal:
            return HEADINGS[section]
        return None

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Texts; whole lines for screen readers."""
        line = self.lines[index.row()]
        if role == Qt.ItemDataRole.DisplayRole:
            return line_cells(line)[index.column()]
        if role == Qt.ItemDataRole.AccessibleTextRole:
            return ", ".join(filter(None, line_cells(line)))
        return None


def line_cells(line: Line) -> tuple[str, str, str, str]:
    """What stands in the four columns."""
    extra = "" if line.role is Role.REQUIRED else f", {line.role.value}"
    result = line.result
    if result is None:
        return _TO_COME, f"{line.title}{extra}", "", ""
    again = f", attempt {result.attempt}" if result.attempt > 1 else ""
    judged = next((one for one in result.judgements if one.quantity is not None), None)
    value = limit = ""
    if judged is not None and judged.quantity is not None:
        value, limit = figure(judged.quantity), bounds(judged.limit)
    elif result.quantities:
        value = figure(result.quantities[0])
    elif result.judgements:
        limit = bounds(result.judgements[0].limit)
    return line.verdict, f"{line.title}{extra}{again}", value, limit


_KEY_EVENTS: Final = (QEvent.Type.ShortcutOverride, QEvent.Type.KeyPress)


class RowDelegate(QStyledItemDelegate):
    """Cells without a frame of their own: the row is what is looked at."""

    def initStyleOption(self, option: QStyleOptionViewItem, index: Index) -> None:
        """The usual, without the frame of the focus, selected rows in the view's own colours."""
        super().initStyleOption(option, index)
        option.state &= ~QStyle.StateFlag.State_HasFocus
        view = option.widget
        if view is not None:
            option.palette = view.palette()


class VerdictDelegate(RowDelegate):
    """Shape and word of a verdict in a cell."""

    def __init__(self, theme: Theme, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._theme = theme

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        """The shape left of the word, both in the colour of the verdict."""
        text = str(index.data() or "")
        shape = self.shape_of(text)
        own = QStyleOptionViewItem(option)
        self.initStyleOption(own, index)
        own.text = ""
        style = own.widget.style()
        style.drawControl(style.ControlElement.CE_ItemViewItem, own, painter, own.widget)
        side = own.fontMetrics.height()
        box = QRectF(
            own.rect.left() + self._theme.px(7), own.rect.center().y() - side / 2 + 0.5, side, side
        )
        if own.state & style.StateFlag.State_Selected:
            edge = QRectF(own.rect.left(), own.rect.top(), self._theme.px(3), own.rect.height())
            painter.fillRect(edge, self._theme.colour("focus"))
        if shape:
            draw_shape(painter, shape, box, self._theme)
        painter.save()
        painter.setPen(self._theme.colour(VERDICT_COLOURS.get(shape, "faint")))
        painter.setFont(self._theme.font(bold=bool(shape)))
        rest = QRectF(own.rect)
        rest.setLeft(box.right() + side * 0.4)
        shown = painter.fontMetrics().elidedText(
            text, Qt.TextElideMode.ElideRight, int(rest.width())
        )
        painter.drawText(rest, Qt.AlignmentFlag.AlignVCenter, shown)
        painter.restore()

    def shape_of(self, text: str) -> str:
        """The verdict whose shape and colour a text has; empty: none."""
        return text if text in VERDICT_COLOURS else ""

    def sizeHint(self, option: QStyleOptionViewItem, _index: Index) -> QSize:
        """Room for the longest verdict."""
        metrics = option.fontMetrics
        height = metrics.height()
        return QSize(metrics.horizontalAdvance("bench fault") + 3 * height, height + 8)


class LineTable(RowTable):
    """The table with its keys; `chosen` tells the check that is looked at, empty: none.

    `asked` wants it explained: its id, and what it came to.
    """

    chosen = Signal(str)
    asked = Signal(str, str)

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self.lines = LineModel(self)
        header = self.set_up("Checks", self.lines, RowDelegate(self), wide=1)
        self.setItemDelegateForColumn(0, VerdictDelegate(theme, self))
        for column in (0, 2, 3):
            header.setSectionResizeMode(column, QHeaderView.ResizeMode.ResizeToContents)
        theme.changed.connect(self._dress)
        self._dress()
        self.selectionModel().currentRowChanged.connect(self._on_row)
        self.lines.modelReset.connect(self._on_row)
        self.lines.dataChanged.connect(self._on_data)

    def event(self, event: QEvent) -> bool:
        """F1 is the table's while a check is looked at, and the window's otherwise."""
        line = self.current if event.type() in _KEY_EVENTS else None
        if line is None or not isinstance(event, QKeyEvent) or event.key() != Qt.Key.Key_F1:
            return super().event(event)
        event.accept()
        if event.type() == QEvent.Type.KeyPress:
            result = line.result
            came = (
                ""
                if result is None
                else f" {result.verdict.value.capitalize()}. {localised(result.why)}"
            )
            self.asked.emit(line.check.partition("/")[0], f"{line.title}.{came}".strip())
        return True

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Text is not looked for among the checks: it may be a scan, and goes to the page."""
        if typed_text(event):
            event.ignore()
        else:
            super().keyPressEvent(event)

    def look_at(self, check: str) -> None:
        """Select the line of a check and bring it into sight."""
        for row, line in enumerate(self.lines.lines):
            if line.check == check:
                self.selectRow(row)
                self.scrollTo(self.lines.index(row, 0))
                return

    @property
    def current(self) -> Line | None:
        """The line that is looked at."""
        row = self.currentIndex().row()
        return self.lines.lines[row] if 0 <= row < len(self.lines.lines) else None

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Where names would be cut short, limits and then values stand in the evidence only."""
        super().resizeEvent(event)
        metrics, room = self.fontMetrics(), self.viewport().width()
        needed = [metrics.horizontalAdvance(text) + metrics.height() for text in _LONG]
        self.setColumnHidden(3, room < sum(needed))
        self.setColumnHidden(2, room < sum(needed[:3]))

    def _dress(self) -> None:
        metrics = self.fontMetrics()
        self.verticalHeader().setDefaultSectionSize(metrics.height() + self._theme.px(8))
        calm_selection(self, self._theme)

    def _on_data(self, first: QModelIndex, last: QModelIndex) -> None:
        if first.row() <= self.currentIndex().row() <= last.row():
            self._on_row()

    def _on_row(self, *_: object) -> None:
        line = self.current
        self.chosen.emit(line.check if line else "")


def calm_selection(view: QAbstractItemView, theme: Theme) -> None:
    """Selected rows keep the colours of what stands in them, on a band."""
    palette = view.palette()
    palette.setColor(palette.ColorRole.Highlight, theme.colour("band"))
    palette.setColor(palette.ColorRole.HighlightedText, theme.colour("ink"))
    palette.setColor(palette.ColorRole.Base, theme.colour("sheet"))
    palette.setColor(palette.ColorRole.Text, theme.colour("ink"))
    view.setPalette(palette)
    # A style sheet keeps the colours of the look before for what is drawn on.
    view.viewport().setPalette(palette)
