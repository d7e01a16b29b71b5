"""Markers on the desk, by mouse and keys."""

from __future__ import annotations

from PySide6.QtCore import QPoint
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot
from tests.desk.test_context_menus import menu_at
from tests.support.desk_hands import LEFT, PLAIN, press, session_of
from tests.support.fake_desk import FakePlayer, FakeQuestions

from lagline.desk.window import DeskWindow


def names(desk: DeskWindow) -> list[str]:
    return [marker.name for marker in session_of(desk).markers]


def flag(desk: DeskWindow, number: int) -> QPoint:
    at = desk.parts.times.view.x_of(session_of(desk).markers[number].at_samples)
    return QPoint(round(at) + 4, 33)


def test_a_marker_is_set_and_gone_to_by_keys(desk: DeskWindow, player: FakePlayer) -> None:
    desk.parts.playing.seek(30_000)
    press(desk, "Q")
    desk.parts.times.choose(60_000, 72_000)
    press(desk, "Q")
    assert [(one.at_samples, one.stop_samples) for one in session_of(desk).markers] == [
        (30_000, None), (60_000, 72_000),
    ]  # fmt: skip
    desk.parts.playing.seek(0)
    press(desk, ".")
    assert player.now.position == 30_000
    press(desk, ".")
    assert player.now.position == 60_000
    press(desk, ".")
    assert "no marker after the playhead" in desk.parts.messages.text
    press(desk, ",")
    assert player.now.position == 30_000
    press(desk, "Ctrl+Z")
    press(desk, "Ctrl+Z")
    assert names(desk) == []


def test_a_flag_is_renamed_and_removed(desk: DeskWindow, questions: FakeQuestions, qtbot: QtBot) -> None:
    desk.parts.playing.seek(30_000)
    press(desk, "Q")
    desk.parts.playing.seek(0)
    questions.text_answer = "Verse"
    QTest.mouseDClick(desk.parts.lanes.ruler, LEFT, PLAIN, flag(desk, 0))
    assert names(desk) == ["Verse"]
    menu = menu_at(desk.parts.lanes.ruler, flag(desk, 0), qtbot)
    next(action for action in menu.actions() if action.text() == "Remove marker Verse").trigger()
    menu.close()
    assert names(desk) == []
    menu = menu_at(desk.parts.lanes.ruler, QPoint(10, 10), qtbot)
    assert not any("Remove marker" in action.text() for action in menu.actions())
    menu.close()
