"""A dialog with work of its own: while that goes on, Esc and the frame's button stop it and do not close."""

from __future__ import annotations

from PySide6.QtCore import Signal
from PySide6.QtGui import QCloseEvent
from PySide6.QtWidgets import QDialog, QWidget


class StoppableDialog(QDialog):
    """`_is_busy` is the subclass's to set.

    Signals
    -------
    cancel_requested() : stop what is under way.
    """

    cancel_requested = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._is_busy = False

    def reject(self) -> None:
        if self._is_busy:
            self.cancel_requested.emit()
        else:
            super().reject()

    def closeEvent(self, event: QCloseEvent) -> None:
        if self._is_busy:
            self.cancel_requested.emit()
            event.ignore()
        else:
            super().closeEvent(event)
