"""Two parts on a line, three on a triangle: where the handle lies is how they share the sound."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from PySide6.QtCore import QEvent, QPointF, QRectF, Qt, Signal
from PySide6.QtGui import QColor, QFocusEvent, QKeyEvent, QMouseEvent, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QSizePolicy, QWidget

from lagline.desk.plain import plain_tip
from lagline.desk.theme import theme_of

STEP, FINE_STEP = 0.02, 0.005  # of the pad's width, a key
_RADIUS, _SIDE = 7.0, 14.0
_LINE_HEIGHT, _TRIANGLE_HEIGHT = 56, 150
_DIRECTIONS = {
    Qt.Key.Key_Left: (-1.0, 0.0),
    Qt.Key.Key_Right: (1.0, 0.0),
    Qt.Key.Key_Up: (0.0, -1.0),
    Qt.Key.Key_Down: (0.0, 1.0),
}


class BalancePad(QWidget):
    """Receives: `show_shares(names, shares)`; no name: nothing to balance.

    Arrow keys move the handle, with Shift finely; Home makes all equal.

    Signals
    -------
    begun() : a drag, or keys after something else: what follows is one step.
    moved(tuple of float shares) : they add up to 1.
    left() : back to where it was opened from.
    """

    begun = Signal()
    moved = Signal(tuple)
    left = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._names: tuple[str, ...] = ()
        self._shares: tuple[float, ...] = ()
        self._drags = False
        self.setAccessibleName("Balance")
        self.setToolTip(
            plain_tip(
                "Drag towards what should be louder; the whole stays as loud. "
                "Arrow keys, with Shift finely; Home: all equal"
            )
        )
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        self.setMinimumWidth(120)
        self.setFixedHeight(_LINE_HEIGHT)

    def show_shares(self, names: Sequence[str], shares: Sequence[float]) -> None:
        """The parts, and the share of each in the power."""
        if (tuple(names), tuple(shares)) == (self._names, self._shares):
            return
        self.setFixedHeight(_TRIANGLE_HEIGHT if len(names) > 2 else _LINE_HEIGHT)  # at once: keys may follow
        self._names, self._shares = tuple(names), tuple(shares)
        self.setAccessibleDescription(", ".join(self._labels()))
        self.update()

    def _labels(self) -> list[str]:
        return [f"{name} {100 * share:.0f} %" for name, share in zip(self._names, self._shares, strict=True)]

    # where things lie

    def corners(self) -> list[QPointF]:
        """Where each part has all of it."""
        side, text = _SIDE + _RADIUS, self.fontMetrics().height()
        left, right, bottom = side, self.width() - side, self.height() - side - text
        if len(self._names) < 3:
            middle = (self.height() - text) / 2.0
            return [QPointF(left, middle), QPointF(right, middle)]
        return [QPointF((left + right) / 2.0, side + text), QPointF(left, bottom), QPointF(right, bottom)]

    def handle(self) -> QPointF:
        """Where the handle lies."""
        spots = zip(self.corners(), self._shares, strict=True)
        return sum((corner * share for corner, share in spots), QPointF())

    def shares_at(self, spot: QPointF) -> tuple[float, ...]:
        """What a spot stands for; outside, what the nearest way in does."""
        corners = self.corners()
        matrix = np.array([[one.x() for one in corners], [one.y() for one in corners], [1.0] * len(corners)])
        wanted = np.array([spot.x(), spot.y(), 1.0])
        if len(corners) == 2:
            along = (spot.x() - corners[0].x()) / max(corners[1].x() - corners[0].x(), 1.0)
            found = np.array([1.0 - along, along])
        else:
            found = np.linalg.lstsq(matrix, wanted, rcond=None)[0]
        kept = np.clip(found, 0.0, 1.0)
        return tuple((kept / max(float(kept.sum()), 1e-9)).tolist())

    def paintEvent(self, event: QPaintEvent) -> None:
        """Line or triangle, names with their shares, handle."""
        if not self._names:
            return
        theme, corners = theme_of(self.palette()), self.corners()
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(QPen(QColor(theme.edge), 1.5))
        painter.setBrush(QColor(theme.raised))
        if len(corners) > 2:
            painter.drawPolygon(QPolygonF(corners))
        else:
            painter.drawLine(corners[0], corners[1])
        painter.setPen(QColor(theme.text))
        for number, label in enumerate(self._labels()):
            painter.drawText(self._place(number, corners[number]), self._side(number), label)
        handle = self.handle()
        painter.setPen(QPen(QColor(theme.text), 2.0 if self.hasFocus() else 1.0))
        painter.setBrush(QColor(theme.accent))
        painter.drawEllipse(handle, _RADIUS, _RADIUS)
        if self.hasFocus():
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(QPen(QColor(theme.accent), 1.5))
            painter.drawEllipse(handle, _RADIUS + 3.0, _RADIUS + 3.0)
        painter.end()

    def _place(self, number: int, corner: QPointF) -> QRectF:
        text, below = self.fontMetrics().height(), corner.y() + _RADIUS + 4.0
        if len(self._names) > 2 and number == 0:
            return QRectF(0.0, 0.0, self.width(), text + 2.0)
        return QRectF(4.0, below, self.width() - 8.0, text + 2.0)

    def _side(self, number: int) -> Qt.AlignmentFlag:
        if len(self._names) > 2 and number == 0:
            return Qt.AlignmentFlag.AlignHCenter
        return Qt.AlignmentFlag.AlignRight if number == len(self._names) - 1 else Qt.AlignmentFlag.AlignLeft

    # hand and keys

    def event(self, event: QEvent) -> bool:
        """Its keys are its own while it has the focus."""
        own = (*_DIRECTIONS, Qt.Key.Key_Home, Qt.Key.Key_Escape)
        asks = event.type() == QEvent.Type.ShortcutOverride
        if asks and isinstance(event, QKeyEvent) and event.key() in own:
            event.accept()
            return True
        return super().event(event)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """The handle comes to the pointer."""
        if event.button() == Qt.MouseButton.LeftButton and self._names:
            self._drags = True
            self.begun.emit()
            self._move_to(event.position())

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        if self._drags:
            self._move_to(event.position())

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        self._drags = False

    def focusInEvent(self, event: QFocusEvent) -> None:
        super().focusInEvent(event)
        self.begun.emit()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        key = Qt.Key(event.key())
        if key == Qt.Key.Key_Escape:
            self.left.emit()
        elif key == Qt.Key.Key_Home and self._names:
            self.moved.emit((1.0 / len(self._names),) * len(self._names))
        elif key in _DIRECTIONS and self._names:
            is_fine = bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier)
            step = (FINE_STEP if is_fine else STEP) * self.width()
            along, down = _DIRECTIONS[key]
            self._move_to(self.handle() + QPointF(along * step, down * step))
        else:
            super().keyPressEvent(event)

    def _move_to(self, spot: QPointF) -> None:
        self.moved.emit(self.shares_at(spot))
