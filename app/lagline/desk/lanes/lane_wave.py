"""The waveform of one lane: shows it, and reports what the hand does to it."""

from __future__ import annotations

import math
import re

from PySide6.QtCore import QEvent, QPointF, QRect, QRectF, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QFont,
    QImage,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QResizeEvent,
    QWheelEvent,
)
from PySide6.QtWidgets import QSizePolicy, QWidget

from lagline.desk.lanes.lane_look import Backdrop, LaneLook, draw_lane
from lagline.desk.lanes.wave_data import WaveData
from lagline.desk.theme import RADIUS, Theme, theme_of

DIGITS = re.compile(r"\d")
CLICK_PIXELS = 3.0  # a hand that moves less has not dragged
ZOOM_STEP = 1.25  # of one notch of the wheel
GRIP = QRect(6, 5, 34, 18)  # takes hold of the lane whatever a drag does elsewhere


class LaneWave(QWidget):
    """Draws a LaneLook from a cached image. Positions in its signals are pixels along time."""

    pressed = Signal(float, Qt.KeyboardModifier)
    drag_started = Signal(float)
    dragged = Signal(float, bool, bool)  # x, fine, free of the magnet
    drag_ended = Signal()
    swept = Signal(float, float, float)  # the hand went over the wave from x to x, and is at y
    clicked = Signal(float)
    zoom_requested = Signal(float, float)  # factor, around x
    pan_requested = Signal(float)  # pixels
    height_zoom_requested = Signal(int)  # notches
    resized = Signal(int)  # the width now

    def __init__(self, data: WaveData, parent: QWidget | None = None, *, can_shift: bool = False) -> None:
        """`can_shift`: a hand may shift what is drawn, by its grip, or anywhere once drags shift."""
        super().__init__(parent)
        self._data = data
        self._look: LaneLook | None = None
        self._image: QImage | None = None
        self._backdrop = Backdrop()
        self._drawn: tuple[object, ...] = ()
        self._playhead_x: float | None = None
        self._read_out = ""
        self._box_for, self._box_size, self._box_ascent = "", (0, 0), 0  # of the read-out
        self._chosen: tuple[float, float] | None = None
        self._mark_x: float | None = None
        self._is_pointed = False
        self._press_x: float | None = None
        self._pan_x: float | None = None
        self._is_dragging = self._holds_lane = False
        self._can_shift, self._shifts = can_shift, False
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Expanding)
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setMouseTracking(True)  # for the pointer's shape
        self.setCursor(Qt.CursorShape.IBeamCursor)

    @property
    def look(self) -> LaneLook | None:
        """How the lane is drawn; None before it is shown."""
        return self._look

    def show_look(self, look: LaneLook) -> None:
        """Draw the lane like this from now on."""
        if look != self._look:
            self._look = look
            self.update()

    def show_playhead(self, x: float | None) -> None:
        """Move the playhead's line; repaints only the two narrow strips."""
        if x == self._playhead_x:
            return
        for at in (self._playhead_x, x):
            if at is not None and -2 <= at <= self.width() + 2:
                self.update(QRect(math.floor(at) - 2, 0, 5, self.height()))
        self._playhead_x = x

    def show_read_out(self, text: str) -> None:
        """A few figures beside the wave while it is dragged; empty to take them away."""
        if text != self._read_out:
            self._read_out = text
            self.update()

    def show_chosen(self, chosen: tuple[float, float] | None) -> None:
        """The stretch that is chosen, from pixel to pixel."""
        if chosen != self._chosen:
            self._chosen = chosen
            self.update()

    def show_mark(self, x: float | None) -> None:
        """A sound that was pointed at."""
        if x != self._mark_x:
            self._mark_x = x
            self.update()

    def let_point(self, on: bool) -> None:
        """A click is about to point at a sound."""
        self._is_pointed = on
        self._show_pointer(None)

    def let_drags_shift(self, on: bool) -> None:
        """Whether a drag anywhere shifts the lane; else it chooses a stretch of time."""
        self._shifts = on
        self._show_pointer(None)

    def _would_hold_lane(self, at: QPointF) -> bool:
        return self._can_shift and not self._is_pointed and (self._shifts or GRIP.contains(at.toPoint()))

    def _show_pointer(self, at: QPointF | None) -> None:
        holds_lane = self._would_hold_lane(at if at is not None else QPointF(self.rect().center()))
        usual = Qt.CursorShape.CrossCursor if self._is_pointed else Qt.CursorShape.IBeamCursor
        shape = Qt.CursorShape.SizeHorCursor if holds_lane else usual
        if self.cursor().shape() != shape:
            self.setCursor(shape)

    def refresh(self) -> None:
        """More of the sound may be known."""
        if self._look is None or self._wanted(self._look) != self._drawn:
            self.update()

    # painting

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        theme = theme_of(self.palette())
        if self._look is None:
            painter.fillRect(self.rect(), QColor(theme.surface))
            return
        painter.drawImage(QPointF(0, 0), self._picture(self._look))
        if self._chosen is not None:
            paint_chosen(painter, theme, self._chosen, self.height())
        if self._can_shift:
            self._paint_grip(painter, theme)
        if self._mark_x is not None:
            painter.setPen(QPen(QColor(theme.text), 1.5, Qt.PenStyle.DashLine))
            painter.drawLine(QPointF(self._mark_x, 0), QPointF(self._mark_x, self.height()))
        if self._playhead_x is not None and -1 <= self._playhead_x <= self.width():
            painter.setPen(QPen(QColor(theme.accent), 1.5))
            painter.drawLine(QPointF(self._playhead_x, 0), QPointF(self._playhead_x, self.height()))
        if self._read_out:
            self._paint_read_out(painter)

    def _picture(self, look: LaneLook) -> QImage:
        wanted = self._wanted(look)
        if self._image is None or wanted != self._drawn:
            theme, ratio = theme_of(self.palette()), self.devicePixelRatioF()
            size = self.width(), self.height()
            self._image = draw_lane(look, self._data, theme, *size, ratio, self._image, self._backdrop)
            self._drawn = wanted
        return self._image

    def _wanted(self, look: LaneLook) -> tuple[object, ...]:
        """Everything the picture depends on."""
        theme, ratio = theme_of(self.palette()), self.devicePixelRatioF()
        ids = [trace.lane_id for trace in (look.wave, look.ghost, look.anchor) if trace is not None]
        return (look, self.width(), self.height(), ratio, theme.name, *map(self._data.revision, ids))

    def _paint_grip(self, painter: QPainter, theme: Theme) -> None:
        """Two arrows apart."""
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(QPen(QColor(theme.edge), 1))
        painter.setBrush(QColor(theme.raised))
        painter.drawRoundedRect(QRectF(GRIP).adjusted(0.5, 0.5, -0.5, -0.5), RADIUS, RADIUS)
        painter.setPen(QPen(QColor(theme.text), 1.5))
        left, right, middle = GRIP.left() + 7.0, GRIP.right() - 6.0, GRIP.center().y() + 0.5
        painter.drawLine(QPointF(left, middle), QPointF(right, middle))
        for tip, inward in ((left, 4.0), (right, -4.0)):
            for up in (-4.0, 4.0):
                painter.drawLine(QPointF(tip, middle), QPointF(tip + inward, middle + up))
        painter.setRenderHint(QPainter.RenderHint.Antialiasing, False)

    def _paint_read_out(self, painter: QPainter) -> None:
        theme = theme_of(self.palette())
        font = QFont(self.font())
        font.setBold(True)
        painter.setFont(font)
        painter.setLayoutDirection(Qt.LayoutDirection.LeftToRight)  # figures and units in their order
        figures = DIGITS.sub("8", self._read_out)  # as wide as any: the box does not tremble while they run
        if figures != self._box_for:
            metrics = painter.fontMetrics()
            self._box_for, self._box_ascent = figures, metrics.ascent()
            self._box_size = metrics.horizontalAdvance(figures) + 16, metrics.height() + 8
        wide, high = self._box_size
        box = QRectF(round((self.width() - wide) / 2), 4, wide, high)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(QPen(QColor(theme.edge), 1))
        painter.setBrush(QColor(theme.raised))
        painter.drawRoundedRect(box, RADIUS, RADIUS)
        painter.setPen(QColor(theme.text))
        painter.drawText(QPointF(box.left() + 8, box.top() + 4 + self._box_ascent), self._read_out)

    def changeEvent(self, event: QEvent) -> None:
        super().changeEvent(event)
        if event.type() == QEvent.Type.FontChange:
            self._box_for = ""

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self._image = None
        self.resized.emit(self.width())

    # the hand

    def mousePressEvent(self, event: QMouseEvent) -> None:
        x = event.position().x()
        if event.button() == Qt.MouseButton.MiddleButton:
            self._pan_x = x
            return
        if event.button() != Qt.MouseButton.LeftButton:
            super().mousePressEvent(event)
            return
        self._press_x, self._is_dragging = x, False
        self._holds_lane = self._would_hold_lane(event.position())
        self.pressed.emit(x, event.modifiers())

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        x = event.position().x()
        if self._pan_x is not None:
            self.pan_requested.emit(x - self._pan_x)
            self._pan_x = x
        if self._press_x is None:
            self._show_pointer(event.position())
            return
        if not self._is_dragging and abs(x - self._press_x) >= CLICK_PIXELS:
            self._is_dragging = True
            if self._holds_lane:
                self.drag_started.emit(self._press_x)
        if self._is_dragging and self._holds_lane:
            modifiers = event.modifiers()
            self.dragged.emit(
                x,
                bool(modifiers & Qt.KeyboardModifier.ShiftModifier),
                bool(modifiers & Qt.KeyboardModifier.ControlModifier),
            )
        elif self._is_dragging:
            self.swept.emit(self._press_x, x, event.position().y())

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        if event.button() == Qt.MouseButton.MiddleButton:
            self._pan_x = None
        if event.button() != Qt.MouseButton.LeftButton or self._press_x is None:
            return
        self._press_x = None
        if not self._is_dragging:
            self.clicked.emit(event.position().x())
        elif self._holds_lane:
            self.drag_ended.emit()
        self._is_dragging = False

    def wheelEvent(self, event: QWheelEvent) -> None:
        wheel_hand(self, event)


