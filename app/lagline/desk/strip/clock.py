"""The position, large: time, and samples below it."""

from __future__ import annotations

from PySide6.QtWidgets import QLabel, QVBoxLayout, QWidget

from lagline.amounts import MINUS
from lagline.desk.amounts import time_text
from lagline.desk.theme import number_font


class Clock(QWidget):
    """Where the playhead is, in time and in samples."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._time, self._samples = QLabel(), QLabel()
        font = number_font(self.font())
        font.setPointSizeF(font.pointSizeF() * 1.7)
        self._time.setFont(font)
        small = number_font(self.font())
        small.setPointSizeF(small.pointSizeF() * 0.9)
        self._samples.setFont(small)
        self._samples.setProperty("muted", True)
        self._time.setAccessibleName("Position, time")
        self._samples.setAccessibleName("Position, samples")
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(0)
        column.addWidget(self._time)
        column.addWidget(self._samples)
        self.setMinimumWidth(self._time.fontMetrics().horizontalAdvance("00:00.000") + 6)
        self.show_position(0.0, 48_000)

    def show_position(self, sample: float, rate_hz: int) -> None:
        self._time.setText(time_text(sample, rate_hz))
        grouped = f"{abs(round(sample)):,}".replace(",", "\N{NARROW NO-BREAK SPACE}")
        self._samples.setText(f"{MINUS if round(sample) < 0 else ''}{grouped} samples")

    def text(self) -> str:
        return f"{self._time.text()} {self._samples.text()}"
