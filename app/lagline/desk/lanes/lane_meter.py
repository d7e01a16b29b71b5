"""How loud a lane is at the playhead: a thin bar at the edge of its header."""

from __future__ import annotations

import numpy as np
from PySide6.QtCore import QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent
from PySide6.QtWidgets import QWidget

from lagline.desk.lanes.wave_data import ColumnSource
from lagline.desk.strip.meter import filled
from lagline.desk.theme import theme_of
from lagline.session.values import Lane, Version
from lagline.units import SILENCE_DB, gain_to_db

BAR_WIDTH = 4
LOOKS_BACK_S = 0.04  # a little more than from one showing to the next
FALL_DB = 1.0  # a showing
HOT_DB = -1.5


class LaneMeter(QWidget):
    """Peaks as they go into the blend, before equal loudness and the monitor level."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._level_db = SILENCE_DB
        self.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
        self.setAccessibleName("Level of the lane")

    @property
    def level_db(self) -> float:
        """As shown, dB below full scale."""
        return self._level_db

    def show_level(self, level_db: float | None) -> None:
        """A new peak, from which it falls slowly; None: nothing plays."""
        shown = SILENCE_DB if level_db is None else max(level_db, self._level_db - FALL_DB)
        if shown != self._level_db:
            changes = filled(shown) != filled(self._level_db)
            self._level_db = shown
            if changes:
                self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        theme = theme_of(self.palette())
        painter = QPainter(self)
        painter.fillRect(self.rect(), QColor(theme.line))
        height = filled(self._level_db) * self.height()
        if height:
            colour = theme.danger if self._level_db > HOT_DB else theme.ok
            painter.fillRect(QRectF(0, self.height() - height, self.width(), height), QColor(colour))


def lane_level_db(
    overview: ColumnSource, lane: Lane, version: Version, position: float, rate_hz: int
) -> float:
    """Peak of a lane just before a session sample, as it goes into the blend, dB re full scale."""
    at = position - lane.place_samples - version.move(lane.id).shift_samples
    lows, highs = overview.columns(at - LOOKS_BACK_S * rate_hz, at, 1)
    peak = float(max(np.max(highs, initial=0.0), -np.min(lows, initial=0.0)))
    return gain_to_db(peak) + version.balance(lane.id).gain_db if np.isfinite(peak) else SILENCE_DB
