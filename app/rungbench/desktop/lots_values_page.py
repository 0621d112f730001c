"""The values of a lot: a line for each quantity, and the charts of the one that is looked at."""

from typing import Final

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QComboBox,
    QHBoxLayout,
    QVBoxLayout,
    QWidget,
)

from rungbench.desktop.lots_chart_stack import ChartStack
from rungbench.desktop.lots_charts import (
    figure_lines,
    histogram_chart,
    individuals_chart,
    ranges_chart,
    run_chart,
    too_few,
)
from rungbench.desktop.lots_opened import SUMMARY_HEADINGS, OpenedLot, summary_cells, summary_names
from rungbench.desktop.records_budget import PlainTable
from rungbench.desktop.run_flow import Halves
from rungbench.desktop.run_labels import PlainLabel, button
from rungbench.desktop.theme import Theme
from rungbench.lots.variables import Variables

NAMES: Final = ("How the values are spread", "Unit after unit", "Individuals", "Moving range")
_FIGURES: Final = (1, 2, 3, 4, 5)  # columns of the table


class ValuesPage(QWidget):
    """`wanted` asks for a quantity by its name, `opened` for the record of a value."""

    wanted = Signal(str)
    opened = Signal(str)

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self._lot: int | None = None
        self.table = PlainTable(theme, SUMMARY_HEADINGS, "Judged quantities", wraps=True, wide=0)
        self.quantity = QComboBox()
        self.quantity.setAccessibleName("Quantity")
        self.quantity.setSizeAdjustPolicy(
            QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon
        )
        self.quantity.setMinimumContentsLength(18)
        self.figures = PlainLabel(theme, size=0.95)
        self.charts = ChartStack(theme, NAMES)
        self.turn = button("More charts  (F7)", self.charts.next)
        self._judged: tuple[str, ...] = ()
        self._opened: OpenedLot | None = None
        self._lay_out()
        self.table.currentCellChanged.connect(self._on_row)
        self.quantity.activated.connect(lambda _: self._ask())
        theme.changed.connect(self._fill)

    def _lay_out(self) -> None:
        theme = self._theme
        self.charts.opened.connect(self.opened)
        right = QWidget()
        column = QVBoxLayout(right)
        column.setContentsMargins(theme.px(8), 0, 0, 0)
        row = QHBoxLayout()
        row.addWidget(self.quantity, 1)
        row.addWidget(self.turn)
        column.addLayout(row)
        column.addWidget(self.figures)
        column.addWidget(self.charts, 1)
        split = Halves(theme, self.table, right, [500, 530])
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addWidget(split)

    @property
    def name(self) -> str:
        """The quantity that is looked at, ``CHECK:QUANTITY``, or nothing."""
        return str(self.quantity.currentData() or "")

    @property
    def words(self) -> str:
        """The quantity that is looked at, for people."""
        return self.quantity.currentText()

    def show_lot(self, opened: OpenedLot) -> None:
        """Another lot, or the same one with more runs: the quantity that was looked at stays."""
        before = self.name if self._lot == opened.state.lot.number else ""
        self._lot = opened.state.lot.number
        self.quantity.blockSignals(True)
        self.quantity.clear()
        for name in opened.names:
            words = opened.words(name)
            self.quantity.addItem(words if name.judged else f"{words} (no limit)", name.text)
        self.quantity.blockSignals(False)
        self._opened = opened
        self._fill()
        first = opened.summaries[0].series.name.text if opened.summaries else ""
        self.look_at(before or first)

    def _fill(self) -> None:
        """The table; also after the look became another one, since rows that stand out keep it."""
        opened = self._opened
        if opened is None:
            return
        self.table.blockSignals(True)
        self.table.show_rows(
            [
                summary_cells(name, one)
                for name, one in zip(summary_names(opened), opened.summaries, strict=True)
            ],
            [one.outside > 0 for one in opened.summaries],
            "fail",
        )
        for row in range(self.table.rowCount()):
            for column in _FIGURES:
                item = self.table.item(row, column)
                if item is not None:
                    item.setTextAlignment(
                        Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
                    )
        self.table.blockSignals(False)
        self._judged = tuple(one.series.name.text for one in opened.summaries)
        self._mark()

    def look_at(self, name: str) -> None:
        """Another quantity."""
        row = self.quantity.findData(name)
        self.quantity.setCurrentIndex(row if row >= 0 else 0)
        self._ask()

    def show_quantity(self, found: Variables) -> None:
        """The charts of a quantity, if it is still looked at."""
        if found.series.name.text != self.name:
            return
        self.figures.setText(" ".join(figure_lines(found)))
        drawn = (
            histogram_chart(found),
            run_chart(found),
            individuals_chart(found),
            ranges_chart(found),
        )
        self.charts.show_charts(drawn, too_few(found) or "There are no values yet.")

    def _ask(self) -> None:
        self._mark()
        if self.name:
            self.wanted.emit(self.name)
            return
        why = "No run of the lot counts yet; test its units first."
        self.figures.setText("")
        self.charts.show_charts((None,) * len(NAMES), why)

    def _mark(self) -> None:
        """The line of the quantity, if it has one, is looked at."""
        self.table.blockSignals(True)
        if self.name in self._judged:
            self.table.selectRow(self._judged.index(self.name))
        else:
            self.table.clearSelection()
        self.table.blockSignals(False)

    def _on_row(self, row: int, _column: int, before: int, _old: int) -> None:
        if row != before and 0 <= row < len(self._judged) and self._judged[row] != self.name:
            self.look_at(self._judged[row])
