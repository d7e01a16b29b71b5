"""The whole take as a narrow strip, with a frame around what is in view: drag it to pan."""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QImage, QMouseEvent, QPainter, QPaintEvent, QPen, QResizeEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from lagline.desk.lanes.lane_look import mixed
from lagline.desk.lanes.looks import fitting_scale
from lagline.desk.lanes.raster import fill, joined, rows_of
from lagline.desk.lanes.wave_data import WaveData
from lagline.desk.theme import theme_of
from lagline.desk.timeview import TimeViewModel
from lagline.session.values import Session

HEIGHT = 30


class OverviewBar(QWidget):
    """Draws the loudest of all lanes at each moment."""

    def __init__(self, data: WaveData, times: TimeViewModel, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._data, self._times = data, times
        self._session: Session | None = None
        self._image: QImage | None = None
        self._drawn: tuple[object, ...] = ()
        self._grab: float | None = None
        self._is_old = False
        self._pointed: float | None = None
        self.setFixedHeight(HEIGHT)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setAccessibleName("Overview of the take")
        self.setToolTip("The whole take. Drag the frame to move along it; double-click shows all of it (0).")
        times.changed.connect(self.update)

    def show_session(self, session: Session | None) -> None:
        """Draw this session's whole take; None empties the bar."""
        if session is not self._session:
            self._session = session
            self.update()

    def point_at(self, sample: float | None) -> None:
        """Mark a place; None takes the mark away."""
        self._pointed = sample
        self.update()

    def forget(self) -> None:
        """More of the sound is known: draw it anew at the next `refresh`."""
        self._is_old = True

    def refresh(self) -> None:
        """Draw again if anything has arrived since."""
        if self._is_old:
            self._is_old, self._image = False, None
            self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        theme = theme_of(self.palette())
        painter = QPainter(self)
        painter.drawImage(QPointF(0, 0), self._picture())
        first, last = (self._x_of(sample) for sample in self._times.seen)
        frame = QRectF(first, 1, max(last - first, 3.0), HEIGHT - 3)
        veil = QColor(theme.window)
        veil.setAlpha(150)
        painter.fillRect(QRectF(0, 0, max(frame.left(), 0), HEIGHT), veil)
        painter.fillRect(QRectF(frame.right(), 0, self.width(), HEIGHT), veil)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(QPen(QColor(theme.text_muted), 1.5))
        painter.drawRoundedRect(
            frame.intersected(QRectF(self.rect()).adjusted(1, 0, -1, 0)).adjusted(0.5, 0.5, -0.5, -0.5), 3, 3
        )

        if self._pointed is not None:
            x = self._x_of(self._pointed)
            painter.setPen(QPen(QColor(theme.text), 1, Qt.PenStyle.DashLine))
            painter.drawLine(QPointF(x, 0), QPointF(x, HEIGHT))

    def _picture(self) -> QImage:
        theme, ratio = theme_of(self.palette()), self.devicePixelRatioF()
        wanted = (self.width(), ratio, theme.name, self._times.span, self._session)
        if self._image is None or wanted != self._drawn:
            self._image, self._drawn = self._draw(round(self.width() * ratio), round(HEIGHT * ratio)), wanted
            self._image.setDevicePixelRatio(ratio)
        return self._image

    def _draw(self, columns: int, rows: int) -> QImage:
        theme = theme_of(self.palette())
        pixels = np.full((rows, max(columns, 1)), mixed(theme.window, theme.window, 0), np.uint32)
        start, stop = self._times.span
        lows = np.zeros(pixels.shape[1], np.float32)
        highs = np.zeros_like(lows)
        session, overviews = self._session, self._data.overviews()
        for lane in session.lanes if session else ():
            if lane.id in overviews and session is not None:
                at = lane.place_samples + session.current_version.move(lane.id).shift_samples
                found = overviews[lane.id].columns(start - at, stop - at, pixels.shape[1])
                np.minimum(lows, found[0], out=lows)
                np.maximum(highs, found[1], out=highs)
        scale = fitting_scale(float(max(highs.max(initial=0), -lows.min(initial=0))))
        fill(pixels, *joined(*rows_of(lows, highs, rows, scale)), mixed(theme.window, theme.text_muted, 0.75))
        return QImage(
            pixels.data, pixels.shape[1], rows, 4 * pixels.shape[1], QImage.Format.Format_RGB32
        ).copy()

    def _x_of(self, sample: float) -> float:
        start, stop = self._times.span
        return (sample - start) / max(stop - start, 1) * self.width()

    def _sample_at(self, x: float) -> float:
        start, stop = self._times.span
        return start + x / max(self.width(), 1) * (stop - start)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        if event.button() == Qt.MouseButton.LeftButton:
            at = self._sample_at(event.position().x())
            first, last = self._times.seen
            middle = 0.5 * (first + last)
            self._grab = middle - at if first <= at <= last else 0.0
            self._times.centre_on(at + self._grab)

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        if self._grab is not None:
            self._times.centre_on(self._sample_at(event.position().x()) + self._grab)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        self._grab = None

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        self._times.fit()

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self._image = None
