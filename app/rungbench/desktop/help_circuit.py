"""Schematics of the help: the pilot's circuit, and the divider behind a level."""

from dataclasses import dataclass
from typing import Final

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QPainter, QPen, QPolygonF

from rungbench.desktop.figures import number
from rungbench.desktop.theme import Theme

_ALIGN: Final = Qt.AlignmentFlag
_RAIL_V, _DROP_V, _SOURCE_OHM, _LOAD_OHM = 12.0, 0.70, 1000.0, 2740.0


@dataclass(frozen=True, slots=True)
class Pen:
    """A painter with the theme's lengths; all symbols are ours, by IEC 60617 where it has one."""

    painter: QPainter
    theme: Theme

    def wire(self, *points: QPointF) -> None:
        """A line through points."""
        self.painter.drawPolyline(QPolygonF(list(points)))

    def resistor(self, middle: QPointF, *, upright: bool) -> float:
        """A box; returns half its length, where the wires end."""
        half, side = self.theme.px(20), self.theme.px(7)
        wide, high = (side, half) if upright else (half, side)
        self.painter.drawRect(QRectF(middle.x() - wide, middle.y() - high, 2.0 * wide, 2.0 * high))
        return float(half)

    def diode(self, middle: QPointF) -> float:
        """An arrow to the right against a bar; returns half its length."""
        half = self.theme.px(8)
        x, y = middle.x(), middle.y()
        corners = [QPointF(x - half, y - half), QPointF(x - half, y + half), QPointF(x + half, y)]
        self.painter.drawPolygon(QPolygonF(corners))
        self.wire(QPointF(x + half, y - half), QPointF(x + half, y + half))
        return float(half)

    def switch(self, top: QPointF, bottom: QPointF) -> None:
        """An open contact between two points, one above the other."""
        self.wire(bottom, QPointF(top.x() - self.theme.px(9), top.y() + self.theme.px(2)))

    def dot(self, at: QPointF) -> None:
        """A joint."""
        self.painter.setBrush(self.theme.colour("ink"))
        self.painter.drawEllipse(at, self.theme.px(3), self.theme.px(3))
        self.painter.setBrush(Qt.BrushStyle.NoBrush)

    def text(self, at: QPointF, words: str, align: Qt.AlignmentFlag) -> None:
        """Words whose box is centred at a point, or ends or begins there."""
        width, height = self.theme.px(170), self.theme.px(18)
        left = at.x() - width / 2
        if align == _ALIGN.AlignLeft:
            left = at.x()
        elif align == _ALIGN.AlignRight:
            left = at.x() - width
        box = QRectF(left, at.y() - height / 2, width, height)
        self.painter.drawText(box, align | _ALIGN.AlignVCenter, words)


def draw_circuit(painter: QPainter, box: QRectF, theme: Theme) -> None:
    """Generator and source resistor on the left, the vehicle's side on the right."""
    pen = Pen(painter, theme)
    ink = QPen(theme.colour("ink"), theme.px(2))
    painter.setPen(ink)
    top, bottom = box.top() + theme.px(70), box.bottom() - theme.px(40)
    left, contact = box.left() + theme.px(60), _contact_x(box)
    middle = (top + bottom) / 2.0
    radius = theme.px(22)
    painter.drawEllipse(QPointF(left, middle), radius, radius)
    pulse = [(-12, 5), (-6, 5), (-6, -7), (0, -7), (0, 5), (9, 5)]
    pen.wire(*(QPointF(left + theme.px(1) * x, middle + theme.px(1) * y) for x, y in pulse))
    source = QPointF((left + contact) / 2.0, top)
    half = pen.resistor(source, upright=False)
    pen.wire(QPointF(left, middle - radius), QPointF(left, top), QPointF(source.x() - half, top))
    diode = QPointF(contact + theme.px(56), top)
    reach = pen.diode(diode)
    pen.wire(QPointF(source.x() + half, top), QPointF(diode.x() - reach, top))
    reach_x = box.right() - theme.px(45) - contact
    columns = [contact + share * reach_x for share in (0.42, 0.71, 1.0)]
    pen.wire(QPointF(diode.x() + reach, top), QPointF(columns[-1], top))
    for place, x in enumerate(columns):
        at = QPointF(x, middle + theme.px(12))
        half = pen.resistor(at, upright=True)
        upper = QPointF(x, at.y() - half)
        if place == 0:
            pen.wire(QPointF(x, top), upper)
        else:
            pen.wire(QPointF(x, top), QPointF(x, top + theme.px(6)))
            pen.switch(QPointF(x, top + theme.px(6)), upper)
        pen.wire(QPointF(x, at.y() + half), QPointF(x, bottom))
    pen.wire(QPointF(left, middle + radius), QPointF(left, bottom), QPointF(columns[-1], bottom))
    for y in (top, bottom):
        pen.dot(QPointF(contact, y))
    pen.text(QPointF(source.x(), top - theme.px(20)), "1000 Ω", _ALIGN.AlignHCenter)
    pen.text(QPointF(left + radius + theme.px(6), middle), "±12 V", _ALIGN.AlignLeft)
    _name_circuit(pen, box, (top, bottom), columns)


