"""One judgement drawn: the value with its uncertainty on a line, the limit as a band on it."""

from typing import Final

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QPainter, QPaintEvent, QPen, QPolygonF, QResizeEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from pilotsignal.judge import Judgement
from rungbench.desktop.figures import bounds, figure, localised, margin
from rungbench.desktop.palette import VERDICT_COLOURS
from rungbench.desktop.theme import Theme

_ROOM: Final = 0.35  # of the span, on either side


class JudgementBar(QWidget):
    """Shows one judgement; where the value lies far outside the band the line is stretched."""

    def __init__(self, theme: Theme, judgement: Judgement) -> None:
        super().__init__()
        self._theme, self._judgement = theme, judgement
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAccessibleName(judgement_text(judgement))
        theme.changed.connect(self._fit)

    def sizeHint(self) -> QSize:
        """As high as the width there is asks for."""
        return QSize(self._theme.px(240), self._needed())

    def minimumSizeHint(self) -> QSize:
        """Narrow, with the texts below one another."""
        return QSize(self._theme.px(120), self._needed())

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Narrower may be higher."""
        super().resizeEvent(event)
        self._fit()

    def _fit(self) -> None:
        if self.height() != self._needed():
            self.setFixedHeight(self._needed())

    def _needed(self) -> int:
        """The bar, with one or two lines of text above and below."""
        pairs = (self._above, self._below)
        lines = sum(2 if self._parted(pair, self.width()) else 1 for pair in pairs)
        return lines * self.fontMetrics().height() + self._theme.px(26)

    @property
    def _above(self) -> tuple[str, str]:
        """Value and margin."""
        quantity = self._judgement.quantity
        if quantity is None:
            return "not measured", ""
        away = margin(quantity, self._judgement.limit) if quantity.u > 0.0 else ""
        return figure(quantity), f"margin {away}" if away else ""

    @property
    def _below(self) -> tuple[str, str]:
        """Limit and rule."""
        limit = self._judgement.limit
        return f"limit {bounds(limit)}", str(limit.rule.value)

    def _parted(self, pair: tuple[str, str], width: int) -> bool:
        """Whether both do not fit beside one another."""
        metrics = self.fontMetrics()
        needed = sum(metrics.horizontalAdvance(text) for text in pair)
        return bool(pair[1]) and needed + self._theme.px(10) > width

    def paintEvent(self, _event: QPaintEvent) -> None:
        """Band, value, figures."""
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        y = self._write(painter, 0.0, self._above, "ink")
        rail = QRectF(0, y + self._theme.px(4), self.width(), self._theme.px(16))
        span = _span(self._judgement)
        if span is not None:
            self._draw_band(painter, rail, span)
            if self._judgement.quantity is not None:
                self._draw_value(painter, rail, span)
        self._write(painter, rail.bottom() + self._theme.px(2), self._below, "faint")
        painter.end()

    def _write(self, painter: QPainter, y: float, pair: tuple[str, str], colour: str) -> float:
        """A text at the left and one at the right, or below it; returns where they end."""
        line = float(self.fontMetrics().height())
        painter.setPen(self._theme.colour(colour))
        painter.drawText(QRectF(0, y, self.width(), line), Qt.AlignmentFlag.AlignLeft, pair[0])
        painter.setPen(self._theme.colour("faint"))
        parted = self._parted(pair, self.width())
        y += line if parted else 0.0
        side = Qt.AlignmentFlag.AlignLeft if parted else Qt.AlignmentFlag.AlignRight
        painter.drawText(QRectF(0, y, self.width(), line), side, pair[1])
        return y + line

    def _draw_band(self, painter: QPainter, rail: QRectF, span: tuple[float, float]) -> None:
        limit = self._judgement.limit
        painter.fillRect(rail, self._theme.colour("band"))
        low = rail.left() if limit.low is None else _x(limit.low, rail, span)
        high = rail.right() if limit.high is None else _x(limit.high, rail, span)
        allowed = QRectF(low, rail.top(), max(1.0, high - low), rail.height())
        painter.fillRect(allowed, self._theme.colour("allowed"))
        painter.setPen(QPen(self._theme.colour("ink"), self._theme.px(1.5)))
        for bound, x in ((limit.low, low), (limit.high, high)):
            if bound is not None:
                painter.drawLine(QPointF(x, rail.top()), QPointF(x, rail.bottom()))

    def _draw_value(self, painter: QPainter, rail: QRectF, span: tuple[float, float]) -> None:
        quantity = self._judgement.quantity
        if quantity is None:
            return
        colour = self._theme.colour(VERDICT_COLOURS[self._judgement.verdict.value])
        expanded, y = quantity.expanded(), rail.center().y()
        painter.setPen(QPen(colour, self._theme.px(2)))
        ends = [_x(quantity.value + sign * expanded, rail, span) for sign in (-1, 1)]
        painter.drawLine(QPointF(ends[0], y), QPointF(ends[1], y))
        x, side = _x(quantity.value, rail, span), self._theme.px(7)
        painter.setBrush(colour)
        corners = ((x - side, y), (x, y - side), (x + side, y), (x, y + side))
        painter.drawPolygon(QPolygonF([QPointF(*corner) for corner in corners]))


def judgement_text(judgement: Judgement) -> str:
    """The judgement for a screen reader."""
    quantity, limit = judgement.quantity, judgement.limit
    value = "not measured" if quantity is None else figure(quantity)
    why = localised(judgement.why)
    return f"{value}, limit {bounds(limit)}, {judgement.verdict.value}. {why}".strip()


def _span(judgement: Judgement) -> tuple[float, float] | None:
    """Ends of the line: both bounds, the value and its uncertainty, with room beside them."""
    limit, quantity = judgement.limit, judgement.quantity
    places = [bound for bound in (limit.low, limit.high) if bound is not None]
    if quantity is not None:
        expanded = quantity.expanded()
        places += [quantity.value - expanded, quantity.value + expanded]
    if not places:
        return None
    low, high = min(places), max(places)
    room = _ROOM * (high - low) or max(abs(high), 1.0) * _ROOM
    return low - room, high + room


def _x(value: float, rail: QRectF, span: tuple[float, float]) -> float:
    share = (value - span[0]) / (span[1] - span[0])
    return rail.left() + min(1.0, max(0.0, share)) * rail.width()
