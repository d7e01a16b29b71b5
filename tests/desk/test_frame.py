"""The frame of the desk is the engineer's: headers as wide, the sum as tall as wanted, and kept."""

from __future__ import annotations

import pytest
from PySide6.QtCore import QPoint, QSettings, Qt
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot
from tests.desk.conftest import wait_until_drawn
from tests.support.desk_hands import LEFT, PLAIN, lane_id, move_held, press
from tests.support.fake_desk import FakePlayer, FakeQuestions

from lagline.desk.lanes.lane_header import HEADER_WIDTH
from lagline.desk.window import DeskWindow
from lagline.session.edits import with_lane_name
from lagline.session.values import Session


def widths(desk: DeskWindow) -> set[int]:
    lanes = desk.parts.lanes
    rows = [lanes.stack.row(one).header.width() for one in lanes.stack.order]
    return {*rows, lanes.sum.header.width(), lanes.plate.width(), lanes.ruler.x()}


def test_headers_are_dragged_wider_together(desk: DeskWindow, qtbot: QtBot) -> None:
    assert widths(desk) == {HEADER_WIDTH}
    edge = desk.parts.lanes._edge
    QTest.mousePress(edge, LEFT, PLAIN, QPoint(3, 20))
    move_held(edge, QPoint(103, 20))  # in one step: the edge goes along
    QTest.mouseRelease(edge, LEFT, PLAIN, QPoint(3, 20))
    qtbot.wait(50)
    assert widths(desk) == {desk.parts.lanes.header_width}
    assert desk.parts.lanes.header_width == pytest.approx(HEADER_WIDTH + 100, abs=6)
    wave = desk.parts.lanes.stack.row(lane_id(desk, "near")).wave
    assert desk.parts.times.width == wave.width() == desk.parts.lanes.sum.wave.width()
    QTest.mouseDClick(edge, LEFT, PLAIN, QPoint(3, 20))
    qtbot.wait(50)
    assert widths(desk) == {HEADER_WIDTH}


def test_a_long_name_keeps_both_its_ends_and_gains_by_width(desk: DeskWindow, qtbot: QtBot) -> None:
    near = lane_id(desk, "near")
    name = "overhead of the large kit in the hall, left"
    desk.parts.edits.apply("Rename", lambda old: with_lane_name(old, near, name))
    label = desk.parts.lanes.stack.row(near).header._name
    qtbot.wait(30)
    assert label.text().startswith("over") and label.text().endswith("left") and "…" in label.text()
    shown = len(label.text())
    desk.parts.lanes.set_header_width(480)
    qtbot.wait(50)
    assert len(label.text()) > shown


def test_the_sum_is_as_tall_as_it_is_dragged(desk: DeskWindow, qtbot: QtBot) -> None:
    before = desk.parts.lanes.sum.height()
    handle = desk.parts.lanes.heights.handle(1)
    QTest.mousePress(handle, LEFT, PLAIN, QPoint(50, 1))
    QTest.mouseMove(handle, QPoint(50, -119))
    QTest.mouseRelease(handle, LEFT, PLAIN, QPoint(50, -119))
    qtbot.wait(50)
    assert desk.parts.lanes.sum.height() == pytest.approx(before + 120, abs=4)


def test_the_frame_is_as_it_was_left(
    desk: DeskWindow, take: Session, settings: QSettings, questions: FakeQuestions, qtbot: QtBot
) -> None:
    desk.parts.lanes.set_header_width(400)
    desk.parts.lanes.heights.setSizes([300, 200])
    qtbot.wait(50)
    tall = desk.parts.lanes.sum.height()
    desk._keep()
    again = DeskWindow(FakePlayer(), settings, questions)
    again.parts.settings.caution_read = True
    again.show()
    again.show_take(take)
    wait_until_drawn(again, qtbot)
    assert again.parts.lanes.header_width == 400
    assert again.parts.lanes.sum.height() == pytest.approx(tall, abs=4)
    again.close()


def test_a_folded_lane_still_tells_its_shift(desk: DeskWindow, qtbot: QtBot) -> None:
    header = desk.parts.lanes.stack.row(lane_id(desk, "near")).header
    assert not header._folded_shift.isVisible()
    press(desk, "Right")
    press(desk, "C")
    qtbot.wait(50)
    assert header._folded_shift.isVisible() and "1.00" in header._folded_shift.text()
    assert not header._figures.isVisible() and header.cursor().shape() != Qt.CursorShape.SplitHCursor
