"""A person's hands on the desk: mouse and keys, and nothing else."""

from __future__ import annotations

import time
from collections.abc import Callable

from PySide6.QtCore import QEvent, QPoint, QPointF, Qt
from PySide6.QtGui import QAction, QKeySequence, QMouseEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QMenu, QWidget

from lagline.desk.window import DeskWindow
from lagline.session.values import Session

PLAIN = Qt.KeyboardModifier.NoModifier
LEFT = Qt.MouseButton.LeftButton


def wait_for(true: Callable[[], bool], what: str, seconds: float = 90.0) -> None:
    end = time.monotonic() + seconds
    while not true():
        assert time.monotonic() < end, f"waited {seconds:g} s for {what}"
        QTest.qWait(20)


def session_of(desk: DeskWindow) -> Session:
    session = desk.parts.store.session
    assert session is not None
    return session


def shift_of(desk: DeskWindow, name: str) -> float:
    session = session_of(desk)
    return session.current_version.move(session.lane_named(name).id).shift_samples


def lane_id(desk: DeskWindow, name: str) -> str:
    return session_of(desk).lane_named(name).id


def press(desk: DeskWindow, keys: str) -> None:
    """A key with its modifiers, to whatever has the focus."""
    combination = QKeySequence(keys)[0]
    QTest.keyClick(QApplication.focusWidget() or desk, combination.key(), combination.keyboardModifiers())


def type_text(text: str) -> None:
    focus = QApplication.focusWidget()
    assert focus is not None
    QTest.keyClicks(focus, text)


def click(widget: QWidget) -> None:
    assert widget.isVisible() and widget.isEnabled(), widget.accessibleName()
    QTest.mouseClick(widget, LEFT, PLAIN, widget.rect().center())


def move_over(widget: QWidget, at: QPoint) -> None:
    """The mouse moves with no button held."""
    _move(widget, at, Qt.MouseButton.NoButton, PLAIN)


def move_held(widget: QWidget, at: QPoint, modifiers: Qt.KeyboardModifier = PLAIN) -> None:
    """The mouse moves with its left button held."""
    _move(widget, at, LEFT, modifiers)


def _move(widget: QWidget, at: QPoint, held: Qt.MouseButton, modifiers: Qt.KeyboardModifier) -> None:
    where, none = QPointF(widget.mapToGlobal(at)), Qt.MouseButton.NoButton
    QApplication.sendEvent(
        widget, QMouseEvent(QEvent.Type.MouseMove, QPointF(at), where, none, held, modifiers)
    )


def drag(widget: QWidget, start: QPoint, by: int, modifiers: Qt.KeyboardModifier = PLAIN) -> None:
    """Press, move sideways in steps, release."""
    QTest.mousePress(widget, LEFT, modifiers, start)
    steps = 10
    for step in range(1, steps + 1):
        move_held(widget, start + QPoint(round(by * step / steps), 0), modifiers)
    QTest.mouseRelease(widget, LEFT, modifiers, start + QPoint(by, 0))


def choose_in_menu(desk: DeskWindow, menu: str, command_id: str) -> None:
    """Open a menu and click an entry."""
    bar = desk.menuBar()
    entry = next(action for action in bar.actions() if action.text().replace("&", "") == menu)
    QTest.mouseClick(bar, LEFT, PLAIN, bar.actionGeometry(entry).center())
    opened = QApplication.activePopupWidget()
    assert isinstance(opened, QMenu)
    wanted = next(action for action in opened.actions() if action.objectName() == command_id)
    _click_action(opened, wanted)


def _click_action(menu: QMenu, action: QAction) -> None:
    at = menu.actionGeometry(action).center()
    QTest.mouseMove(menu, at)
    QTest.mouseClick(menu, LEFT, PLAIN, at)
