"""The window's head, alarms, and sentences in place."""

from typing import Final

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtWidgets import (
    QApplication,
    QFrame,
    QHBoxLayout,
    QLabel,
    QPushButton,
    QSizePolicy,
    QWidget,
)

from rungbench.desktop.figures import number
from rungbench.desktop.snapshots import LinkState

SIMULATED: Final = "SIMULATED"


class Head(QWidget):
    """Which bench it is, and how its link is."""

    def __init__(self) -> None:
        super().__init__()
        self._link = LinkState()
        self.bench = QLabel("No bench")
        self.bench.setWordWrap(True)
        self.bench.setObjectName("link")
        self.bench.setAccessibleName("Bench")
        self.bench.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        row = QHBoxLayout(self)
        row.setContentsMargins(0, 0, 0, 0)
        row.addWidget(self.bench, 1)

    def show_link(self, link: LinkState) -> None:
        """Which bench, or that there is none."""
        self._link = link
        if link.identity is not None:
            self.bench.setText(f"Board {link.identity.board_id}")
            self.bench.setToolTip(link.url)
        else:
            self.bench.setText("Link lost: trying again" if link.url else "No bench")
            self.bench.setToolTip(link.sentence)

    def show_silence(self, passed_s: float) -> None:
        """How long nothing was heard; 0: it is heard again."""
        if passed_s > 0.0:
            self.bench.setText(f"No word from the board for {number(passed_s, 1)} s")
        else:
            self.show_link(self._link)


class AlarmBar(QFrame):
    """What must not be missed; it stays until somebody has noted it."""

    noted = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.setObjectName("alarm")
        self.was_noted = False
        self._label = QLabel("")
        self._label.setWordWrap(True)
        self._button = QPushButton("Noted (Ctrl+F10)")
        self._button.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._button.clicked.connect(self.note)
        row = QHBoxLayout(self)
        row.addWidget(self._label, 1)
        row.addWidget(self._button)
        self.hide()

    @property
    def text(self) -> str:
        """What it says, or nothing."""
        return self._label.text() if not self.isHidden() else ""

    def shout(self, text: str) -> None:
        """Say it."""
        said = text[:1].upper() + text[1:]
        if said == self._label.text() and not self.isHidden():
            return
        self.was_noted = False
        self._label.setText(said)
        self.setAccessibleName(f"Alarm: {said}")
        self.show()
        QApplication.beep()

    def note(self) -> None:
        """Somebody has read it."""
        if self.isHidden():
            return
        self.was_noted = True
        self.hide()
        self.noted.emit()


class Sentence(QLabel):
    """The last sentence, in place; nothing pops up."""

    def __init__(self) -> None:
        super().__init__("")
        self.setObjectName("sentence")
        self.setWordWrap(True)
        self.setAccessibleName("Message")
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        self.hide()

    def say(self, text: str) -> None:
        """Say it, until the next one."""
        self.setText(text)
        self.setVisible(bool(text))

    def minimumSizeHint(self) -> QSize:
        """A long sentence wraps and never widens the window."""
        return QSize(0, super().minimumSizeHint().height())
