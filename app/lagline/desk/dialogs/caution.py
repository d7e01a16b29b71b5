"""The caution about headphones: at the first start, and whenever it is asked for.

The times are the recommended exposure limits of NIOSH publication 98-126 (85 dBA for 8 hours, half the time
for every 3 dB more) and, for leisure, of WHO-ITU H.870 (adults 80 dBA for 40 hours a week).
"""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QDialog, QDialogButtonBox, QGridLayout, QLabel, QVBoxLayout, QWidget

from lagline.desk.theme import MARGIN, PAD

CAUTION = (
    "Start low. This tool cannot know the sound level at your ears. Long or loud listening can damage "
    "hearing. Follow local rules and your workplace’s limits, and ask a qualified person when in doubt."
)
MORE = (
    "Lagline starts every run with the monitor turned down and holds its output below full scale, but what "
    "reaches your ears depends on your amplifier and headphones. Ringing or dullness after listening means "
    "it was too loud or too long."
)
SOURCES = (
    "Work: NIOSH publication 98-126, recommended exposure limit. Leisure: WHO-ITU H.870, adults. Levels are "
    "sound pressure at the ear, measured with a meter: they cannot be read from any figure in this window."
)


def exposure_hours(level_dba: float) -> float:
    """Recommended longest time in a working day: 8 h at 85 dBA, half for every 3 dB (NIOSH 98-126)."""
    return 8.0 / 2.0 ** ((level_dba - 85.0) / 3.0)


def hours_text(hours: float) -> str:
    return f"{hours:g} h" if hours >= 1 else f"{60 * hours:g} min"


class Caution(QDialog):
    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Caution with headphones")
        column = QVBoxLayout(self)
        column.setContentsMargins(2 * MARGIN, 2 * MARGIN, 2 * MARGIN, MARGIN)
        column.setSpacing(MARGIN)
        heading = QLabel("Mind your ears")
        font = heading.font()
        font.setPointSizeF(font.pointSizeF() * 1.4)
        font.setBold(True)
        heading.setFont(font)
        column.addWidget(heading)
        for text, muted in ((CAUTION, False), (MORE, True)):
            column.addWidget(_text(text, muted=muted))
        column.addWidget(self._table())
        column.addWidget(_text(SOURCES, muted=True))
        buttons = QDialogButtonBox()
        button = buttons.addButton("I start low", QDialogButtonBox.ButtonRole.AcceptRole)
        button.setDefault(True)
        buttons.accepted.connect(self.accept)
        column.addStretch(1)
        column.addWidget(buttons)
        self.setMinimumWidth(480)

    def _table(self) -> QWidget:
        table = QWidget()
        grid = QGridLayout(table)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setHorizontalSpacing(2 * PAD)
        levels = (85, 88, 91, 94, 97, 100)
        grid.addWidget(_text("At the ear", muted=True), 0, 0)
        grid.addWidget(_text("A working day", muted=True), 1, 0)
        for number, level in enumerate(levels, 1):
            for row, text in ((0, f"{level} dBA"), (1, hours_text(exposure_hours(level)))):
                label = QLabel(text)
                label.setAlignment(Qt.AlignmentFlag.AlignRight)
                grid.addWidget(label, row, number)
        grid.addWidget(_text("Leisure, adults: 80 dBA for 40 h a week", muted=True), 2, 0, 1, len(levels) + 1)
        return table


def _text(text: str, *, muted: bool) -> QLabel:
    label = QLabel(text)
    label.setWordWrap(True)
    label.setProperty("muted", muted)
    return label
