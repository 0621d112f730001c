"""One opened record: verdict, checks with evidence, budgets, findings, facts."""

from dataclasses import dataclass

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QComboBox,
    QHBoxLayout,
    QPlainTextEdit,
    QTabBar,
    QVBoxLayout,
    QWidget,
)

from rungbench.archive.record import CheckResult, Record
from rungbench.desktop.figures import figure
from rungbench.desktop.records_budget import PlainTable
from rungbench.desktop.records_facts import (
    budget_cells,
    facts,
    findings_lines,
    lines_of,
    name_words,
    quantities_of,
)
from rungbench.desktop.records_traces import Trace
from rungbench.desktop.run_evidence import EvidencePanel
from rungbench.desktop.run_flow import Halves, Pages
from rungbench.desktop.run_labels import PlainLabel
from rungbench.desktop.run_table import LineTable
from rungbench.desktop.side import into_sight
from rungbench.desktop.theme import Theme
from rungbench.desktop.verdict_mark import VerdictMark
from rungbench.qualify.findings import Explanation
from rungbench.report.verdicts import meaning

TABS = ("Evidence", "Budget", "Findings", "Facts")
_BUDGET = ("Component", "u", "Contribution", "Share", "Kind, dof")

_NO_BUDGET = ("A count, or nothing measured: there is no budget.", "", "", "", "")


@dataclass(frozen=True, slots=True)
class Opened:
    """A record with what explains it."""

    record: Record
    explanations: tuple[Explanation, ...]


class RecordPage(QWidget):
    """Shows one record; `wants_trace` asks for the captures of a result."""

    wants_trace = Signal(object)

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self._theme = theme
        self.opened: Opened | None = None
        self._mark = VerdictMark(theme, 1.8)
        self._title = PlainLabel(theme, size=1.3, bold=True)
        self._about = PlainLabel(theme).colour("faint")
        self._simulated = PlainLabel(theme, "SIMULATED", bold=True)
        self._simulated.setWordWrap(False)
        self._simulated.setObjectName("simulated")
        self.table = LineTable(theme)
        self.tabs = QTabBar()
        self.evidence = EvidencePanel(theme)
        self.quantity = QComboBox()
        self.budget = PlainTable(theme, _BUDGET, "Budget", wraps=True, wide=0)
        self.findings = QPlainTextEdit()
        self.facts = PlainTable(theme, ("", ""), "Facts", wraps=True, wide=1)
        self._pages = Pages()
        self._lay_out()
        self.table.chosen.connect(self._on_chosen)
        self.quantity.currentIndexChanged.connect(self._show_budget)
        self.tabs.currentChanged.connect(self._pages.setCurrentIndex)

    def _lay_out(self) -> None:
        theme = self._theme
        head = QHBoxLayout()
        head.addWidget(self._mark)
        texts = QVBoxLayout()
        texts.addWidget(self._title)
        texts.addWidget(self._about)
        head.addLayout(texts, 1)
        head.addWidget(self._simulated, 0, Qt.AlignmentFlag.AlignTop)
        for title in TABS:
            self.tabs.addTab(title)
        self.tabs.setAccessibleName("Parts of the record")
        self.tabs.setExpanding(False)
        self.quantity.setAccessibleName("Quantity")
        budget = QWidget()
        column = QVBoxLayout(budget)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.quantity)
        column.addWidget(self.budget, 1)
        self.findings.setReadOnly(True)
        self.findings.setAccessibleName("Findings")
        self.facts.horizontalHeader().hide()
        for page in (self.evidence, budget, self.findings, self.facts):
            self._pages.addWidget(page)
        right = QWidget()
        whole = QVBoxLayout(right)
        whole.setContentsMargins(theme.px(8), 0, 0, 0)
        whole.addWidget(self.tabs)
        whole.addWidget(self._pages, 1)
        split = Halves(theme, self.table, right, [700, 560])
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.addLayout(head)
        layout.addWidget(split, 1)

    def show_record(self, opened: Opened) -> None:
        """Show a record, its first check looked at."""
        self.opened = opened
        record = opened.record
        header, charger = record.header, record.header.charger
        self._mark.show_verdict(record.verdict.value)
        self._title.setText(f"{charger.maker} {charger.model}, serial {charger.serial}")
        cut = f" Interrupted: {record.interrupted}" if record.interrupted else ""
        when = f"{header.started:%Y-%m-%d %H:%M} UTC"
        self._about.setText(
            f"Record {record.run_id}, {when}. {meaning(record.verdict)}{cut}{_family(record)}"
        )
        self._simulated.setVisible(header.simulated)
        lines = findings_lines(opened.explanations, record.verdict.value)
        self.findings.setPlainText("\n".join(lines) or "Nothing to explain: every check passed.")
        self.facts.show_rows(facts(record))
        self.table.lines.show_lines(lines_of(record))
        self.table.clearSelection()
        if record.checks:
            first = _first_looked_at(record)
            self.table.look_at(f"{first.check}/{first.attempt}")

    def show_trace(self, result: CheckResult, trace: Trace) -> None:
        """The captures of a result, if it is still looked at."""
        line = self.table.current
        if line is not None and line.result is result:
            self.evidence.show_traces((trace,))

    def next_tab(self) -> None:
        """The next part, brought into sight."""
        self.tabs.setCurrentIndex((self.tabs.currentIndex() + 1) % len(TABS))
        into_sight(self._pages)

    def _on_chosen(self, _check: str) -> None:
        line = self.table.current
        result = None if line is None else line.result
        self.evidence.show_result(result)
        self.quantity.blockSignals(True)
        self.quantity.clear()
        for one in quantities_of(result) if result else ():
            self.quantity.addItem(f"{name_words(one.name)}  {figure(one)}")
        self.quantity.blockSignals(False)
        self._show_budget(0)
        if result is not None and result.captures:
            self.wants_trace.emit(result)

    def _show_budget(self, place: int) -> None:
        line = self.table.current
        held = quantities_of(line.result) if line is not None and line.result else ()
        rows = budget_cells(held[place]) if 0 <= place < len(held) else ()
        self.budget.show_rows(rows or (_NO_BUDGET,))


def _family(record: Record) -> str:
    """What the record was made from, and what was made from it."""
    origin = record.header.origin
    after = f" Followed by {', '.join(record.followed_by)}." if record.followed_by else ""
    if origin is None:
        return after
    word = origin.kind.value
    return f" {word[:1].upper()}{word[1:]} from {origin.record}: {origin.reason}{after}"


def _first_looked_at(record: Record) -> CheckResult:
    """The first fail; without one, the first check that measured something."""
    measured = (one for one in record.checks if any(q.u > 0.0 for q in quantities_of(one)))
    found = next((one for one in record.checks if one.verdict == "fail"), next(measured, None))
    return found or record.checks[0]
