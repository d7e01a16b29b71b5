"""The caution about headphones: at the first start, and whenever it is asked for."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QDialog, QDialogButtonBox, QGridLayout, QLabel, QVBoxLayout, QWidget

from lagline.desk.theme import MARGIN, PAD
from lagline.playback import exposure

MORE = (
    "Lagline starts every run with the monitor turned down and holds its output below full scale, but what "
    "reaches your ears depends on your amplifier and headphones."
)
SOURCES = (
    f"Work: {exposure.NIOSH_SOURCE}. Leisure: {exposure.WHO_SOURCE}. Levels are sound pressure at the ear, "
    "measured with a meter: they cannot be read from any figure in this window."
)


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
        for text, muted in ((exposure.CAUTION, False), (MORE, True)):
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
        rows = (("A working day", exposure.NIOSH_LIMITS), ("A week of leisure", exposure.WHO_LIMITS))
        for number, (name, limits) in enumerate(rows):
            grid.addWidget(_text("At the ear", muted=True), 2 * number, 0)
            grid.addWidget(_text(name, muted=True), 2 * number + 1, 0)
            for column, limit in enumerate(limits, 1):
                for row, text in ((0, f"{limit.level_dba:g} dBA"), (1, hours_text(limit.hours))):
                    label = QLabel(text)
                    label.setAlignment(Qt.AlignmentFlag.AlignRight)
                    grid.addWidget(label, 2 * number + row, column)
        return table


def _text(text: str, *, muted: bool) -> QLabel:
    label = QLabel(text)
    label.setWordWrap(True)
    label.setProperty("muted", muted)
    return label
