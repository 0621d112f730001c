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
_REHEARSED: Final = (
    "SIMULATED: nothing is energised here. With a real board you confirm that you have read this, "
    "that the emergency stop is within reach, and that you are qualified."
)
_GO: Final = "Confirm (Ctrl+F9 twice)"
_GO_ON: Final = "Go on (Ctrl+F9)"


class Cautions(QObject):
    """Whether they were confirmed in this session, and who waits for that.

    `simulated` says which kind of bench is connected.  What was confirmed on a simulated one
    (`rehearsed`) counts for no real one (`read`).
    """

    asked = Signal()
    settled = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.read = self.rehearsed = self.simulated = False
        self.asks_simulated = False
        self._then: Callable[[], None] | None = None

    @property
    def hold(self) -> bool:
        """Whether they were confirmed for the bench that is connected now."""
        return self.read or (self.simulated and self.rehearsed)

    def confirmed(self, then: Callable[[], None]) -> None:
        """Call `then` now, or once the cautions were confirmed; never if they are not."""
        if self.hold:
            then()
            return
        self._then, self.asks_simulated = then, self.simulated
        self.asked.emit()

    def settle(self, *, read: bool) -> None:
        """The operator has confirmed, or went back; a bench changed meanwhile is asked for anew."""
        if self.asks_simulated:
            self.rehearsed = self.rehearsed or read
        else:
            self.read = self.read or read
        then, self._then = self._then, None
        self.settled.emit()
        if read and then is not None and self.hold:
            then()


class CautionsPage(QFrame):
    """The page that asks; no scanner confirms it: the box is ticked by mouse or Ctrl+F9.

    On a simulated bench nothing is ticked: there is no emergency stop to have at hand.
    """

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
        self._go = QPushButton(_GO)
        self._go.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._go.setEnabled(False)
        back = QPushButton("Back (Esc)")
        back.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._tick.toggled.connect(self._go.setEnabled)
        self._go.clicked.connect(lambda: cautions.settle(read=True))
        back.clicked.connect(lambda: cautions.settle(read=False))
        layout.addSpacing(theme.px(12))
        self._confirm = QLabel(_CONFIRM)
        self._confirm.setWordWrap(True)
        layout.addWidget(self._confirm)
        layout.addWidget(self._tick)
        row = QHBoxLayout()
        row.addWidget(self._go)
        row.addWidget(back)
        row.addStretch(1)
        layout.addLayout(row)
        layout.addStretch(2)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName("Cautions")

    def ask(self) -> None:
        """Begin unticked."""
        simulated = self._cautions.asks_simulated
        self._confirm.setText(_REHEARSED if simulated else _CONFIRM)
        self._tick.setVisible(not simulated)
        self._tick.setChecked(False)
        self._go.setText(_GO_ON if simulated else _GO)
        self._go.setEnabled(simulated)
        self.setAccessibleDescription(" ".join((*CAUTIONS, *_MORE, self._confirm.text())))
        self.setFocus()

    def confirm_key(self) -> None:
        """The arming key ticks, and confirms what is ticked; no key of a scanner does anything."""
        if self._cautions.asks_simulated or self._tick.isChecked():
            self._cautions.settle(read=True)
        else:
            self._tick.setChecked(True)
