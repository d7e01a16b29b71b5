"""Pointing, choosing, a message and work under way leave every other widget of the desk where it is."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from PySide6.QtCore import QPoint, QRect, Qt
from PySide6.QtWidgets import QLabel, QPushButton, QWidget
from pytestqt.qtbot import QtBot

from lagline.desk.window import DeskWindow

LONG = (
    "The recording /home/engineer/sessions/song three/take 04/room left.wav was changed after the session "
    "was saved: it is 3 samples longer, and its sound is another one. "
) * 3 + "Put it back, then open the session again."


def _places(desk: DeskWindow) -> dict[int, tuple[str, QRect]]:
    """Where each widget in sight is; but for messages, and what is under way with its Stop."""
    moving = [desk.parts.messages, *desk.parts.foot.findChildren(QWidget)]
    return {
        id(widget): (f"{type(widget).__name__} {widget.accessibleName()}", _place(widget, desk))
        for widget in desk.findChildren(QWidget)
        if widget.isVisible() and not any(one is widget or one.isAncestorOf(widget) for one in moving)
    }


def _place(widget: QWidget, desk: DeskWindow) -> QRect:
    return QRect(widget.mapTo(desk, QPoint()), widget.size())


def _point(desk: DeskWindow, qtbot: QtBot) -> None:
    for lane_id in desk.parts.lanes.stack.order:
        row = desk.parts.lanes.stack.row(lane_id)
        for widget in (row, *row.findChildren(QWidget)):
            if widget.isVisible():
                qtbot.mouseMove(widget, widget.rect().center())
                qtbot.wait(1)


def _choose(desk: DeskWindow, qtbot: QtBot) -> None:
    stack = desk.parts.lanes.stack
    for _ in stack.order:
        qtbot.keyClick(stack, Qt.Key.Key_Down)
        qtbot.wait(20)


def _tell(desk: DeskWindow, _qtbot: QtBot) -> None:
    desk.parts.messages.show_problem(LONG)


def _work(desk: DeskWindow, qtbot: QtBot) -> None:
    desk.parts.foot.show_task("Measuring", 0.5)
    qtbot.wait(600)


@pytest.mark.parametrize("act", [_point, _choose, _tell, _work])
@pytest.mark.parametrize(("width", "height"), [(1280, 720), (1920, 1080)])
def test_everything_stays_where_it_is(
    desk: DeskWindow, qtbot: QtBot, act: Callable[[DeskWindow, QtBot], None], width: int, height: int
) -> None:
    desk.resize(width, height)
    qtbot.wait(200)
    before = _places(desk)
    act(desk, qtbot)
    qtbot.wait(50)
    after = _places(desk)
    moved = [
        f"{before[key][0]}: {before[key][1]} {after.get(key)}"
        for key in before
        if after.get(key) != before[key]
    ]
    assert not moved


def test_a_message_covers_nothing_until_it_is_asked_for_more(desk: DeskWindow, qtbot: QtBot) -> None:
    messages, foot = desk.parts.messages, desk.parts.foot
    messages.show_problem(LONG)
    qtbot.wait(50)
    assert _place(foot, desk).contains(_place(messages, desk))
    more = next(button for button in _buttons(messages) if button.text() == "More")
    more.click()
    shown = " ".join(label.text() for label in messages.findChildren(QLabel))
    assert LONG in shown, "the whole message can be read"
    assert _place(messages, desk).top() < _place(foot, desk).top()


def test_a_message_leaves_what_is_under_way_in_sight(desk: DeskWindow, qtbot: QtBot) -> None:
    foot = desk.parts.foot
    foot.show_task("Measuring", 0.5)
    desk.parts.messages.show_problem(LONG)
    qtbot.waitUntil(lambda: any(b.text() == "Stop" and b.isVisible() for b in _buttons(foot)))
    stop = next(button for button in _buttons(foot) if button.text() == "Stop")
    qtbot.wait(50)
    assert not _place(desk.parts.messages, desk).intersects(_place(stop, desk))


def _buttons(widget: QWidget) -> list[QPushButton]:
    return widget.findChildren(QPushButton)
