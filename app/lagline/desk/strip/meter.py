"""Level of what leaves for the output: two bars, the true peak in figures, the limiter's work."""

from __future__ import annotations

import math

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from lagline.amounts import MINUS
from lagline.desk.amounts import number_text
from lagline.desk.theme import theme_of
from lagline.desk.transport_state import TransportState

LOWEST_DB = -60.0
BAR = 7


def filled(level_db: float) -> float:
    """Part of the bar, 0..1, for a level in dB below full scale; 1 at full scale."""
    return 0.0 if math.isnan(level_db) else min(max(1 - level_db / LOWEST_DB, 0.0), 1.0)


class Meter(QWidget):
    """Peaks after the monitor level: what goes to the headphones, not how loud they are."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._peaks = (0.0, 0.0)
        self._text = self._said = ""
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        self.setAccessibleName("Output level")
        self.setToolTip(
            "Peak of what goes to the output, left above right, in dB below full scale. "
            "It cannot know how loud your headphones are. “Held” is what the hearing guard takes away: "
            "whatever makes it louder comes up slowly."
        )

    def sizeHint(self) -> QSize:
        return QSize(120, 2 * BAR + 4 + self.fontMetrics().height() + 3)

    def minimumSizeHint(self) -> QSize:
        return self.sizeHint()

    def show_state(self, state: TransportState) -> None:
        left, right = state.peak_dbfs or (-math.inf, -math.inf)
        peaks = (filled(left), filled(right))
        level = -math.inf if state.true_peak_dbtp is None else state.true_peak_dbtp
        text = f"{MINUS}∞ dBTP" if level < LOWEST_DB else f"{number_text(level, 1)} dBTP"
        if state.reduction_db > 0.05:
            text += f"  lim {MINUS}{state.reduction_db:.1f}"
        if state.held_db > 0.5:
            text = f"held {MINUS}{state.held_db:.0f} dB, rising"
        if (peaks, text) != (self._peaks, self._text):
            self._peaks, self._text = peaks, text
            self.update()
        if not state.is_playing and text != self._said:
            self._said = text
            self.setAccessibleDescription(text)

    def paintEvent(self, event: QPaintEvent) -> None:
        theme = theme_of(self.palette())
        painter = QPainter(self)
        width = self.width() - 1
        for row, part in enumerate(self._peaks):
            box = QRectF(0, row * (BAR + 2), width, BAR)
            painter.fillRect(box, QColor(theme.line))
            box.setWidth(part * width)
            hot = part > filled(-1.5)
            painter.fillRect(box, QColor(theme.danger if hot else theme.ok))
        painter.setPen(QColor(theme.edge))
        for level_db in (-40, -20, -6):
            x = width * (1 - level_db / LOWEST_DB)
            painter.drawLine(round(x), 2 * BAR + 2, round(x), 2 * BAR + 5)
        painter.setPen(QColor(theme.text_muted))
        box = QRectF(0, 2 * BAR + 4, width, self.height() - 2 * BAR - 4)
        painter.drawText(box, Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter, self._text)
