"""The list of records: what is looked for, one page of runs, marks for comparing and export."""

from collections.abc import Mapping
from typing import Any, Final

from PySide6.QtCore import QObject, Qt, Signal
from PySide6.QtGui import QKeyEvent, QResizeEvent
from PySide6.QtWidgets import (
    QBoxLayout,
    QComboBox,
    QHBoxLayout,
    QLineEdit,
)

from rungbench.archive.record import RunVerdict
from rungbench.archive.search import RunSummary
from rungbench.desktop.page_list import PageList, PageModel, PageTable
from rungbench.desktop.paging import Page
from rungbench.desktop.records_pages import Wanted, page_text
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
_TWO_ROWS: Final = 560

_ANY: Final = "any verdict"


class SummaryModel(PageModel):
    """One page; `marked` are ids, they stay over pages."""

    headings = HEADINGS
    rows: tuple[RunSummary, ...]

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self.marked: dict[str, None] = {}

    def toggle(self, row: int) -> None:
        """Mark a run, or take the mark away."""
        run_id = self.rows[row].run_id
        if run_id in self.marked:
            del self.marked[run_id]
        else:
            self.marked[run_id] = None
        self.dataChanged.emit(self.index(row, 0), self.index(row, len(HEADINGS) - 1))

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


class SummaryTable(PageTable):
    """The page; Enter opens a run, Space marks it, Ctrl and the page keys turn."""

    marks = Signal()

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self.runs = SummaryModel(self)
        self.set_up("Records", self.runs, RowDelegate(self), wide=2)
        self.setItemDelegateForColumn(0, VerdictDelegate(theme, self))
        self.doubleClicked.connect(lambda index: self.open_row(index.row()))
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

    def name_of(self, row: int) -> str:
        """The record's id."""
        return self.runs.rows[row].run_id

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """See the class."""
        row = self.currentIndex().row()
        if event.key() == Qt.Key.Key_Space and row >= 0:
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
        # At the very least verdict, day and serial number; the opened record shows its id.
        self.setColumnHidden(6, room < shown)
        if room < shown:
            widths = widths | {3: max(widths[3], room - widths[0] - widths[1])}
        for column, width in widths.items():
            self.horizontalHeader().resizeSection(column, width)

    def _widths(self, samples: Mapping[int, str]) -> dict[int, int]:
        metrics = self.fontMetrics()
        return {
            column: metrics.horizontalAdvance(text) + self._theme.px(18)
            for column, text in samples.items()
        }

    def _dress(self) -> None:
        metrics = self.fontMetrics()
        self.verticalHeader().setDefaultSectionSize(metrics.height() + self._theme.px(8))
        calm_selection(self, self._theme)
        self._fit()


class RecordsList(PageList):
    """What is looked for in records, and a page of them."""

    def __init__(self, theme: Theme) -> None:
        table = SummaryTable(theme)
        super().__init__(theme, table, "runs")
        self.table = table
        self.maker, self.since, self.until = QLineEdit(), QLineEdit(), QLineEdit()
        self.take_field(self.text, "Serial or record")
        self.take_field(self.maker, "Maker")
        self.take_field(self.since, "Since, 2025-07-31")
        self.take_field(self.until, "Until, 2025-07-31")
        self.verdict = QComboBox()
        self.verdict.setAccessibleName("Verdict")
        self.verdict.addItems([_ANY, *RunVerdict])
        self.verdict.activated.connect(lambda _: self.wanted_changed.emit())
        words, days, choices = QHBoxLayout(), QHBoxLayout(), QHBoxLayout()
        for field, stretch in ((self.text, 3), (self.maker, 2)):
            words.addWidget(field, stretch)
        for field in (self.since, self.until):
            days.addWidget(field)
        choices.addWidget(self.verdict)
        choices.addWidget(self.which)
        self._sought = QBoxLayout(QBoxLayout.Direction.LeftToRight)
        self._rest = QBoxLayout(QBoxLayout.Direction.LeftToRight)
        self._rest.addLayout(days, 4)
        self._rest.addLayout(choices, 2)
        self._sought.addLayout(words, 5)
        self._sought.addLayout(self._rest, 6)
        self.lay_out(self._sought)

    def words(self, found: Page[RunSummary]) -> str:
        """See the class above."""
        return page_text(found, self.wanted)

    def resizeEvent(self, event: QResizeEvent) -> None:
        """What is looked for in one row, or in two or three where there is not the width."""
        super().resizeEvent(event)
        direction, width = QBoxLayout.Direction, event.size().width()
        for layout, least in ((self._sought, _ONE_ROW), (self._rest, _TWO_ROWS)):
            wide = width >= self._theme.px(least)
            layout.setDirection(direction.LeftToRight if wide else direction.TopToBottom)

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
