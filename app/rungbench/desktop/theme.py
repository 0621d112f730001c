"""Light and dark, and the size of everything, for all views at once."""

from typing import Final

from PySide6.QtCore import QObject, Qt, Signal
from PySide6.QtGui import QColor, QFont, QGuiApplication, QPalette
from PySide6.QtWidgets import QApplication

from rungbench.desktop.palette import COLOURS
from rungbench.desktop.preferences import Preferences

LOOKS: Final = ("system", "light", "dark")
SCALES: Final = (100, 125, 150, 175, 200)
_POINTS: Final = 10.0


class Theme(QObject):
    """The look; `changed` after it became another one."""

    changed = Signal()

    def __init__(self, preferences: Preferences) -> None:
        super().__init__()
        self._preferences = preferences
        self.look = preferences.get("look", "colours", "system")
        self.scale = preferences.get("look", "scale", 100)
        if self.look not in LOOKS:
            self.look = "system"
        self.scale = min(200, max(100, self.scale))

    @property
    def dark(self) -> bool:
        """Whether the colours are the dark ones."""
        if self.look != "system":
            return self.look == "dark"
        return QGuiApplication.styleHints().colorScheme() == Qt.ColorScheme.Dark

    def colour(self, name: str) -> QColor:
        """A colour of `palette` by its name."""
        return QColor(COLOURS["dark" if self.dark else "light"][name])

    def px(self, length: float) -> int:
        """A length in pixels at 100 %, scaled."""
        return max(1, round(length * self.scale / 100.0))

    def font(self, size: float = 1.0, *, bold: bool = False) -> QFont:
        """The program's font, `size` times the usual size."""
        font = QFont(QApplication.font())
        font.setPointSizeF(_POINTS * self.scale / 100.0 * size)
        font.setBold(bold)
        return font

    def set(self, *, look: str | None = None, scale: int | None = None) -> None:
        """Another look; it is remembered."""
        if look is not None:
            self.look = look
            self._preferences.put("look", "colours", look)
        if scale is not None:
            self.scale = min(200, max(100, scale))
            self._preferences.put("look", "scale", self.scale)
        self._preferences.save()
        self.apply()

    def apply(self) -> None:
        """Put it on the whole program."""
        app = QApplication.instance()
        if not isinstance(app, QApplication):
            return
        app.setStyle("Fusion")
        app.setFont(self.font())
        app.setPalette(self._palette())
        app.setStyleSheet(self._sheet())
        self.changed.emit()

    def _palette(self) -> QPalette:
        palette = QPalette()
        role = QPalette.ColorRole
        for name, roles in (
            ("paper", (role.Window, role.AlternateBase)),
            ("sheet", (role.Base, role.Button, role.ToolTipBase)),
            ("ink", (role.WindowText, role.Text, role.ButtonText, role.ToolTipText)),
            ("focus", (role.Highlight, role.Link)),
            ("sheet", (role.HighlightedText,)),
            ("faint", (role.PlaceholderText,)),
        ):
            for one in roles:
                palette.setColor(one, self.colour(name))
        faint = self.colour("faint")
        for one in (role.WindowText, role.Text, role.ButtonText):
            palette.setColor(QPalette.ColorGroup.Disabled, one, faint)
        return palette

    def _sheet(self) -> str:
        colours = COLOURS["dark" if self.dark else "light"]
        return _SHEET.format(
            **{name.replace(" ", "_"): value for name, value in colours.items()},
            gap=self.px(6),
            thin=self.px(1),
            thick=self.px(2),
            wide=self.px(12),
            small=_POINTS * self.scale / 118.0,
            bigger=_POINTS * self.scale / 80.0,
            large=_POINTS * self.scale / 66.0,
        )


