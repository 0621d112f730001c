"""Names and values in two columns, such as what a board says of itself."""

from collections.abc import Iterable

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QGridLayout, QLabel, QWidget

from rungbench.desktop.theme import Theme


class Title(QLabel):
    """A title within a page."""

    def __init__(self, theme: Theme, text: str) -> None:
        super().__init__(text)
        self._theme = theme
        theme.changed.connect(self._restyle)
        self._restyle()

    def _restyle(self) -> None:
        self.setFont(self._theme.font(1.15, bold=True))


class Pairs(QWidget):
    """Lines of a name and a value; labels are made once and then only changed."""

    def __init__(self, theme: Theme, title: str) -> None:
        super().__init__()
        self._theme = theme
        self._rows: list[tuple[QLabel, QLabel]] = []
        self.setAccessibleName(title)
        self._grid = QGridLayout(self)
        self._grid.setContentsMargins(0, 0, 0, 0)
        self._grid.setColumnStretch(1, 1)
        self._grid.addWidget(Title(theme, title), 0, 0, 1, 2)
        theme.changed.connect(self._restyle)
        self._restyle()

    def show_lines(self, lines: Iterable[tuple[str, str]]) -> None:
        """Show these."""
        count = 0
        for count, (name, value) in enumerate(lines, start=1):
            if count > len(self._rows):
                self._add()
            name_label, value_label = self._rows[count - 1]
            if name_label.text() != name:
                name_label.setText(name)
            if value_label.text() != value:
                value_label.setText(value)
                value_label.setAccessibleName(f"{name}: {value}")
        for number, pair in enumerate(self._rows):
            for label in pair:
                label.setVisible(number < count)

    def texts(self) -> dict[str, str]:
        """What is shown, by name."""
        return {name.text(): value.text() for name, value in self._rows if not value.isHidden()}

    def _add(self) -> None:
        name, value = QLabel(), QLabel()
        name.setObjectName("link")
        value.setWordWrap(True)
        value.setTextInteractionFlags(Qt.TextInteractionFlag.TextSelectableByMouse)
        name.setAlignment(Qt.AlignmentFlag.AlignTop)
        row = len(self._rows) + 1
        self._grid.addWidget(name, row, 0)
        self._grid.addWidget(value, row, 1)
        self._rows.append((name, value))

    def _restyle(self) -> None:
        self._grid.setHorizontalSpacing(self._theme.px(14))
        self._grid.setVerticalSpacing(self._theme.px(3))
