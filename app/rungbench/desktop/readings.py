"""The table of readings: value with uncertainty, limit, margin, verdict by word and shape."""

from html import escape
from typing import Final

from PySide6.QtCore import QEvent, QSize, Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHBoxLayout,
    QHeaderView,
    QLabel,
    QSizePolicy,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from pilotsignal.notices import Notice
from pilotsignal.standard import Profile
from rungbench.desktop.figures import bounds, figure, localised, margin
from rungbench.desktop.judging import Measured, Row
from rungbench.desktop.meanings import duty_text, notice_text, state_text
from rungbench.desktop.theme import Theme
from rungbench.desktop.verdict_mark import VerdictMark

_TITLES: Final = ("Reading", "Value ± U (95 %)", "Limit", "Margin", "Verdict")
_ROWS: Final = 9
_NONE: Final = "–"
_ASK_CURRENT: Final = "state the set current"
_EXPLAIN: Final = "Explain"


class Readings(QWidget):
    """State and duty in words, the table, and the notices with what to do.

    `asked` wants a reading explained: the name of its quantity or notice, and what it came to.
    """

    asked = Signal(str, str)

    def __init__(self, theme: Theme, profile: Profile) -> None:
        super().__init__()
        self._theme, self._profile = theme, profile
        self.state, self.duty = QLabel("not measured yet"), QLabel("")
        for label in (self.state, self.duty):
            label.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.state.setObjectName("state")
        self.state.setWordWrap(True)
        self.state.setAccessibleName("State")
        self.duty.setAccessibleName("Duty")
        self.table = _Table(theme)
        self.table.itemActivated.connect(lambda item: self._ask(item.row()))
        self.table.asked.connect(self._ask)
        self._rows: tuple[Row, ...] = ()
        self._said = ""
        self.notices = QLabel("")
        self.notices.setWordWrap(True)
        self.notices.setAlignment(Qt.AlignmentFlag.AlignTop)
        self.notices.setAccessibleName("Notices")
        self.notices.setTextFormat(Qt.TextFormat.RichText)
        self.notices.setTextInteractionFlags(
            Qt.TextInteractionFlag.LinksAccessibleByMouse
            | Qt.TextInteractionFlag.LinksAccessibleByKeyboard
        )
        self.notices.linkActivated.connect(lambda code: self.asked.emit(code, ""))
        self.read_out = QLabel("")
        self.read_out.setAccessibleName("Cursor")
        words = QHBoxLayout()
        words.addWidget(self.duty, 1)
        words.addWidget(self.read_out)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(theme.px(3))
        layout.addWidget(self.state)
        layout.addLayout(words)
        layout.addWidget(self.table)
        layout.addWidget(self.notices)

    def show_measured(self, measured: Measured | None) -> None:
        """All of a stretch, or nothing."""
        found = measured.found if measured is not None else None
        self.state.setText(state_text(found))
        self.duty.setText(duty_text(found, self._profile))
        self._rows = measured.rows if measured is not None else ()
        self.table.show_rows(self._rows)
        lines = [_linked(notice) for notice in found.notices] if found is not None else []
        if measured is not None and measured.lost:
            lines.insert(0, escape(f"Lost on the link: {measured.lost}. Nothing was filled in."))
        said = "<br>".join(f"•&nbsp; {line}" for line in lines)
        # Only what changed: setting the text anew would take the focus from a link.
        if said != self._said:
            self._said = said
            self.notices.setText(said)

    def _ask(self, row: int) -> None:
        if 0 <= row < len(self._rows):
            self.asked.emit(self._rows[row].key, reading_text(self._rows[row]))


def reading_text(row: Row) -> str:
    """A reading in a sentence: value, limit with its clause, and what it came to."""
    title, value, limit, far = _texts(row)
    said = f"{title}: {value if row.quantity is not None else 'not measured'}."
    judgement = row.judgement
    if judgement is None:
        return said
    if judgement.quantity is not None:
        said += f" Limit {limit} ({judgement.limit.clause}), margin {far}."
    return f"{said} {str(judgement.verdict).capitalize()}: {localised(judgement.why)}"