def _contact_x(box: QRectF) -> float:
    """Where charger and vehicle meet."""
    return box.left() + 0.44 * box.width()


def _name_circuit(
    pen: Pen, box: QRectF, heights: tuple[float, float], columns: list[float]
) -> None:
    theme = pen.theme
    top, bottom = heights
    contact = _contact_x(box)
    centre = _ALIGN.AlignHCenter
    pen.text(QPointF(contact, top - theme.px(20)), "pilot", centre)
    pen.text(QPointF(contact, bottom + theme.px(16)), "PE", centre)
    pen.text(QPointF(contact + theme.px(56), top - theme.px(20)), "0.70 V", centre)
    for x, words in zip(columns, ("2740 Ω", "C: 1300 Ω", "D: 270 Ω"), strict=True):
        pen.text(QPointF(x, bottom + theme.px(16)), words, centre)
    pen.painter.setPen(QPen(theme.colour("faint"), theme.px(1), Qt.PenStyle.DashLine))
    pen.wire(QPointF(contact, box.top() + theme.px(12)), QPointF(contact, top - theme.px(30)))
    pen.painter.setPen(theme.colour("faint"))
    left, right = (box.left() + contact) / 2.0, (box.right() + contact) / 2.0
    pen.text(QPointF(left, box.top() + theme.px(16)), "charger", centre)
    pen.text(QPointF(right, box.top() + theme.px(16)), "vehicle or stand-in", centre)


def draw_divider(painter: QPainter, box: QRectF, theme: Theme) -> None:
    """The current's way in B from the rail to PE, with the voltage at each joint."""
    pen = Pen(painter, theme)
    painter.setPen(QPen(theme.colour("ink"), theme.px(2)))
    y = box.center().y()
    xs = [box.left() + box.width() * share for share in (0.08, 0.36, 0.62, 0.94)]
    level = _DROP_V + (_RAIL_V - _DROP_V) * _LOAD_OHM / (_SOURCE_OHM + _LOAD_OHM)
    first, second = (xs[0] + xs[1]) / 2.0, (xs[2] + xs[3]) / 2.0
    middle = (xs[1] + xs[2]) / 2.0
    half = pen.resistor(QPointF(first, y), upright=False)
    pen.wire(QPointF(xs[0], y), QPointF(first - half, y))
    reach = pen.diode(QPointF(middle, y))
    pen.wire(QPointF(first + half, y), QPointF(middle - reach, y))
    half = pen.resistor(QPointF(second, y), upright=False)
    pen.wire(QPointF(middle + reach, y), QPointF(second - half, y))
    pen.wire(QPointF(second + half, y), QPointF(xs[3], y))
    centre = _ALIGN.AlignHCenter
    for x, volts in zip(xs, (_RAIL_V, level, level - _DROP_V, 0.0), strict=True):
        pen.dot(QPointF(x, y))
        pen.text(QPointF(x, y + theme.px(26)), f"{number(volts, 2)} V", centre)
    up = y - theme.px(26)
    for x, words in ((first, "1000 Ω"), (middle, "0.70 V"), (second, "2740 Ω")):
        pen.text(QPointF(x, up), words, centre)
    painter.setPen(theme.colour("faint"))
    down = y + theme.px(50)
    for x, words in zip(xs, ("rail", "pilot", "behind the diode", "PE"), strict=True):
        pen.text(QPointF(x, down), words, centre)
