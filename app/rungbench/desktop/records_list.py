"""The list of records: what is looked for, one page of runs, marks for comparing and export."""

from collections.abc import Mapping
from functools import partial
from typing import Any, Final

from PySide6.QtCore import QAbstractTableModel, QEvent, QObject, Qt, QTimer, Signal
from PySide6.QtGui import QKeyEvent, QResizeEvent
from PySide6.QtWidgets import (
    QBoxLayout,
    QComboBox,
    QHBoxLayout,
    QLineEdit,
    QVBoxLayout,
    QWidget,
)

from rungbench.archive.record import RunVerdict
from rungbench.archive.search import RunSummary
from rungbench.desktop.records_pages import Page, Turn, Wanted, page_text
from rungbench.desktop.row_table import RowTable
from rungbench.desktop.run_flow import FlowLayout
from rungbench.desktop.run_labels import PlainLabel, button
from rungbench.desktop.run_table import Index, RowDelegate, VerdictDelegate, calm_selection
from rungbench.desktop.theme import Theme

HEADINGS: Final = ("Verdict", "Started (UTC)", "Charger", "Serial", "Plan", "Operator", "Record")
_SAMPLES: Final = {
    0: "bench fault mm",
    1: "2025-12-31 23:59 (no end)",
    3: "M" * 14,
    4: "pilot-only-",
    5: "M" * 9,
    6: "✓ mmmmm-mmmmm",
}
"""As wide as columns are; that of the charger takes what is left."""

_NARROW: Final = _SAMPLES | {1: "2025-12-31 23:59", 3: "MM-000000", 6: "mmmmm-mmmmm"}
_ONE_ROW: Final = 860

_ANY: Final = "any verdict"
_WAIT_MS: Final = 180  # while somebody types nothing is asked for
_TURNS: Final = {
    Qt.Key.Key_PageDown: Turn.NEXT,
    Qt.Key.Key_PageUp: Turn.BACK,
    Qt.Key.Key_Home: Turn.FIRST,
    Qt.Key.Key_End: Turn.LAST,
}


