"""The cautions, confirmed once a session before anything energises."""

from collections.abc import Callable
from typing import Final

from PySide6.QtCore import QObject, Qt, Signal
from PySide6.QtWidgets import QCheckBox, QFrame, QHBoxLayout, QLabel, QPushButton, QVBoxLayout

from rungbench.desktop.theme import Theme
from rungbench.qualify.scope import CAUTIONS

_MORE: Final = (
    "Open only asks: a charger with welded contacts stays live. The outlet is watched for 5 s.",
    "Only insulated senses touch mains; board and USB are isolated from it.",
)
_CONFIRM: Final = "I have read this, the emergency stop is within reach, and I am qualified."


class Cautions(QObject):
    """Whether they were confirmed in this session, and who waits for that."""

    asked = Signal()
    settled = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.read = False
        self._then: Callable[[], None] | None = None

    def confirmed(self, then: Callable[[], None]) -> None:
        """Call `then` now, or once the cautions were confirmed; never if they are not."""
        if self.read:
            then()
            return
        self._then = then
        self.asked.emit()

    def settle(self, *, read: bool) -> None:
        """The operator has confirmed, or went back."""
        self.read = self.read or read
        then, self._then = self._then, None
        self.settled.emit()
        if read and then is not None:
            then()


class CautionsPage(QFrame):
    """The page that asks; no scanner confirms it: the box is ticked by mouse or Ctrl+F9."""

    def __init__(self, cautions: Cautions, theme: Theme) -> None:
        super().__init__()
        self.setObjectName("page")
        self._cautions = cautions
        title = QLabel("Before anything is energised")
        title.setObjectName("title")
        layout = QVBoxLayout(self)
        layout.addStretch(1)
        layout.addWidget(title)
        for text in (*CAUTIONS, *_MORE):
            line = QLabel(f"•  {text}")
            line.setWordWrap(True)
            layout.addWidget(line)
        self._tick = QCheckBox("All of this is so")
        self._tick.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._go = QPushButton("Confirm (Ctrl+F9 twice)")
        self._go.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._go.setEnabled(False)
        back = QPushButton("Back (Esc)")
        back.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._tick.toggled.connect(self._go.setEnabled)
        self._go.clicked.connect(lambda: cautions.settle(read=True))
        back.clicked.connect(lambda: cautions.settle(read=False))
        layout.addSpacing(theme.px(12))
        confirm = QLabel(_CONFIRM)
        confirm.setWordWrap(True)
        layout.addWidget(confirm)
        layout.addWidget(self._tick)
        row = QHBoxLayout()
        row.addWidget(self._go)
        row.addWidget(back)
        row.addStretch(1)
        layout.addLayout(row)
        layout.addStretch(2)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName("Cautions")
        self.setAccessibleDescription(" ".join((*CAUTIONS, *_MORE, _CONFIRM)))

    def ask(self) -> None:
        """Begin unticked."""
        self._tick.setChecked(False)
        self.setFocus()

    def confirm_key(self) -> None:
        """The arming key ticks, and confirms what is ticked; no key of a scanner does anything."""
        if self._tick.isChecked():
            self._cautions.settle(read=True)
        else:
            self._tick.setChecked(True)
