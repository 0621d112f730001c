"""Fields that scanners and hands type into: the serial number, a reason, the operator's name."""

from PySide6.QtCore import QEvent, QObject, Qt, Signal
from PySide6.QtGui import QKeyEvent, QResizeEvent
from PySide6.QtWidgets import QBoxLayout, QComboBox, QFrame, QLineEdit, QWidget

from rungbench.desktop.run_intake import LONGEST
from rungbench.desktop.run_labels import PlainLabel
from rungbench.desktop.scans import ScanGuard
from rungbench.desktop.theme import Theme

_ONE_ROW = 700
_ENTER = (Qt.Key.Key_Return, Qt.Key.Key_Enter)


class SerialEdit(QLineEdit):
    """Takes a scan with Enter or Tab behind it; `scanned` hands on what was typed."""

    scanned = Signal(str)

    def __init__(self, theme: Theme, size: float = 1.0) -> None:
        super().__init__()
        self._theme, self._size = theme, size
        self.setMaxLength(2 * LONGEST)
        self.setAccessibleName("Serial number")
        self.setPlaceholderText("scan or type, then Enter")
        theme.changed.connect(self._dress)
        self._dress()

    def event(self, event: QEvent) -> bool:
        """Tab behind something new is a scanner's; otherwise it goes to the next field."""
        if isinstance(event, QKeyEvent) and event.type() == QEvent.Type.KeyPress:
            tab = event.key() == Qt.Key.Key_Tab and self.isModified() and self.text().strip()
            if (tab or event.key() in _ENTER) and not self.isReadOnly():
                self.hand_over()
                return True
        return super().event(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """The first character after a scan begins another one, wherever the cursor stands."""
        if typed_text(event) and not self.isModified() and not self.isReadOnly():
            self.clear()
        super().keyPressEvent(event)

    def hand_over(self) -> None:
        """Give away what was typed; the next scan replaces it."""
        text = self.text()
        self.setModified(False)
        self.selectAll()
        self.scanned.emit(text)

    def show_serial(self, serial: str) -> None:
        """Show this one, unless something else is being typed."""
        if not self.isModified() and serial != self.text():
            self.setText(serial)
            self.selectAll()

    def begin(self, text: str) -> None:
        """Somebody types elsewhere: it was meant for here."""
        self.setFocus()
        if not self.isModified():
            self.clear()
        self.insert(text)
        self.setModified(True)

    def size_to(self, size: float) -> None:
        """`size` times the usual font from now on."""
        self._size = size
        self._dress()

    def _dress(self) -> None:
        self.setFont(self._theme.font(self._size, bold=self._size > 1.0))


class AskedLine(QFrame):
    """A line that asks for a text in place: `given` with it, or `left` if Escape was pressed.

    The Enter of a scanner gives nothing: a scan is no reason.
    """

    given = Signal(str, str)
    left = Signal()

    def __init__(self, theme: Theme, size: float = 1.0) -> None:
        super().__init__()
        self.setObjectName("lost")
        self.purpose = ""
        self._scans = ScanGuard()
        self._label = PlainLabel(theme, size=size, bold=True)
        self._label.setWordWrap(False)
        self._edit = QLineEdit()
        self._edit.setFont(theme.font(size))
        self._edit.installEventFilter(self)
        hint = PlainLabel(theme, "Enter: take it   Esc: leave it", size=size).colour("faint")
        hint.setWordWrap(False)
        self._theme, self._wide = theme, _ONE_ROW * size
        self._layout = QBoxLayout(QBoxLayout.Direction.LeftToRight, self)
        self._layout.addWidget(self._label)
        self._layout.addWidget(self._edit, 1)
        self._layout.addWidget(hint)
        self.hide()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """In one row, or below one another where there is not the width."""
        super().resizeEvent(event)
        direction, wide = QBoxLayout.Direction, event.size().width() >= self._theme.px(self._wide)
        self._layout.setDirection(direction.LeftToRight if wide else direction.TopToBottom)
        self._label.setWordWrap(not wide)

    @property
    def edit(self) -> QLineEdit:
        """The field."""
        return self._edit

    def ask(self, purpose: str, text: str, value: str = "") -> None:
        """Ask; `purpose` comes back with the answer."""
        self.purpose = purpose
        self._label.setText(text)
        self._edit.setAccessibleName(text)
        self._edit.setText(value)
        self._edit.selectAll()
        self.show()
        self._edit.setFocus()

    def leave(self) -> None:
        """No longer asked."""
        if self.purpose:
            self.purpose = ""
            self.hide()
            self.left.emit()

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Enter of a hand gives the text; Escape leaves, and goes on to whoever opens the rung."""
        if isinstance(event, QKeyEvent) and event.type() == QEvent.Type.ShortcutOverride:
            # Seen and not taken: the key that opens the rung is nobody's own.
            if event.key() == Qt.Key.Key_Escape:
                self.leave()
            return False
        if isinstance(event, QKeyEvent) and event.type() == QEvent.Type.KeyPress:
            if event.key() in _ENTER:
                if self._scans.by_hand() and not event.isAutoRepeat():
                    self._give()
                return True
            self._scans.saw(event)
        return super().eventFilter(watched, event)

    def _give(self) -> None:
        purpose, self.purpose = self.purpose, ""
        self.hide()
        self.given.emit(purpose, self._edit.text())


class CalmBox(QComboBox):
    """A choice that no scan changes: what is typed goes to the page, arrows and Alt+Down choose."""

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Text is not looked for among the choices."""
        if typed_text(event):
            event.ignore()
        else:
            super().keyPressEvent(event)


def typed_text(event: QKeyEvent) -> str:
    """What a key types, or nothing for keys that command."""
    commands = Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.AltModifier
    text = event.text()
    return text if text and text.isprintable() and not event.modifiers() & commands else ""


def has_focus_inside(widget: QWidget) -> bool:
    """Whether the focus is on it or in it."""
    return any(one.hasFocus() for one in (widget, *widget.findChildren(QWidget)))
