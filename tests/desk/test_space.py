"""Space plays, and presses no button of the window, even where the window's own key was not asked first."""

from __future__ import annotations

from PySide6.QtCore import QEvent, Qt
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QApplication, QPushButton
from pytestqt.qtbot import QtBot
from tests.desk.conftest import focus
from tests.support.fake_desk import FakePlayer

from lagline.desk.window import DeskWindow


def space(button: QPushButton) -> None:
    """Straight to the button: no shortcut comes in between."""
    for kind in (QEvent.Type.KeyPress, QEvent.Type.KeyRelease):
        plain = Qt.KeyboardModifier.NoModifier
        QApplication.sendEvent(button, QKeyEvent(kind, Qt.Key.Key_Space, plain, " "))


def test_with_a_take_it_plays(desk: DeskWindow, player: FakePlayer, qtbot: QtBot) -> None:
    button = desk.parts.side.tabs.findings._measure
    pressed: list[bool] = []
    button.clicked.connect(pressed.append)
    focus(button, qtbot)
    space(button)
    assert player.now.playing and not pressed


def test_without_one_it_presses_the_button(window: DeskWindow, player: FakePlayer, qtbot: QtBot) -> None:
    button = window.parts.empty.open
    pressed: list[bool] = []
    button.clicked.connect(lambda: pressed.append(True))
    focus(button, qtbot)
    space(button)
    assert pressed and not player.now.playing
