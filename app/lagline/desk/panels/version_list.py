"""The list of versions: as high as its rows, with keys of its own."""

from __future__ import annotations

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QKeyEvent, QResizeEvent
from PySide6.QtWidgets import QListWidget, QSizePolicy

LEAST_PX, MOST_PX = 72, 220


class VersionList(QListWidget):
    """Enter hears, F2 renames, Delete deletes. More versions than there is room for are scrolled to."""

    hear_asked = Signal()
    rename_asked = Signal()
    delete_asked = Signal()

    def __init__(self) -> None:
        super().__init__()
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)
        for changed in (self.model().rowsInserted, self.model().rowsRemoved, self.model().dataChanged):
            changed.connect(self.updateGeometry)

    def sizeHint(self) -> QSize:
        rows = sum(self.sizeHintForRow(row) for row in range(self.count()))
        high = min(max(rows + 2 * self.frameWidth() + 2, LEAST_PX), MOST_PX)
        return QSize(super().sizeHint().width(), high)

    def minimumSizeHint(self) -> QSize:
        return QSize(super().minimumSizeHint().width(), self.sizeHint().height())

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        if event.size().width() != event.oldSize().width():
            self.updateGeometry()  # long lines wrap: a narrow row is higher

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self.hear_asked.emit()
        elif event.key() == Qt.Key.Key_F2:
            self.rename_asked.emit()
        elif event.key() == Qt.Key.Key_Delete:
            self.delete_asked.emit()
        else:
            super().keyPressEvent(event)
