"""The list of versions, with keys of its own."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QListWidget


class VersionList(QListWidget):
    """The list, with keys of its own: Enter hears, F2 renames, Delete deletes."""

    hear_asked = Signal()
    rename_asked = Signal()
    delete_asked = Signal()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.hear_asked.emit()
        elif event.key() == Qt.Key.Key_F2:
            self.rename_asked.emit()
        elif event.key() == Qt.Key.Key_Delete:
            self.delete_asked.emit()
        else:
            super().keyPressEvent(event)
