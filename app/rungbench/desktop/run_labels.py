"""Labels and buttons as the run and the records use them: text is text, whatever it holds."""

from collections.abc import Callable

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLabel, QPushButton, QSizePolicy

from rungbench.desktop.theme import Theme


class PlainLabel(QLabel):
    """A label that never reads its text as marked-up; `size` times the usual font."""

    def __init__(
        self, theme: Theme, text: str = "", *, size: float = 1.0, bold: bool = False
    ) -> None:
        super().__init__()
        self._theme, self._size, self._bold = theme, size, bold
        self._colour = "ink"
        self.setTextFormat(Qt.TextFormat.PlainText)
        self.setWordWrap(True)
        self.setText(text)
        theme.changed.connect(self._dress)
        self._dress()

    def colour(self, name: str) -> "PlainLabel":
        """Another colour of the palette; returns the label."""
        self._colour = name
        self._dress()
        return self

    def size_to(self, size: float) -> None:
        """`size` times the usual font from now on."""
        self._size = size
        self._dress()

    def _dress(self) -> None:
        self.setFont(self._theme.font(self._size, bold=self._bold))
        palette = self.palette()
        palette.setColor(self.foregroundRole(), self._theme.colour(self._colour))
        self.setPalette(palette)


def button(text: str, act: Callable[[], None], spoken: str = "") -> QPushButton:
    """A button that no scanner can press: it takes no focus, its key stands in its text."""
    made = QPushButton(text)
    made.setFocusPolicy(Qt.FocusPolicy.NoFocus)
    made.setSizePolicy(QSizePolicy.Policy.Maximum, QSizePolicy.Policy.Fixed)
    made.setAccessibleName(spoken or text)
    made.clicked.connect(lambda _checked=False: act())
    return made
