"""The desk's few signs, drawn here so that they take the theme's colours and need no font."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache

from PySide6.QtCore import QPointF, QRectF, QSize, Qt
from PySide6.QtGui import QColor, QIcon, QPainter, QPainterPath, QPen, QPixmap, QPolygonF

from lagline.desk.theme import Theme

SIZE = 16


def _play(painter: QPainter) -> None:
    painter.drawPolygon(QPolygonF([QPointF(4, 2.5), QPointF(13.5, 8), QPointF(4, 13.5)]))


def _stop(painter: QPainter) -> None:
    painter.drawRoundedRect(QRectF(3.5, 3.5, 9, 9), 1, 1)


def _loop(painter: QPainter) -> None:
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawArc(QRectF(2.5, 4, 11, 8), 40 * 16, 280 * 16)
    painter.setBrush(painter.pen().color())
    painter.drawPolygon(QPolygonF([QPointF(9.5, 2.5), QPointF(13.8, 4.8), QPointF(9.8, 7.4)]))


def _anchor(painter: QPainter) -> None:
    """A plumb line: what the others are lined up on."""
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawLine(QPointF(8, 1), QPointF(8, 9))
    painter.drawLine(QPointF(4.5, 1.2), QPointF(11.5, 1.2))
    painter.setBrush(painter.pen().color())
    painter.drawPolygon(QPolygonF([QPointF(5, 8.5), QPointF(11, 8.5), QPointF(8, 15)]))


def _flip(painter: QPainter) -> None:
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawEllipse(QRectF(3.5, 3.5, 9, 9))
    painter.drawLine(QPointF(2.5, 13.5), QPointF(13.5, 2.5))


def _fold(painter: QPainter) -> None:
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawPolyline(QPolygonF([QPointF(4, 6), QPointF(8, 10), QPointF(12, 6)]))


def _unfold(painter: QPainter) -> None:
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawPolyline(QPolygonF([QPointF(6, 4), QPointF(10, 8), QPointF(6, 12)]))


def _link(painter: QPainter) -> None:
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawRoundedRect(QRectF(1.5, 5.5, 7, 5), 2.5, 2.5)
    painter.drawRoundedRect(QRectF(7.5, 5.5, 7, 5), 2.5, 2.5)


def _warning(painter: QPainter) -> None:
    path = QPainterPath()
    path.moveTo(8, 2)
    path.lineTo(14.5, 13.5)
    path.lineTo(1.5, 13.5)
    path.closeSubpath()
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawPath(path)
    painter.drawLine(QPointF(8, 6.2), QPointF(8, 9.6))
    painter.drawPoint(QPointF(8, 11.6))


def _info(painter: QPainter) -> None:
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawEllipse(QRectF(1.8, 1.8, 12.4, 12.4))
    painter.drawLine(QPointF(8, 7.4), QPointF(8, 11.2))
    painter.drawPoint(QPointF(8, 4.8))


def _close(painter: QPainter) -> None:
    painter.drawLine(QPointF(4, 4), QPointF(12, 12))
    painter.drawLine(QPointF(12, 4), QPointF(4, 12))


def _done(painter: QPainter) -> None:
    painter.setBrush(Qt.BrushStyle.NoBrush)
    painter.drawPolyline(QPolygonF([QPointF(3, 8.5), QPointF(6.5, 12), QPointF(13, 4.5)]))


DRAWN: dict[str, Callable[[QPainter], None]] = {
    "play": _play, "stop": _stop, "loop": _loop, "anchor": _anchor, "flip": _flip, "fold": _fold,
    "unfold": _unfold, "link": _link, "warning": _warning, "close": _close, "done": _done,
    "info": _info,
}  # fmt: skip


@lru_cache(maxsize=128)  # headers ask for the same few at every edit
def icon(name: str, theme: Theme, colour: str | None = None) -> QIcon:
    """A sign in the theme's text colour (or another), grey when its control is disabled."""
    found = QIcon()
    for mode, ink in ((QIcon.Mode.Normal, colour or theme.text), (QIcon.Mode.Disabled, theme.edge)):
        for ratio in (1, 2):
            pixmap = QPixmap(QSize(SIZE * ratio, SIZE * ratio))
            pixmap.setDevicePixelRatio(ratio)
            pixmap.fill(Qt.GlobalColor.transparent)
            painter = QPainter(pixmap)
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            painter.setPen(QPen(QColor(ink), 1.6, Qt.PenStyle.SolidLine, Qt.PenCapStyle.RoundCap))
            painter.setBrush(QColor(ink))
            DRAWN[name](painter)
            painter.end()
            found.addPixmap(pixmap, mode)
    return found
