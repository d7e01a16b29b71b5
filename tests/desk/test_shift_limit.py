"""A lane is not put out of all reach by a slip of the fingers."""

from __future__ import annotations

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot
from tests.desk.conftest import focus
from tests.support.desk_hands import lane_id, press, shift_of

from lagline.desk.shift_limit import ROOM_S
from lagline.desk.window import DeskWindow
from lagline.session.edits import with_shift


def furthest(desk: DeskWindow) -> float:
    session = desk.parts.store.session
    assert session is not None
    first, last = session.span()
    return last - first + ROOM_S * session.rate_hz


@pytest.mark.parametrize("typed", ["999999999", "-999999999"])
def test_a_typed_shift_of_hours_is_refused(desk: DeskWindow, qtbot: QtBot, typed: str) -> None:
    focus(desk.parts.lanes.stack, qtbot)
    press(desk, "Return")
    box = QApplication.focusWidget()
    QTest.keyClicks(box, typed)
    QTest.keyClick(box, Qt.Key.Key_Return)
    assert shift_of(desk, "near") == 0
    assert desk.parts.messages.text.startswith("Near cannot be shifted that far: at most 1:02")


def test_the_furthest_is_allowed_and_a_nudge_beyond_it_is_not(desk: DeskWindow, qtbot: QtBot) -> None:
    edits, near = desk.parts.edits, lane_id(desk, "near")
    edits.shift(near, furthest(desk))
    assert desk.parts.messages.text == ""
    edits.nudge((near,), 1.0)
    assert desk.parts.messages.is_problem
    assert shift_of(desk, "near") == furthest(desk)
    edits.nudge((near,), -1.0)
    assert shift_of(desk, "near") == furthest(desk) - 1
    assert desk.parts.messages.text == ""
    edits.put_at_arrival(near, 1e9)
    assert shift_of(desk, "near") == furthest(desk) - 1


def test_one_that_is_out_there_already_may_come_back_in_steps(desk: DeskWindow) -> None:
    near = lane_id(desk, "near")
    desk.parts.store.apply("from a file", lambda old: with_shift(old, near, 1e9))
    desk.parts.edits.nudge((near,), -10.0)
    assert shift_of(desk, "near") == 1e9 - 10
    desk.parts.edits.nudge((near,), 10.0)
    assert shift_of(desk, "near") == 1e9 - 10