def _linked(notice: Notice) -> str:
    """A notice with a link to where it is explained."""
    return f'{escape(notice_text(notice))} <a href="{escape(notice.code)}">{_EXPLAIN}</a>'


class _Table(QTableWidget):
    """Rows that are written anew only where something changed; F1 asks about the one looked at."""

    asked = Signal(int)

    def __init__(self, theme: Theme) -> None:
        super().__init__(0, len(_TITLES))
        self._theme = theme
        self.setHorizontalHeaderLabels(list(_TITLES))
        self.setAccessibleName("Readings")
        self.verticalHeader().hide()
        self.verticalHeader().setMinimumSectionSize(1)
        self.verticalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setTabKeyNavigation(False)
        self.setShowGrid(False)
        self.setAlternatingRowColors(False)
        self.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAsNeeded)
        self.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAsNeeded)
        self.setHorizontalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        header = self.horizontalHeader()
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header.setStretchLastSection(True)
        theme.changed.connect(self._resize)
        self._resize()

    def event(self, event: QEvent) -> bool:
        """F1 is the table's while a row is looked at, and the window's otherwise."""
        if isinstance(event, QKeyEvent) and event.key() == Qt.Key.Key_F1 and self.currentRow() >= 0:
            if event.type() == QEvent.Type.ShortcutOverride:
                event.accept()
                return True
            if event.type() == QEvent.Type.KeyPress:
                self.asked.emit(self.currentRow())
                return True
        return super().event(event)

    def _resize(self) -> None:
        self.setFont(self._theme.font())
        self.horizontalHeader().setFont(self._theme.font(0.85))
        self.verticalHeader().setDefaultSectionSize(round(self.fontMetrics().height() * 1.35))
        self.updateGeometry()

    def sizeHint(self) -> QSize:
        """Room for all rows, so that nothing jumps."""
        rows = _ROWS * self.verticalHeader().defaultSectionSize()
        height = rows + self.horizontalHeader().sizeHint().height() + 2 * self.frameWidth() + 2
        return QSize(self._theme.px(420), height)

    def minimumSizeHint(self) -> QSize:
        """The same."""
        return self.sizeHint()

    def show_rows(self, rows: tuple[Row, ...]) -> None:
        """One row for each reading."""
        if self.rowCount() != len(rows):
            self.setRowCount(len(rows))
        for number, row in enumerate(rows):
            for column, text in enumerate(_texts(row)):
                self._write(number, column, text)
            self._mark(number, row)

    def _write(self, row: int, column: int, text: str) -> None:
        item = self.item(row, column)
        if item is None:
            item = QTableWidgetItem()
            self.setItem(row, column, item)
        if item.text() != text:
            item.setText(text)

    def _mark(self, number: int, row: Row) -> None:
        mark = self.cellWidget(number, 4)
        if not isinstance(mark, VerdictMark):
            mark = VerdictMark(self._theme)
            self.setCellWidget(number, 4, mark)
        judgement = row.judgement
        mark.show_verdict("" if judgement is None else str(judgement.verdict))
        why = "" if judgement is None else localised(judgement.why)
        if judgement is not None:
            why = f"{why} {judgement.limit.clause}; {judgement.limit.rule_text}."
        for column in range(4):
            item = self.item(number, column)
            if item is not None:
                item.setToolTip(why)
        mark.setToolTip(why)
        mark.setAccessibleDescription(why)


def _texts(row: Row) -> tuple[str, str, str, str]:
    value = _NONE if row.quantity is None else figure(row.quantity)
    judgement = row.judgement
    if judgement is None:
        return row.title, value, "", ""
    judged = judgement.quantity
    far = "" if judged is None else margin(judged, judgement.limit)
    if judged is None and row.quantity is not None:
        # The limit is of something else than the value, or nobody knows which one it is.
        return row.title, value, _ASK_CURRENT if row.key == "pulse_width_us" else "", ""
    return row.title, value, bounds(judgement.limit), far
