"""Records side by side: periods over one another, and the table of differences."""

from collections.abc import Sequence
from dataclasses import dataclass

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QComboBox, QHBoxLayout, QSplitter, QVBoxLayout, QWidget

from rungbench.archive.record import Record
from rungbench.desktop.figures import figure
from rungbench.desktop.records_budget import PlainTable
from rungbench.desktop.records_compare import Row
from rungbench.desktop.records_facts import name_words
from rungbench.desktop.records_overlay import SIGNS, OverlayPlot
from rungbench.desktop.records_traces import Trace
from rungbench.desktop.run_labels import PlainLabel
from rungbench.desktop.theme import Theme


@dataclass(frozen=True, slots=True, eq=False)
class Compared:
    """Records with their differences, and the traces of each by step."""

    records: tuple[Record, ...]
    rows: tuple[Row, ...]
    traces: tuple[tuple[Trace, ...], ...]


class ComparePage(QWidget):
    """Shows up to four records; the first one is what the others are compared with."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._compared: Compared | None = None
        self._who = PlainLabel(theme)
        self._about = PlainLabel(theme, size=0.9).colour("faint")
        self.step = QComboBox()
        self.step.setAccessibleName("Step")
        self.plot = OverlayPlot(theme, signs=True)
        self.table = PlainTable(theme, ("Check",), "Differences", wraps=True)
        top = QWidget()
        column = QVBoxLayout(top)
        column.setContentsMargins(0, 0, 0, 0)
        row = QHBoxLayout()
        row.addWidget(self._who, 1)
        row.addWidget(self.step)
        column.addLayout(row)
        column.addWidget(self.plot, 1)
        split = QSplitter(Qt.Orientation.Vertical)
        split.addWidget(top)
        split.addWidget(self.table)
        split.setChildrenCollapsible(False)
        split.setSizes([theme.px(380), theme.px(340)])
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addWidget(split, 1)
        layout.addWidget(self._about)
        self.step.currentIndexChanged.connect(self._show_step)

    def show_compared(self, compared: Compared) -> None:
        """Show these."""
        self._compared = compared
        self._who.setText("\n".join(map(_who, SIGNS, compared.records)))
        every = [trace for traces in compared.traces for trace in traces]
        every.sort(key=lambda trace: not trace.periodic)
        steps = dict.fromkeys(trace.title for trace in every)
        self.step.blockSignals(True)
        self.step.clear()
        self.step.addItems(list(steps))
        self.step.blockSignals(False)
        self._show_step(0)
        self._show_rows(compared)

    def _show_step(self, _place: int) -> None:
        if self._compared is None:
            return
        wanted, found = self.step.currentText(), []
        for sign_traces in self._compared.traces:
            of_step = [trace for trace in sign_traces if trace.title == wanted]
            found += of_step[:1]
        self.plot.show_traces(found)

    def _show_rows(self, compared: Compared) -> None:
        signs = SIGNS[: len(compared.records)]
        headings = [
            "Check",
            "Quantity",
            *signs,
            *(f"{sign} less {signs[0]}, U (95 %)" for sign in signs[1:]),
        ]
        self.table.set_headings(headings)
        self.table.show_rows([cells(row) for row in compared.rows], marks(compared.rows), "fail")
        number = sum(row.differs for row in compared.rows)
        differ = "1 quantity differs" if number == 1 else f"{number} quantities differ"
        self._about.setText(
            f"{differ} by more than U (95 %): bold. What both budgets share, "
            "such as the same calibration, cancels."
        )


def marks(rows: Sequence[Row]) -> list[bool]:
    """Which rows differ."""
    return [row.differs for row in rows]


def cells(row: Row) -> list[str]:
    """A row of the table; where nothing was measured the verdict stands."""
    values = [
        verdict or "–" if value is None else figure(value)
        for value, verdict in zip(row.values, row.verdicts, strict=True)
    ]
    differences = ["" if one is None else figure(one) for one in row.differences]
    return [row.title, name_words(row.name), *values, *differences]


def _who(sign: str, record: Record) -> str:
    charger = record.header.charger
    mark = "SIMULATED  " if record.header.simulated else ""
    started = f"{record.header.started:%Y-%m-%d %H:%M}"
    return f"{sign}  {mark}{charger.serial}  {record.verdict.value}  {record.run_id}  {started}"
