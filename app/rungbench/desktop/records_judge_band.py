"""By what a record is judged again: limits, rule, reason, asked for in place."""

from typing import Final

from PySide6.QtCore import Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QBoxLayout, QComboBox, QFrame, QHBoxLayout, QLineEdit

from pilotsignal.limit import Rule
from rungbench.desktop.records_judge import Asked, profile_names
from rungbench.desktop.run_labels import PlainLabel, button
from rungbench.desktop.theme import Theme

_OWN_RULE: Final = "the rule of each limit"


_ONE_ROW = 860


class JudgeBand(QFrame):
    """`asked` with an `Asked`; hidden otherwise."""

    asked = Signal(object)

    def __init__(self, theme: Theme) -> None:
        super().__init__()
        self.setObjectName("lost")
        self.profile, self.rule, self.reason = QComboBox(), QComboBox(), QLineEdit()
        self.profile.setAccessibleName("Limits")
        self.rule.setAccessibleName("Rule")
        self.rule.addItems([_OWN_RULE, *Rule])
        self.reason.setAccessibleName("Reason")
        self.reason.setPlaceholderText("why, for the record")
        self.reason.returnPressed.connect(self._give)
        label = PlainLabel(theme, "Judge again by", bold=True)
        label.setWordWrap(False)
        self._theme = theme
        first, second = QHBoxLayout(), QHBoxLayout()
        for part in (label, self.profile, self.rule):
            first.addWidget(part)
        first.addStretch(1)
        second.addWidget(self.reason, 1)
        second.addWidget(button("Judge  (Enter)", self._give))
        second.addWidget(button("Leave it  (F8)", self.hide))
        self._layout = QBoxLayout(QBoxLayout.Direction.LeftToRight, self)
        self._layout.addLayout(first)
        self._layout.addLayout(second, 1)
        self.hide()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """In one row, or in two where there is not the width."""
        super().resizeEvent(event)
        direction, wide = QBoxLayout.Direction, event.size().width() >= self._theme.px(_ONE_ROW)
        self._layout.setDirection(direction.LeftToRight if wide else direction.TopToBottom)

    def ask(self, own: str) -> None:
        """Ask; `own` is the profile that the record was judged by."""
        names = profile_names()
        self.profile.clear()
        self.profile.addItems(list(names))
        self.profile.setCurrentIndex(names.index(own) if own in names else 0)
        self.reason.clear()
        self.show()
        self.profile.setFocus()

    def _give(self) -> None:
        row = self.rule.currentIndex()
        rule = tuple(Rule)[row - 1] if row > 0 else None
        self.hide()
        self.asked.emit(Asked(self.profile.currentText(), rule, self.reason.text()))
