"""The caution about headphones: at the first start, and whenever it is asked for."""

from __future__ import annotations

from PySide6.QtCore import QSize, Qt
from PySide6.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QFrame,
    QGridLayout,
    QLabel,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

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


WIDTH, LEAST_WIDTH, LEAST_HEIGHT = 600, 480, 240


def hours_text(hours: float) -> str:
    """Hours in words: `2 h`, and below one hour `30 min`."""
    return f"{hours:g} h" if hours >= 1 else f"{60 * hours:g} min"


class Caution(QDialog):
    """What every listener should know about loud headphones, shown before the first sound."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Caution with headphones")
        self._body = QWidget()
        column = QVBoxLayout(self._body)
        column.setContentsMargins(0, 0, MARGIN, 0)
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
        # Where the screen is too small for all of it, it scrolls: no line of it is ever cut.
        scroll = QScrollArea()
        scroll.setFrameShape(QFrame.Shape.NoFrame)
        scroll.setWidgetResizable(True)
        scroll.setAccessibleName("The caution")
        scroll.setWidget(self._body)
        self._outer = QVBoxLayout(self)
        self._outer.setContentsMargins(2 * MARGIN, 2 * MARGIN, MARGIN, MARGIN)
        self._outer.setSpacing(MARGIN)
        self._outer.addWidget(scroll, 1)
        self._outer.addWidget(buttons)
        self._buttons = buttons
        button.setFocus()  # not the text that scrolls: Space presses it too
        self.setMinimumSize(LEAST_WIDTH, LEAST_HEIGHT)

    def sizeHint(self) -> QSize:
        """All of it at once."""
        margins = self._outer.contentsMargins()
        inner = WIDTH - margins.left() - margins.right()
        rest = margins.top() + self._outer.spacing() + self._buttons.sizeHint().height() + margins.bottom()
        return QSize(WIDTH, self._body.heightForWidth(inner) + rest)

    def _table(self) -> QWidget:
        table = QWidget()
        grid = QGridLayout(table)
        grid.setContentsMargins(0, 0, 0, 0)
        grid.setHorizontalSpacing(2 * PAD)
        rows = (("A working day", exposure.NIOSH_LIMITS), ("A week of leisure", exposure.WHO_LIMITS))
        for number, (name, limits) in enumerate(rows):
            for row, text in ((0, "At the ear"), (1, name)):
                heading = _text(text, muted=True)
                heading.setWordWrap(False)
                grid.addWidget(heading, 2 * number + row, 0)
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
