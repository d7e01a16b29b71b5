"""Trust as a word and a bar: the word carries the meaning, the bar the degree, colour only underlines."""

from __future__ import annotations

from PySide6.QtCore import QRectF, QSize
from PySide6.QtGui import QColor, QPainter, QPaintEvent
from PySide6.QtWidgets import QSizePolicy, QWidget

from lagline.desk.theme import theme_of
from lagline.session.findings import TrustWord

SEGMENTS = 5


class TrustBar(QWidget):
    """Five boxes, filled from the left in proportion to a trust of 0..1, beside its word."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._trust = 0.0
        self._word: TrustWord = "none"
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Fixed)
        self.show_trust(0.0, "none")

    def show_trust(self, trust: float, word: TrustWord) -> None:
        self._trust, self._word = min(max(trust, 0.0), 1.0), word
        self.setAccessibleName(f"Trust: {word}")
        self.setToolTip(f"Trust {100 * self._trust:.0f} of 100. {MEANINGS[word]}")
        self.update()

    def sizeHint(self) -> QSize:
        metrics = self.fontMetrics()
        widest = max(metrics.horizontalAdvance(word) for word in MEANINGS)
        return QSize(SEGMENTS * 11 + 8 + widest + 4, max(metrics.height() + 2, 18))

    def paintEvent(self, event: QPaintEvent) -> None:
        theme = theme_of(self.palette())
        fill = QColor({"strong": theme.ok, "usable": theme.accent}.get(self._word, theme.warning))
        painter = QPainter(self)
        top = (self.height() - 10) / 2
        for segment in range(SEGMENTS):
            box = QRectF(11 * segment + 0.5, top + 0.5, 8, 9)
            full = min(max(self._trust * SEGMENTS - segment, 0.0), 1.0)
            if full > 0:
                painter.fillRect(QRectF(box.left(), box.top(), box.width() * full, box.height()), fill)
            painter.setPen(QColor(theme.text_muted))
            painter.drawRect(box)
        painter.setPen(QColor(theme.text))
        left = 11 * SEGMENTS + 6
        painter.drawText(QRectF(left, 0, self.width() - left, self.height()), 0x0080, self._word)


MEANINGS: dict[TrustWord, str] = {
    "strong": "Independent kinds of evidence agree.",
    "usable": "Most of the evidence agrees: look at it before accepting.",
    "weak": "Little agrees: treat it as a hint and listen.",
    "none": "Nothing in common was found, so nothing is proposed.",
}