def paint_chosen(painter: QPainter, theme: Theme, chosen: tuple[float, float], height: int) -> None:
    """A veil over the chosen stretch, with its ends."""
    left, right = chosen
    veil, edge = QColor(theme.text), QColor(theme.text)
    veil.setAlpha(38)
    edge.setAlpha(170)
    painter.fillRect(QRectF(left, 0, right - left, height), veil)
    painter.setPen(QPen(edge, 1))
    for x in chosen:
        painter.drawLine(QPointF(x, 0), QPointF(x, height))


def wheel_hand(widget: LaneWave, event: QWheelEvent) -> None:
    """Wheel: zoom around the pointer; sideways or with Shift: pan; with Ctrl: amplitude."""
    angle = event.angleDelta()
    modifiers = event.modifiers()
    if modifiers & Qt.KeyboardModifier.ControlModifier:
        widget.height_zoom_requested.emit(1 if angle.y() > 0 else -1)
    elif abs(angle.x()) > abs(angle.y()) or modifiers & Qt.KeyboardModifier.ShiftModifier:
        widget.pan_requested.emit((angle.x() or angle.y()) * 0.8)
    elif angle.y():
        widget.zoom_requested.emit(ZOOM_STEP ** (angle.y() / 120), event.position().x())
    event.accept()
