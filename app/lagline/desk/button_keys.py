"""Space plays wherever the focus is, so buttons and boxes to choose from are worked with Enter."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QObject, Qt
from PySide6.QtGui import QAction, QKeyEvent
from PySide6.QtWidgets import QAbstractButton, QApplication, QComboBox, QMainWindow, QWidget


class ButtonKeys(QObject):
    """Lets Enter press the button of the window that has the focus, and open the box that has it.

    Clicking a button gives it the focus, and one that is switched off hands it to its neighbour: were Space
    to press that one, whoever meant to listen would have moved a lane. Dialogs keep the keys they have.
    """

    def __init__(self, window: QMainWindow, play: QAction) -> None:
        super().__init__(window)
        self._window, self._play = window, play
        application = QApplication.instance()
        assert isinstance(application, QApplication)
        application.focusChanged.connect(self._follow)

    def _follow(self, old: QWidget | None, now: QWidget | None) -> None:
        if old is not None:
            old.removeEventFilter(self)
        if isinstance(now, (QAbstractButton, QComboBox)) and now.window() is self._window:
            now.installEventFilter(self)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if not isinstance(event, QKeyEvent):
            return super().eventFilter(watched, event)
        is_space = isinstance(watched, QAbstractButton) and _is_plain(event, Qt.Key.Key_Space)
        if is_space and self._play.isEnabled():
            # Where the window's own key was not asked first: the button must not take it.
            if event.type() == QEvent.Type.KeyPress and not event.isAutoRepeat():
                self._play.trigger()
            return event.type() in (QEvent.Type.KeyPress, QEvent.Type.KeyRelease)
        if event.type() != QEvent.Type.KeyPress or not _is_plain(event, Qt.Key.Key_Return, Qt.Key.Key_Enter):
            return super().eventFilter(watched, event)
        if not event.isAutoRepeat():
            if isinstance(watched, QAbstractButton):
                watched.click()
            elif isinstance(watched, QComboBox):
                watched.showPopup()
        return True


def _is_plain(event: QKeyEvent, *keys: Qt.Key) -> bool:
    plain = not event.modifiers() & ~Qt.KeyboardModifier.KeypadModifier
    return plain and event.key() in keys
