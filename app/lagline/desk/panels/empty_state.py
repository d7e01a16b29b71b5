"""What a panel says while it has nothing to show: what would be here, and what to do."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QVBoxLayout, QWidget

from lagline.desk.panels.themed import plain_label


class EmptyState(QWidget):
    """A title and a sentence or two, centred, readable by assistive technology as one text."""

    def __init__(self, title: str, text: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._title = plain_label(title)
        font = self._title.font()
        font.setBold(True)
        self._title.setFont(font)
        self._text = plain_label(text)
        column = QVBoxLayout(self)
        column.addStretch(1)
        for label in (self._title, self._text):
            label.setAlignment(Qt.AlignmentFlag.AlignHCenter | Qt.AlignmentFlag.AlignVCenter)
            column.addWidget(label)
        column.addStretch(1)
        self.say(title, text)

    def say(self, title: str, text: str) -> None:
        """What is missing, and what to do about it."""
        self._title.setText(title)
        self._text.setText(text)
        self.setAccessibleName(title)
        self.setAccessibleDescription(text)

    def text(self) -> str:
        """All that is written here, as a screen reader reads it."""
        return f"{self._title.text()} {self._text.text()}"
