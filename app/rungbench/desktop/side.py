"""Around the views: a column with SIMULATED, views, cautions and look; frames that scroll."""

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QFontMetrics
from PySide6.QtWidgets import (
    QFrame,
    QLabel,
    QListWidget,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from rungbench.desktop.notes import SIMULATED
from rungbench.desktop.theme import Theme
from rungbench.qualify.scope import CAUTIONS


class Side(QFrame):
    """As wide as the word SIMULATED; what does not fit in height is scrolled."""

    look = Signal()

    def __init__(self, theme: Theme, names: list[str]) -> None:
        super().__init__()
        self.setObjectName("side")
        self._theme = theme
        self.simulated = QLabel(SIMULATED)
        self.simulated.setObjectName("simulated")
        self.simulated.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self.simulated.hide()
        self.views = QListWidget()
        self.views.setObjectName("views")
        self.views.setAccessibleName("Views")
        self.views.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.views.addItems(names)
        self._look = QPushButton("Light / dark")
        self._look.setFlat(True)
        self._look.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self._look.setToolTip("Ctrl+L; larger and smaller with Ctrl++ and Ctrl+−")
        self._look.clicked.connect(self.look)
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(0)
        layout.addWidget(self.simulated)
        layout.addWidget(self.views)
        layout.addWidget(self._cautions(), 1)
        layout.addWidget(self._look)
        theme.changed.connect(self._restyle)
        self._restyle()

    def _cautions(self) -> QScrollArea:
        self.cautions = QLabel("\n\n".join(CAUTIONS))
        self.cautions.setObjectName("cautions")
        self.cautions.setWordWrap(True)
        self.cautions.setAccessibleName("Cautions")
        self.cautions.setAlignment(Qt.AlignmentFlag.AlignTop)
        area = QScrollArea()
        area.setWidget(self.cautions)
        area.setWidgetResizable(True)
        area.setFrameShape(QFrame.Shape.NoFrame)
        area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        area.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        return area

    def _restyle(self) -> None:
        theme = self._theme
        width = QFontMetrics(theme.font(bold=True)).horizontalAdvance(SIMULATED)
        self.setFixedWidth(width + theme.px(28))
        gap = theme.px(2)
        self.views.setSpacing(gap)
        line = QFontMetrics(theme.font()).height() + theme.px(2 * 12)
        # Stated, because the list may have asked its rows before they had the look.
        for row in range(self.views.count()):
            self.views.item(row).setSizeHint(QSize(1, line))
        self.views.setFixedHeight(self.views.count() * (line + 2 * gap) + theme.px(4))


def framed(widget: QWidget) -> QScrollArea:
    """A view that scrolls where the window is smaller than what it needs: large letters, say."""
    area = QScrollArea()
    area.setWidget(widget)
    area.setWidgetResizable(True)
    area.setFrameShape(QFrame.Shape.NoFrame)
    area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
    return area


def into_sight(widget: QWidget) -> None:
    """Scroll whatever it lies in until it is seen."""
    parent = widget.parentWidget()
    while parent is not None:
        if isinstance(parent, QScrollArea):
            parent.ensureWidgetVisible(widget)
        parent = parent.parentWidget()
