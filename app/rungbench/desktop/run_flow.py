"""What gives way where the window is narrow: buttons go on in the next line, halves lie below."""

from typing import Final

from PySide6.QtCore import QEvent, QMargins, QPoint, QRect, QSize, Qt
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import QLayout, QLayoutItem, QSplitter, QStackedWidget, QWidget

from rungbench.desktop.theme import Theme

_BESIDE: Final = 820
_LEAST: Final = 240  # height of each half where they lie below one another


class Halves(QSplitter):
    """Two parts beside one another, or below where there is not the width for both."""

    def __init__(self, theme: Theme, first: QWidget, second: QWidget, sizes: list[int]) -> None:
        super().__init__(Qt.Orientation.Horizontal)
        self._theme, self._sizes = theme, sizes
        self._halves = (first, second)
        self.addWidget(first)
        self.addWidget(second)
        self.setChildrenCollapsible(False)
        self.setSizes([theme.px(size) for size in sizes])
        for place, size in enumerate(sizes):
            self.setStretchFactor(place, size)
        theme.changed.connect(self._turn)
        self._turn()

    def resizeEvent(self, event: QResizeEvent) -> None:
        """See the class."""
        super().resizeEvent(event)
        self._turn()

    def event(self, event: QEvent) -> bool:
        """Other texts in a half may need another height."""
        done = super().event(event)
        if event.type() == QEvent.Type.LayoutRequest:
            self._turn()
        return done

    def _turn(self) -> None:
        across, down = Qt.Orientation.Horizontal, Qt.Orientation.Vertical
        wanted = across if self.width() >= self._theme.px(_BESIDE) else down
        for half in self._halves:
            least = self._theme.px(_LEAST)
            if wanted == down and half.hasHeightForWidth():
                least = max(least, half.heightForWidth(self.width()))
            half.setMinimumHeight(least)
        if wanted != self.orientation():
            self.setOrientation(wanted)
            sizes = self._sizes if wanted == across else [1, 1]
            self.setSizes([self._theme.px(500 * size) for size in sizes])


class Pages(QStackedWidget):
    """Pages of which one is in front: it alone decides how much room is asked for."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.currentChanged.connect(lambda _: self.updateGeometry())

    def sizeHint(self) -> QSize:
        """That of the page in front."""
        return self.currentWidget().sizeHint() if self.count() else super().sizeHint()

    def minimumSizeHint(self) -> QSize:
        """The least that the page in front can do with."""
        if not self.count():
            return super().minimumSizeHint()
        page = self.currentWidget()
        return page.minimumSizeHint().expandedTo(page.minimumSize())

    def hasHeightForWidth(self) -> bool:
        """Whether the page in front is higher where it is narrower."""
        return self.count() > 0 and self.currentWidget().hasHeightForWidth()

    def heightForWidth(self, width: int) -> int:
        """That of the page in front."""
        return self.currentWidget().heightForWidth(width) if self.count() else -1


class FlowLayout(QLayout):
    """Items from left to right, line by line; it asks for no more width than its widest item.

    Items of a line stand at its top, or with `centred` on its middle.
    """

    def __init__(self, gap: int, parent: QWidget | None = None, *, centred: bool = False) -> None:
        super().__init__(parent)
        self._gap, self._centred = gap, centred
        self._items: list[QLayoutItem] = []
        self.setContentsMargins(QMargins(0, 0, 0, 0))

    def addItem(self, item: QLayoutItem) -> None:
        """Add behind the others."""
        self._items.append(item)

    def count(self) -> int:
        """How many."""
        return len(self._items)

    def itemAt(self, index: int) -> QLayoutItem | None:
        """The item there, or ``None``."""
        return self._items[index] if 0 <= index < len(self._items) else None

    def takeAt(self, index: int) -> QLayoutItem | None:
        """Take the item there away."""
        return self._items.pop(index) if 0 <= index < len(self._items) else None

    def expandingDirections(self) -> Qt.Orientation:
        """None of them."""
        return Qt.Orientation(0)

    def hasHeightForWidth(self) -> bool:
        """Narrower is higher."""
        return True

    def heightForWidth(self, width: int) -> int:
        """Height of all lines."""
        return self._lay(QRect(0, 0, width, 0), place=False)

    def setGeometry(self, rect: QRect) -> None:
        """Place the items."""
        super().setGeometry(rect)
        self._lay(rect, place=True)

    def sizeHint(self) -> QSize:
        """One line."""
        sizes = [item.sizeHint() for item in self._items]
        width = sum(size.width() + self._gap for size in sizes)
        return QSize(width, max((size.height() for size in sizes), default=0))

    def minimumSize(self) -> QSize:
        """The widest item."""
        size = QSize()
        for item in self._items:
            size = size.expandedTo(item.minimumSize())
        return size

    def _lay(self, rect: QRect, *, place: bool) -> int:
        """Lay the lines; returns their height."""
        y = rect.y()
        for line in self._lines(rect.width()):
            high = max(item.sizeHint().height() for item in line)
            x = rect.x()
            for item in line if place else ():
                size = item.sizeHint().boundedTo(QSize(rect.width(), high))
                down = (high - size.height()) // 2 if self._centred else 0
                item.setGeometry(QRect(QPoint(x, y + down), size))
                x += size.width() + self._gap
            y += high + self._gap
        return max(0, y - self._gap - rect.y())

    def _lines(self, width: int) -> list[list[QLayoutItem]]:
        """Which items stand beside one another."""
        lines: list[list[QLayoutItem]] = []
        left = 0
        for item in self._items:
            if item.isEmpty():
                continue
            needed = item.sizeHint().width()
            if lines and needed + self._gap <= left:
                lines[-1].append(item)
                left -= needed + self._gap
            else:
                lines.append([item])
                left = width - needed
        return lines
