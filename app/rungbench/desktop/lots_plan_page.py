"""A lot's sampling plan with its risks, and a supplier's lots with the state of switching."""

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QVBoxLayout, QWidget

from rungbench.desktop.lots_chart_face import ChartFace
from rungbench.desktop.lots_chart_stack import ChartStack
from rungbench.desktop.lots_charts import run_chart
from rungbench.desktop.lots_mark import MarkDelegate
from rungbench.desktop.lots_opened import LOT_HEADINGS, PlanViews, SupplierViews, lot_rows
from rungbench.desktop.lots_plan_charts import trend_chart
from rungbench.desktop.lots_words import asked_text, in_locale, lot_pairs
from rungbench.desktop.records_budget import PlainTable
from rungbench.desktop.run_flow import Halves
from rungbench.desktop.run_labels import PlainLabel
from rungbench.desktop.theme import Theme
from rungbench.lots.lot import Lot, LotState
from rungbench.lots.wording import plan_lines, risk_lines


class PlanPage(QWidget):
    """What is tested, what decides, what that risks; and how the sample was drawn."""

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._plan = PlainLabel(theme)
        self._risks = PlainLabel(theme)
        self.chart = ChartFace(theme, "Operating characteristic")
        self.facts = PlainTable(theme, ("", ""), "Facts of the lot", wraps=True, wide=1)
        self.facts.horizontalHeader().hide()
        left = QWidget()
        column = QVBoxLayout(left)
        column.setContentsMargins(0, 0, theme.px(8), 0)
        column.addWidget(self._plan)
        column.addWidget(self._risks)
        column.addWidget(self.facts, 1)
        right = QWidget()
        column = QVBoxLayout(right)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.chart, 1)
        said = "Line: this lot (hypergeometric). Dashes: a series of such lots (binomial)."
        column.addWidget(PlainLabel(theme, said, size=0.9).colour("faint"))
        split = Halves(theme, left, right, [500, 530])
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addWidget(split)

    def show_lot(self, state: LotState) -> None:
        """The plan; its risks come later, by `show_views`."""
        lot = state.lot
        self._plan.setText(in_locale(plan_lines(lot.plan)))
        self._risks.setText("Working out the risks.")
        self.chart.show_chart(None, "Working out the operating characteristic.")
        self.facts.show_rows(tuple(lot_pairs(state)))

    def show_views(self, lot: Lot, views: PlanViews) -> None:
        """Risks and characteristic."""
        self._risks.setText(in_locale(risk_lines(lot.plan, views.risks)))
        self.chart.show_chart(views.chart)


class SupplierPage(QWidget):
    """A supplier's lots of one model in the order of making.

    `opened` has the name of a lot, `record` the id of a record.
    """

    opened = Signal(str)
    record = Signal(str)

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._advice = PlainLabel(theme, bold=True)
        self._about = PlainLabel(theme).colour("faint")
        self.table = PlainTable(theme, LOT_HEADINGS, "Lots of the supplier")
        self.table.setItemDelegateForColumn(0, MarkDelegate(theme, self.table))
        self.charts = ChartStack(theme, ("Means of the lots", "All values"))
        split = Halves(theme, self.table, self.charts, [520, 510])
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addWidget(self._advice)
        whole.addWidget(self._about)
        whole.addWidget(split, 1)
        self.table.cellDoubleClicked.connect(lambda row, _column: self._open(row))
        self.table.cellActivated.connect(lambda row, _column: self._open(row))
        self.charts.faces[0].opened.connect(self.opened)
        self.charts.faces[1].opened.connect(self.record)

    def wait(self, supplier: str) -> None:
        """It is being worked out."""
        self._advice.setText(f"Looking through the lots of {supplier}.")
        self._about.setText("")
        self.table.show_rows(())
        self.charts.show_charts((None, None))

    def show_views(self, lot: Lot, views: SupplierViews, name: str) -> None:
        """Lots, means, all values; `name` is the quantity in words."""
        self._advice.setText(asked_text(views.advice))
        count = "1 lot" if len(views.states) == 1 else f"{len(views.states)} lots"
        sheet = lot.sheet
        what = f"; {name}" if name else ""
        self._about.setText(f"{lot.supplier}, {sheet.maker} {sheet.model}: {count}{what}")
        self.table.show_rows(lot_rows(views))
        if views.trend is None:
            self.charts.show_charts((None, None), views.why)
            return
        both = trend_chart(views.trend), run_chart(views.trend.whole)
        self.charts.show_charts(both, "There are no values yet.")

    def _open(self, row: int) -> None:
        item = self.table.item(row, 1)
        if item is not None:
            self.opened.emit(item.text())
