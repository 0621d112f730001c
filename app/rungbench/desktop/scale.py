"""The voltage scale: what was measured on one side, what is presented on the other.

Settings are chosen on it, by the mouse or by the keys up, down and Enter.
"""

from typing import Final

from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QKeyEvent,
    QMouseEvent,
    QPaintEngine,
    QPainter,
    QPaintEvent,
    QPen,
    QPixmap,
    QPolygonF,
    QResizeEvent,
)
from PySide6.QtWidgets import QSizePolicy, QWidget

from pilotsignal.quantity import Quantity
from rungbench.desktop.figures import figure
from rungbench.desktop.scale_face import Face
from rungbench.desktop.scale_model import Band, Choice, Level, index_of
from rungbench.desktop.scans import ScanGuard
from rungbench.desktop.setting_words import Presented
from rungbench.desktop.theme import Theme
from rungbench.link.words import OPEN, Setting

_MINE: Final = (Qt.Key.Key_Up, Qt.Key.Key_Down, Qt.Key.Key_Home, Qt.Key.Key_End)
_CHOOSE: Final = (Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_Space)


class VoltageScale(QWidget):
    """Emits `chosen` with a setting; whoever listens decides whether it is presented."""

    chosen = Signal(object)
    aimed = Signal(object)

    def __init__(self, theme: Theme, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._theme = theme
        self._bands: tuple[Band, ...] = ()
        self._choices: tuple[Choice, ...] = ()
        self._levels: tuple[Level, ...] = ()
        self._live: tuple[float, ...] = ()
        self._reported, self._asked = OPEN, OPEN
        self._presented: Presented | None = None
        self._aim = 0
        self._hover: int | None = None
        self._scans = ScanGuard()
        self._ground: QPixmap | None = None
        self.paints = 0
        self.choosable = True
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMouseTracking(True)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Expanding)
        self.setAccessibleName("Voltage scale")
        theme.changed.connect(self._redraw_all)

    # What is shown ----------------------------------------------------------------------------

    def set_ground(self, bands: tuple[Band, ...], choices: tuple[Choice, ...]) -> None:
        """Windows and choices."""
        if (bands, choices) == (self._bands, self._choices):
            return
        before = self.aimed_choice
        self._bands, self._choices = bands, choices
        place = index_of(before.setting, choices) if before else None
        self._aim = min(place or 0, max(0, len(choices) - 1))
        self._hover = None
        self._redraw_all()

    def set_setting(self, reported: Presented, asked: Setting) -> None:
        """What the board reports, and what was asked for."""
        if (reported, asked) == (self._presented, self._asked):
            return
        self._presented, self._reported, self._asked = reported, reported.setting, asked
        self._describe()
        self.update()

    def set_levels(self, high: Quantity | None, low: Quantity | None) -> None:
        """Measured plateaus."""
        named = (("high", high), ("low", low))
        self._levels = tuple(Level(name, one) for name, one in named if one is not None)
        self._describe()
        self.update()

    def set_live(self, volts: tuple[float, ...]) -> None:
        """Levels as they are at the moment, without uncertainty: drawn as thin lines."""
        if volts != self._live:
            self._live = volts
            self.update()

    @property
    def aimed_choice(self) -> Choice | None:
        """The choice that Enter would choose."""
        return self._choices[self._aim] if self._choices else None

    @property
    def choices(self) -> tuple[Choice, ...]:
        """All choices, from high to low."""
        return self._choices

    def aim_at(self, setting: Setting) -> None:
        """Move the aim."""
        place = index_of(setting, self._choices)
        if place is not None:
            self._move_aim(place)

    def sizeHint(self) -> QSize:
        """Wide enough for both sides."""
        return QSize(self._theme.px(390), self._theme.px(560))

    def minimumSizeHint(self) -> QSize:
        """Labels stay apart down to this height."""
        return QSize(self._theme.px(340), self._theme.px(330))

    # Hands ------------------------------------------------------------------------------------

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """Up, down, Home, End move the aim; Enter or Space choose, unless a scanner typed it."""
        key = event.key()
        last = len(self._choices) - 1
        if not self._choices:
            super().keyPressEvent(event)
        elif key in _MINE:
            step = {_MINE[0]: self._aim - 1, _MINE[1]: self._aim + 1, _MINE[2]: 0, _MINE[3]: last}
            self._move_aim(min(last, max(0, step[Qt.Key(key)])))
        elif key in _CHOOSE:
            if self._scans.by_hand() and not event.isAutoRepeat():
                self._choose(self._aim)
        else:
            self._scans.saw(event)
            super().keyPressEvent(event)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        """Show what a click would choose."""
        place = self._face().choice_at(event.position())
        if place != self._hover:
            self._hover = place
            pointing = Qt.CursorShape.PointingHandCursor
            self.setCursor(pointing if place is not None else Qt.CursorShape.ArrowCursor)
            self.setToolTip(self._choices[place].spoken if place is not None else "")
            self.update()

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        """Choose what is under the mouse."""
        place = self._face().choice_at(event.position())
        if place is not None and event.button() == Qt.MouseButton.LeftButton:
            self._move_aim(place)
            self._choose(place)

    def leaveEvent(self, event: QEvent) -> None:
        """Nothing is under the mouse any more."""
        self._hover = None
        self.update()
        super().leaveEvent(event)

    def _move_aim(self, place: int) -> None:
        self._aim = place
        self._describe()
        self.update()
        self.aimed.emit(self._choices[place].setting)

    def _choose(self, place: int) -> None:
        if self.choosable:
            self.chosen.emit(self._choices[place].setting)

    # Drawing ----------------------------------------------------------------------------------

    def resizeEvent(self, event: QResizeEvent) -> None:
        """The ground is drawn anew."""
        self._ground = None
        super().resizeEvent(event)

    def _redraw_all(self) -> None:
        self._ground = None
        self._describe()
        self.updateGeometry()
        self.update()

    def _face(self) -> Face:
        return Face(self._theme, QRectF(self.rect()), self._bands, self._choices)

    def paintEvent(self, _event: QPaintEvent) -> None:
        """The ground from its picture, then what moves."""
        self.paints += 1
        face = self._face()
        painter = QPainter(self)
        if painter.paintEngine().type() == QPaintEngine.Type.SVG:
            painter.fillRect(self.rect(), self._theme.colour("sheet"))
            face.draw_ground(painter)
        else:
            painter.drawPixmap(0, 0, self._ground_picture(face))
        self.draw_moving(painter, face)
        painter.end()

    def _ground_picture(self, face: Face) -> QPixmap:
        if self._ground is None:
            ratio = self.devicePixelRatioF()
            self._ground = QPixmap(self.size() * ratio)
            self._ground.setDevicePixelRatio(ratio)
            self._ground.fill(self._theme.colour("sheet"))
            ground = QPainter(self._ground)
            face.draw_ground(ground)
            ground.end()
        return self._ground

    def draw_moving(self, painter: QPainter, face: Face) -> None:
        """Choices, pointers, levels."""
        reported = index_of(self._reported, self._choices)
        asked = index_of(self._asked, self._choices)
        for place in range(len(self._choices)):
            # What is presented may have other extras than what would be chosen now.
            real = self._presented if place == reported else None
            face.draw_choice(painter, place, real)
        if self.hasFocus() and self._choices:
            face.frame_choice(painter, self._aim, "focus")
        if self._hover is not None and self.choosable:
            face.frame_choice(painter, self._hover, "rule")
        if asked is not None and asked != reported:
            face.draw_pointer(painter, asked, filled=False)
        if reported is not None:
            face.draw_pointer(painter, reported, filled=True)
        painter.setPen(QPen(self._theme.colour("raw"), self._theme.px(2)))
        for volts in self._live:
            painter.drawLine(*face.live_line(volts))
        for level in self._levels:
            self._draw_level(painter, face, level)

    def _draw_level(self, painter: QPainter, face: Face, level: Level) -> None:
        """A diamond at the value, a bar of U, the figure beside it."""
        colour = self._theme.colour("measured")
        x, y = face.measured_x, face.clamped(face.y(level.volts))
        reach = max(1.0, abs(face.y(level.expanded) - face.y(0.0)))
        side = self._theme.px(6)
        covered = face.tick_box(y)
        if covered is not None:
            painter.fillRect(covered, self._theme.colour("sheet"))
        painter.save()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(QPen(colour, self._theme.px(2)))
        painter.drawLine(QPointF(x, y - reach), QPointF(x, y + reach))
        for end in (y - reach, y + reach):
            painter.drawLine(QPointF(x - side / 2, end), QPointF(x + side / 2, end))
        painter.drawLine(QPointF(x, y), QPointF(face.axis_x, y))
        painter.setBrush(colour)
        painter.drawPolygon(
            QPolygonF(
                [
                    QPointF(x - side, y),
                    QPointF(x, y - side),
                    QPointF(x + side, y),
                    QPointF(x, y + side),
                ]
            )
        )
        painter.setPen(self._theme.colour("ink"))
        text, box = f"{face.beyond(level.volts)}{figure(level.quantity)}", face.level_box(y)
        painter.setFont(face.level_font(text, box.width()))
        align = Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter
        painter.drawText(box, align, text)
        painter.restore()

    def _describe(self) -> None:
        """What a screen reader says."""
        said = [f"{level.name} level {figure(level.quantity)}" for level in self._levels]
        place = index_of(self._reported, self._choices)
        if place is not None and self._presented is not None:
            said.append(f"presented: {Choice(self._presented, self._choices[place].volts).spoken}")
        if self.aimed_choice is not None:
            said.append(f"Enter presents: {self.aimed_choice.spoken}")
        self.setAccessibleDescription("; ".join(said))