_SHEET: Final = """
QWidget#page, QMainWindow {{ background: {paper}; }}
QPushButton, QToolButton {{
    background: {sheet}; color: {ink}; border: {thin}px solid {rule};
    padding: {gap}px {wide}px; border-radius: {thick}px;
}}
QPushButton:hover, QToolButton:hover {{ border-color: {focus}; }}
QPushButton:focus, QToolButton:focus {{ border: {thick}px solid {focus}; }}
QPushButton:checked, QToolButton:checked {{ background: {band}; }}
QPushButton:disabled, QToolButton:disabled {{ color: {faint}; background: {paper}; }}
QLineEdit, QPlainTextEdit, QSpinBox, QDoubleSpinBox {{
    background: {sheet}; color: {ink}; border: {thin}px solid {rule};
    padding: {gap}px; selection-background-color: {focus};
}}
QLineEdit:focus, QPlainTextEdit:focus {{ border: {thick}px solid {focus}; }}
QToolTip {{ background: {sheet}; color: {ink}; border: {thin}px solid {rule}; }}
QFrame#side {{ background: {band}; }}
QFrame#side QScrollArea, QFrame#side QScrollArea > QWidget > QWidget {{ background: {band}; }}
QLabel#cautions {{ color: {ink}; font-size: {small}pt; padding: {gap}px; }}
QListWidget#views {{
    background: {band}; border: none; outline: none;
}}
QListWidget#views::item {{ padding: {wide}px; border-left: {gap}px solid transparent; }}
QListWidget#views::item:selected {{
    background: {paper}; color: {ink}; border-left: {gap}px solid {focus};
}}
QListWidget#views:focus {{ border: {thick}px solid {focus}; }}
QCheckBox::indicator {{
    width: {wide}px; height: {wide}px; border: {thick}px solid {faint}; background: {sheet};
}}
QCheckBox::indicator:checked {{ background: {focus}; border-color: {focus}; }}
QCheckBox:focus {{ border: {thin}px solid {focus}; }}
QScrollBar:vertical {{ background: {paper}; width: {wide}px; margin: 0; }}
QScrollBar:horizontal {{ background: {paper}; height: {wide}px; margin: 0; }}
QScrollBar::handle {{ background: {rule}; min-width: {wide}px; min-height: {wide}px; }}
QScrollBar::add-line, QScrollBar::sub-line {{ width: 0; height: 0; }}
QLabel#simulated {{ background: {simulated}; color: {on_simulated}; padding: {thick}px {wide}px; }}
QLabel#simulated, QFrame#arm QLabel, QLabel#file {{ font-weight: bold; }}
QLabel#armed {{
    background: {armed}; color: {on_armed}; font-weight: bold; padding: {thick}px {wide}px;
}}
QFrame#alarm QLabel {{ font-weight: bold; font-size: {large}pt; }}
QLabel#state {{ font-weight: bold; font-size: {bigger}pt; }}
QLabel#title {{ font-weight: bold; font-size: {large}pt; }}
QLabel#link {{ color: {faint}; }}
QLabel#sentence {{ color: {ink}; background: {band}; padding: {gap}px {wide}px; }}
QFrame#alarm {{ background: {alarm}; }}
QFrame#alarm QLabel {{ color: {on_alarm}; }}
QFrame#lost {{ background: {band}; }}
QFrame#arm {{ background: {sheet}; border: {thin}px solid {rule}; }}
QFrame#arm[armed="yes"] {{ background: {armed}; }}
QFrame#arm[armed="yes"] QLabel {{ color: {on_armed}; }}
QFrame#arm[armed="live"] {{ background: {alarm}; }}
QFrame#arm[armed="live"] QLabel {{ color: {on_alarm}; }}
QTableWidget {{ background: {sheet}; gridline-color: {grid}; border: {thin}px solid {rule}; }}
QTableWidget::item {{ padding: 0 {thick}px; }}
QHeaderView::section {{
    background: {paper}; color: {faint}; border: none; border-bottom: {thin}px solid {rule};
    padding: {thick}px;
}}
"""
