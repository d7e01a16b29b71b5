"""Free text that is told once the hand rests or the focus leaves, not at every letter."""

from __future__ import annotations

from PySide6.QtCore import QSignalBlocker, QSize, QTimer, Signal
from PySide6.QtGui import QFocusEvent
from PySide6.QtWidgets import QPlainTextEdit, QWidget

RESTS_MS = 1500


class TextBox(QPlainTextEdit):
    """A few lines of plain text. Tab leaves it.

    Signals: text_settled(str).
    """

    text_settled = Signal(str)

    def __init__(self, name: str, placeholder: str, parent: QWidget | None = None, *, lines: int = 3) -> None:
        super().__init__(parent)
        self.setAccessibleName(name)
        self.setPlaceholderText(placeholder)
        self.setTabChangesFocus(True)
        self._lines = lines
        self._told = ""
        self._rest = QTimer(self)
        self._rest.setSingleShot(True)
        self._rest.setInterval(RESTS_MS)
        self._rest.timeout.connect(self.settle)
        self.textChanged.connect(self._rest.start)

    def show_text(self, text: str) -> None:
        """Show what is stored; text that is being typed is not overwritten by what it came from."""
        if text == self._told and self._rest.isActive():
            return
        self._rest.stop()
        self._told = text
        if text != self.toPlainText():
            with QSignalBlocker(self):
                self.setPlainText(text)

    def settle(self) -> None:
        """Tell now what has not been told."""
        self._rest.stop()
        text = self.toPlainText()
        if text != self._told:
            self._told = text
            self.text_settled.emit(text)

    def focusOutEvent(self, event: QFocusEvent) -> None:
        super().focusOutEvent(event)
        self.settle()

    def sizeHint(self) -> QSize:
        return QSize(200, self.fontMetrics().lineSpacing() * self._lines + 14)

    def minimumSizeHint(self) -> QSize:
        return QSize(80, self.fontMetrics().lineSpacing() * min(self._lines, 2) + 14)
