"""The time ruler: marks, the loop and the playhead; drag to pan or to scrub, drag below the line to loop."""

from __future__ import annotations

import math
from collections.abc import Iterable

from PySide6.QtCore import QLineF, QPointF, QRect, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QFont,
    QFontMetrics,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
    QPolygonF,
    QWheelEvent,
)
from PySide6.QtWidgets import QSizePolicy, QWidget

from lagline.desk.lanes.lane_wave import CLICK_PIXELS, ZOOM_STEP, paint_chosen
from lagline.desk.lanes.loop_hand import LoopHand
from lagline.desk.lanes.ticks import Tick, ticks
from lagline.desk.theme import theme_of
from lagline.desk.timeview import TimeViewModel
from lagline.session.values import Marker

HEIGHT, LOOP_TOP = 44, 25
HANDLE_PX = 7  # on either side of the playhead
WIDEST_LABEL = 200  # pixels, and more
FLAG_PAD = 4


def small(font: QFont) -> QFont:
    """The font of figures and flags."""
    smaller = QFont(font)
    smaller.setPointSizeF(max(font.pointSizeF() - 1.0, 6.5))
    return smaller


class Ruler(QWidget):
    """Shows time over the waveforms. The upper part pans and seeks, the band below it edits the loop."""

    seek_requested = Signal(float)  # session sample
    scrub_requested = Signal(float)  # the hand drags the playhead over this session sample ...
    scrub_ended = Signal(float)  # ... and lets go
    loop_requested = Signal(object, str)  # (start, stop) or None, undo group
    rename_requested = Signal(object)  # a Marker

    def __init__(self, times: TimeViewModel, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._times = times
        self._rate_hz = 48_000
        self._loop: tuple[int, int] | None = None
        self._is_looping = False
        self._markers: tuple[Marker, ...] = ()
        self._playhead: float | None = None
        self._pointed: float | None = None
        self._pan_x: float | None = None
        self._is_scrubbing = False
        self._press_x = 0.0
        self._hand = LoopHand()
        self._drags = 0
        self.setFixedHeight(HEIGHT)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setMouseTracking(True)
        self.setAccessibleName("Time ruler")
        self.setToolTip(
            "Drag the figures to pan, click to put the playhead; drag the playhead to hear what it passes. "
            "Drag in the band below to make a loop, "
            "its ends to change it, its middle to move it; double-click takes it away. "
            "Keys: I and O set its ends, L loops."
        )
        times.changed.connect(self.update)
        times.chosen_changed.connect(self.update)

    def sizeHint(self) -> QSize:
        return QSize(600, HEIGHT)

    def show_rate(self, rate_hz: int) -> None:
        """Count in samples of this rate."""
        if rate_hz != self._rate_hz:
            self._rate_hz = rate_hz
            self.update()

    def show_loop(self, loop: tuple[int, int] | None, *, is_looping: bool) -> None:
        """Draw the loop, in samples; paler while playback doesn't loop."""
        if (loop, is_looping) != (self._loop, self._is_looping):
            self._loop, self._is_looping = loop, is_looping
            self.update()

    def show_markers(self, markers: tuple[Marker, ...]) -> None:
        """Draw the take's markers and regions."""
        if markers != self._markers:
            self._markers = markers
            self.update()

    def marker_at(self, x: float) -> Marker | None:
        """The marker whose flag lies under pixel `x`; of several the last."""
        metrics = QFontMetrics(small(self.font()))
        for marker in reversed(self._markers):
            left = self._times.view.x_of(marker.at_samples)
            if left - 2 <= x <= left + metrics.horizontalAdvance(marker.name) + 2 * FLAG_PAD:
                return marker
        return None

    def show_playhead(self, sample: float | None) -> None:
        """Move the playhead; repaints only where it was and where it is."""
        if sample != self._playhead:
            for at in (self._playhead, sample):
                if at is not None and -9 <= (x := self._times.view.x_of(at)) <= self.width() + 9:
                    self.update(QRect(math.floor(x) - 8, 0, 17, HEIGHT))
            self._playhead = sample

    def point_at(self, sample: float | None) -> None:
        """Mark where the pointer is over the lanes, in samples; None takes the mark away."""
        if sample != self._pointed:
            self._pointed = sample
            self.update()

    @property
    def pointed(self) -> float | None:
        """The place that is marked without being the playhead."""
        return self._pointed

    def paintEvent(self, event: QPaintEvent) -> None:
        theme = theme_of(self.palette())
        painter = QPainter(self)
        painter.fillRect(self.rect(), QColor(theme.window))
        painter.fillRect(0, LOOP_TOP, self.width(), HEIGHT - LOOP_TOP - 1, QColor(theme.surface))
        view = self._times.view
        painter.setFont(small(self.font()))
        left, right = event.rect().left() - 1, event.rect().right() + 1
        marks = ticks(view, self.width(), self._rate_hz)
        shown = [tick for tick in marks if left <= tick.x <= right]
        for colour, top, large in ((theme.line, 18, False), (theme.edge, 3, True)):
            painter.setPen(QColor(colour))
            painter.drawLines(
                [QLineF(tick.x, top, tick.x, LOOP_TOP) for tick in shown if bool(tick.label) == large]
            )
        painter.setPen(QColor(theme.text_muted))
        near = (mark for mark in marks if mark.label and left - WIDEST_LABEL <= mark.x <= right)
        for x, label in whole_labels(near, painter.fontMetrics(), self.width()):
            painter.drawText(QPointF(x, 14), label)
        self._paint_loop(painter)
        self._paint_markers(painter)
        if self._times.chosen_x is not None:
            paint_chosen(painter, theme, self._times.chosen_x, HEIGHT)
        painter.setPen(QColor(theme.line))
        painter.drawLine(0, HEIGHT - 1, self.width(), HEIGHT - 1)
        if self._pointed is not None:
            x = view.x_of(self._pointed)
            painter.setPen(QPen(QColor(theme.text), 1, Qt.PenStyle.DashLine))
            painter.drawLine(QPointF(x, 0), QPointF(x, HEIGHT))
        if self._playhead is not None:
            x = view.x_of(self._playhead)
            painter.setRenderHint(QPainter.RenderHint.Antialiasing)
            painter.setPen(QPen(QColor(theme.accent), 1.5))
            painter.drawLine(QPointF(x, LOOP_TOP), QPointF(x, HEIGHT))
            painter.setBrush(QColor(theme.accent))
            painter.drawPolygon(
                QPolygonF(
                    [QPointF(x - 6, LOOP_TOP - 9), QPointF(x + 6, LOOP_TOP - 9), QPointF(x, LOOP_TOP + 1)]
                )
            )

    def _paint_loop(self, painter: QPainter) -> None:
        theme = theme_of(self.palette())
        box = QRectF(0, LOOP_TOP + 2, self.width(), HEIGHT - LOOP_TOP - 5)
        if self._loop is None:
            painter.setPen(QColor(theme.text_muted))
            return
        a, b = (min(max(self._times.view.x_of(at), -50.0), self.width() + 50.0) for at in self._loop)
        box.setLeft(a)
        box.setRight(max(b, a + 2))
        painter.setPen(QPen(QColor(theme.accent), 1.5))
        painter.setBrush(QColor(theme.accent_soft if self._is_looping else theme.surface))
        painter.drawRoundedRect(box, 3, 3)
        painter.fillRect(QRectF(a, box.top(), 4, box.height()), QColor(theme.accent))
        painter.fillRect(QRectF(box.right() - 4, box.top(), 4, box.height()), QColor(theme.accent))
        if box.width() > 70:
            painter.setPen(QColor(theme.text))
            painter.drawText(box, Qt.AlignmentFlag.AlignCenter, "Loop" if self._is_looping else "Loop off")

    def _paint_markers(self, painter: QPainter) -> None:
        """A line from top to bottom with a flag; a bar over the whole of a region."""
        theme, view, metrics = theme_of(self.palette()), self._times.view, painter.fontMetrics()
        for marker in self._markers:
            left = view.x_of(marker.at_samples)
            stop = left if marker.stop_samples is None else view.x_of(marker.stop_samples)
            width = metrics.horizontalAdvance(marker.name) + 2 * FLAG_PAD
            if stop < -width or left > self.width():
                continue
            flag = QRectF(left, LOOP_TOP + 1, width, HEIGHT - LOOP_TOP - 3)
            painter.setPen(QPen(QColor(theme.text_muted), 1))
            painter.drawLine(QPointF(left, 0), QPointF(left, HEIGHT))
            if stop > left:
                painter.fillRect(QRectF(left, LOOP_TOP - 3, stop - left, 3), QColor(theme.text_muted))
            painter.setBrush(QColor(theme.raised))
            painter.drawRect(flag)
            painter.setPen(QColor(theme.text))
            painter.drawText(flag, Qt.AlignmentFlag.AlignCenter, marker.name)

    # the hand

    def mousePressEvent(self, event: QMouseEvent) -> None:
        if event.button() != Qt.MouseButton.LeftButton:
            return
        x, y = event.position().x(), event.position().y()
        self._press_x = x
        if y >= LOOP_TOP:
            self._drags += 1
            self._hand.press(x, self._times.view, self._loop)
        elif self._is_at_playhead(x):
            self._is_scrubbing = True
            self.setCursor(Qt.CursorShape.SizeHorCursor)
        else:
            self._pan_x = x

    def _is_at_playhead(self, x: float) -> bool:
        return self._playhead is not None and abs(x - self._times.view.x_of(self._playhead)) <= HANDLE_PX

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        x, y = event.position().x(), event.position().y()
        if self._is_scrubbing:
            self.scrub_requested.emit(self._sample_at(x))
        elif self._pan_x is not None:
            self.setCursor(Qt.CursorShape.ClosedHandCursor)
            self._times.pan(x - self._pan_x)
            self._pan_x = x
        elif self._hand.is_active:
            loop = self._hand.move(x, self._times.view)
            if loop is not None:
                self.loop_requested.emit(loop, f"loop {self._drags}")
        elif y >= LOOP_TOP:
            at_edge = self._hand.part_at(x, self._times.view, self._loop) in ("start", "stop")
            self.setCursor(Qt.CursorShape.SizeHorCursor if at_edge else Qt.CursorShape.ArrowCursor)
        elif self._is_at_playhead(x):
            self.setCursor(Qt.CursorShape.SizeHorCursor)
        else:
            self.setCursor(Qt.CursorShape.OpenHandCursor)

    def _sample_at(self, x: float) -> float:
        return self._times.view.sample_at(min(max(x, 0.0), float(self.width())))

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        if self._is_scrubbing:
            self._is_scrubbing = False
            self.scrub_ended.emit(self._sample_at(event.position().x()))
        if self._pan_x is not None and abs(event.position().x() - self._press_x) < CLICK_PIXELS:
            self.seek_requested.emit(self._times.view.sample_at(event.position().x()))
        self._pan_x = None
        self._hand.release()

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        marker = self.marker_at(event.position().x())
        if marker is not None:
            self.rename_requested.emit(marker)
        elif event.position().y() >= LOOP_TOP and self._loop is not None:
            self.loop_requested.emit(None, "")

    def wheelEvent(self, event: QWheelEvent) -> None:
        angle = event.angleDelta()
        if abs(angle.x()) > abs(angle.y()) or event.modifiers() & Qt.KeyboardModifier.ShiftModifier:
            self._times.pan((angle.x() or angle.y()) * 0.8)
        elif angle.y():
            self._times.zoom(ZOOM_STEP ** (angle.y() / 120), event.position().x())
        event.accept()


def whole_labels(marks: Iterable[Tick], metrics: QFontMetrics, width: int) -> list[tuple[float, str]]:
    """Left edge and text of the labels that are whole in view: half of a number would be another number."""
    return [
        (mark.x + 4, mark.label)
        for mark in marks
        if mark.label and mark.x + 4 >= 0 and mark.x + 4 + metrics.horizontalAdvance(mark.label) <= width
    ]