class SummaryModel(QAbstractTableModel):
    """One page; `marked` are ids, they stay over pages."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.rows: tuple[RunSummary, ...] = ()
        self.marked: dict[str, None] = {}

    def show_rows(self, rows: tuple[RunSummary, ...]) -> None:
        """Another page."""
        self.beginResetModel()
        self.rows = rows
        self.endResetModel()

    def toggle(self, row: int) -> None:
        """Mark a run, or take the mark away."""
        run_id = self.rows[row].run_id
        if run_id in self.marked:
            del self.marked[run_id]
        else:
            self.marked[run_id] = None
        self.dataChanged.emit(self.index(row, 0), self.index(row, len(HEADINGS) - 1))

    def rowCount(self, parent: Index | None = None) -> int:
        """One row a run."""
        return 0 if parent is not None and parent.isValid() else len(self.rows)

    def columnCount(self, parent: Index | None = None) -> int:
        """As many as headings."""
        return 0 if parent is not None and parent.isValid() else len(HEADINGS)

    def headerData(
        self, section: int, orientation: Qt.Orientation, role: int = Qt.ItemDataRole.DisplayRole
    ) -> Any:
        """The headings."""
        if role == Qt.ItemDataRole.DisplayRole and orientation == Qt.Orientation.Horizontal:
            return HEADINGS[section]
        return None

    def data(self, index: Index, role: int = Qt.ItemDataRole.DisplayRole) -> Any:
        """Texts; a mark stands before the record."""
        one = self.rows[index.row()]
        cells = summary_cells(one, marked=one.run_id in self.marked)
        if role == Qt.ItemDataRole.DisplayRole:
            return cells[index.column()]
        if role == Qt.ItemDataRole.AccessibleTextRole:
            return ", ".join(filter(None, cells))
        return None


def summary_cells(one: RunSummary, *, marked: bool = False) -> tuple[str, ...]:
    """What stands in the columns."""
    end = "" if one.finished is not None else " (no end)"
    follows = f"  {one.how} {one.follows}" if one.follows else ""
    return (
        one.verdict.value,
        f"{one.started:%Y-%m-%d %H:%M}{end}",
        f"{one.maker} {one.model}",
        one.serial,
        one.plan,
        one.operator,
        f"{'✓ ' if marked else ''}{one.run_id}{follows}",
    )


class SummaryTable(RowTable):
    """The page; Enter opens a run, Space marks it, Ctrl and the page keys turn."""

    opened = Signal(str)
    turned = Signal(object)
    marks = Signal()

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self.runs = SummaryModel(self)
        self.set_up("Records", self.runs, RowDelegate(self), wide=2)
        self.setItemDelegateForColumn(0, VerdictDelegate(theme, self))
        self.doubleClicked.connect(lambda index: self._open(index.row()))
        theme.changed.connect(self._dress)
        self._dress()

    def show_rows(self, rows: tuple[RunSummary, ...]) -> None:
        """Another page, its first run looked at."""
        self.runs.show_rows(rows)
        if rows:
            self.selectRow(0)

    def current(self) -> RunSummary | None:
        """The run that is looked at."""
        row = self.currentIndex().row()
        return self.runs.rows[row] if 0 <= row < len(self.runs.rows) else None

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """See the class."""
        control = event.modifiers() & Qt.KeyboardModifier.ControlModifier
        turn = _TURNS.get(Qt.Key(event.key())) if control else None
        row = self.currentIndex().row()
        if turn is not None:
            self.turned.emit(turn)
        elif event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self._open(row)
        elif event.key() == Qt.Key.Key_Space and row >= 0:
            self.runs.toggle(row)
            self.marks.emit()
        else:
            super().keyPressEvent(event)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """A narrow table leaves out operator and plan, which the opened record shows."""
        super().resizeEvent(event)
        self._fit()

    def _fit(self) -> None:
        room = self.viewport().width()
        needed = self._widths(_SAMPLES)
        whole = sum(needed.values()) + self.fontMetrics().horizontalAdvance("M" * 16)
        narrow = room < whole - needed[4] - needed[5]
        self.setColumnHidden(5, room < whole)
        self.setColumnHidden(4, room < whole - needed[5])
        widths = self._widths(_NARROW) if narrow else needed
        shown = sum(widths[column] for column in (0, 1, 3, 6))
        self.setColumnHidden(2, room < shown + self.fontMetrics().horizontalAdvance("M" * 6))
        for column, width in widths.items():
            self.horizontalHeader().resizeSection(column, width)

    def _widths(self, samples: Mapping[int, str]) -> dict[int, int]:
        metrics = self.fontMetrics()
        return {
            column: metrics.horizontalAdvance(text) + self._theme.px(18)
            for column, text in samples.items()
        }

    def _open(self, row: int) -> None:
        if 0 <= row < len(self.runs.rows):
            self.opened.emit(self.runs.rows[row].run_id)

    def _dress(self) -> None:
        metrics = self.fontMetrics()
        self.verticalHeader().setDefaultSectionSize(metrics.height() + self._theme.px(8))
        calm_selection(self, self._theme)
        self._fit()


class RecordsList(QWidget):
    """What is looked for above, the page below; `wanted_changed` after somebody typed."""

    wanted_changed = Signal()
    archive_chosen = Signal(bool)

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self.text, self.maker = _field("Serial or record"), _field("Maker")
        self.since, self.until = _field("Since, 2025-07-31"), _field("Until, 2025-07-31")
        self.verdict, self.which = QComboBox(), QComboBox()
        self.verdict.setAccessibleName("Verdict")
        self.verdict.addItems([_ANY, *RunVerdict])
        self.which.setAccessibleName("Archive")
        self.which.addItem("Real runs", False)
        self.which.addItem("Simulated runs", True)
        self.table = SummaryTable(theme)
        self.about = PlainLabel(theme).colour("faint")
        self.mark = PlainLabel(theme, "SIMULATED: runs of the demo archive.", bold=True)
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(_WAIT_MS)
        self._timer.timeout.connect(self.wanted_changed)
        self._lay_out()
        for field in (self.text, self.maker, self.since, self.until):
            field.textEdited.connect(self._timer.start)
            field.installEventFilter(self)
        self.verdict.activated.connect(lambda _: self.wanted_changed.emit())
        self.which.activated.connect(lambda row: self.archive_chosen.emit(bool(row)))

    def _lay_out(self) -> None:
        words, choices = QHBoxLayout(), QHBoxLayout()
        for field, stretch in ((self.text, 3), (self.maker, 2)):
            words.addWidget(field, stretch)
        for field in (self.since, self.until):
            choices.addWidget(field, 2)
        choices.addWidget(self.verdict)
        choices.addWidget(self.which)
        self._sought = row = QBoxLayout(QBoxLayout.Direction.LeftToRight)
        row.addLayout(words, 5)
        row.addLayout(choices, 6)
        told = QHBoxLayout()
        told.addWidget(self.mark)
        told.addWidget(self.about, 1)
        self.turns = FlowLayout(self._theme.px(6))
        names = (
            (Turn.FIRST, "First  (Ctrl+Home)"),
            (Turn.BACK, "Back  (Ctrl+PgUp)"),
            (Turn.NEXT, "Next  (Ctrl+PgDn)"),
            (Turn.LAST, "Last  (Ctrl+End)"),
        )
        self.buttons = {}
        for turn, text in names:
            made = button(text, partial(self.table.turned.emit, turn))
            self.buttons[turn] = made
            self.turns.addWidget(made)
        self.mark.setWordWrap(False)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addLayout(row)
        whole.addWidget(self.table, 1)
        whole.addLayout(told)
        whole.addLayout(self.turns)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """What is looked for in one row, or in two where there is not the width."""
        super().resizeEvent(event)
        direction = QBoxLayout.Direction
        wide = event.size().width() >= self._theme.px(_ONE_ROW)
        self._sought.setDirection(direction.LeftToRight if wide else direction.TopToBottom)

    @property
    def wanted(self) -> Wanted:
        """What is looked for."""
        row = self.verdict.currentIndex()
        return Wanted(
            self.text.text().strip(),
            self.maker.text().strip(),
            tuple(RunVerdict)[row - 1] if row > 0 else None,
            self.since.text().strip(),
            self.until.text().strip(),
        )

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
        """Down leads from a field into the table, Enter looks at once."""
        if isinstance(event, QKeyEvent) and event.type() == QEvent.Type.KeyPress:
            if event.key() == Qt.Key.Key_Down:
                self.table.setFocus()
                return True
            if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
                self._timer.stop()
                self.wanted_changed.emit()
                return True
        return super().eventFilter(watched, event)


def _field(name: str) -> QLineEdit:
    field = QLineEdit()
    field.setPlaceholderText(name)
    field.setAccessibleName(name)
    field.setClearButtonEnabled(True)
    field.setMaxLength(200)
    return field
