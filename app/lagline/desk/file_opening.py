"""Files the system asks a running desk to open: on macOS a double click comes as an event, not as words."""

from __future__ import annotations

import sys
from collections.abc import Callable, Sequence
from pathlib import Path

from PySide6.QtCore import QEvent, QObject, Signal
from PySide6.QtGui import QFileOpenEvent
from PySide6.QtWidgets import QApplication


class FileOpening(QObject):
    """Tells of files that the application is asked to open.

    Signals
    -------
    asked(list[Path]) : open these, as if they had been dropped onto the window.
    """

    asked = Signal(list)

    def __init__(self, application: QApplication) -> None:
        """Looks at every event of the application, which takes its time: see `follow_system`."""
        super().__init__(application)
        application.installEventFilter(self)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if event.type() == QEvent.Type.FileOpen and isinstance(event, QFileOpenEvent):
            if event.file():  # empty where a web address was meant: nothing of ours
                self.asked.emit([Path(event.file())])
            return True
        return super().eventFilter(watched, event)


def follow_system(application: QApplication, open_paths: Callable[[Sequence[Path]], None]) -> None:
    """Open what the system asks for, where it asks by events. Elsewhere files come as words only."""
    if sys.platform == "darwin":
        FileOpening(application).asked.connect(open_paths)
