"""Lanes moved by the mouse."""

import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QFontMetrics
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot
from tests.support.desk_hands import LEFT, PLAIN, drag, lane_id, move_held, press, shift_of
from tests.support.fake_desk import FakePlayer

from lagline.desk.window import DeskWindow


def drag_near(desk: DeskWindow, by: int, modifier: Qt.KeyboardModifier = PLAIN) -> None:
    wave = desk.parts.lanes.stack.row(lane_id(desk, "near")).wave
    drag(wave, QPoint(200, wave.height() // 2), by, modifier)


def test_a_drag_shifts_the_lane_by_what_the_hand_moved(desk: DeskWindow) -> None:
    desk.parts.times.show_range(0, 1_000)
    per_pixel = desk.parts.times.view.per_pixel
    drag_near(desk, 60)
    assert shift_of(desk, "near") == pytest.approx(60 * per_pixel, abs=1)
    assert shift_of(desk, "near") == round(shift_of(desk, "near"))
    assert shift_of(desk, "room") == 0


def test_a_drag_is_one_step_back(desk: DeskWindow) -> None:
    drag_near(desk, 60)
    assert desk.parts.store.undo_name == "Shift near"
    press(desk, "Ctrl+Z")
    assert shift_of(desk, "near") == 0
    assert desk.parts.store.undo_name is None


def test_a_drag_shows_samples_milliseconds_and_distance(desk: DeskWindow) -> None:
    wave = desk.parts.lanes.stack.row(lane_id(desk, "near")).wave
    QTest.mousePress(wave, LEFT, PLAIN, QPoint(100, 20))
    move_held(wave, QPoint(160, 20))
    move_held(wave, QPoint(170, 20))
    assert all(unit in wave._read_out for unit in ("samples", " ms", " m"))
    QTest.mouseRelease(wave, LEFT, PLAIN, QPoint(170, 20))
    assert not wave._read_out


def test_a_drag_goes_at_a_tenth_with_shift(desk: DeskWindow) -> None:
    desk.parts.times.show_range(0, 1_000)
    per_pixel = desk.parts.times.view.per_pixel
    drag_near(desk, 100, Qt.KeyboardModifier.ShiftModifier)
    assert shift_of(desk, "near") == pytest.approx(10 * per_pixel, abs=0.2)


def test_a_click_puts_the_playhead(desk: DeskWindow, player: FakePlayer, qtbot: QtBot) -> None:
    wave = desk.parts.lanes.stack.row(lane_id(desk, "side")).wave
    QTest.mouseClick(wave, LEFT, PLAIN, QPoint(250, 20))
    assert player.now.position == round(desk.parts.times.view.sample_at(250))
    assert shift_of(desk, "side") == 0
    assert desk.parts.lanes.stack.selection.current == lane_id(desk, "side")


def test_the_headers_figures_follow_a_drag_and_are_right_at_its_end(desk: DeskWindow, qtbot: QtBot) -> None:
    desk.parts.times.show_range(0, 1_000)
    row = desk.parts.lanes.stack.row(lane_id(desk, "near"))
    box = row.header._shift

    def figure() -> float:
        return float(box.text().split()[0].replace("+", "").replace("\N{MINUS SIGN}", "-"))

    QTest.mousePress(row.wave, LEFT, PLAIN, QPoint(100, 20))
    move_held(row.wave, QPoint(120, 20))
    for x in range(121, 160):
        move_held(row.wave, QPoint(x, 20))
    qtbot.waitUntil(lambda: figure() == pytest.approx(shift_of(desk, "near"), abs=0.01))
    for x in range(160, 170):
        move_held(row.wave, QPoint(x, 20))
    QTest.mouseRelease(row.wave, LEFT, PLAIN, QPoint(170, 20))
    assert figure() == pytest.approx(shift_of(desk, "near"), abs=0.01)
    assert figure() > 10


def test_the_read_out_fits_its_box_in_a_larger_font_too(desk: DeskWindow) -> None:
    wave = desk.parts.lanes.stack.row(lane_id(desk, "near")).wave
    wave.show_read_out("+111.1 samples")
    wave.grab()
    small = wave._box_size[0]
    font = wave.font()
    font.setPointSizeF(2 * font.pointSizeF())
    wave.setFont(font)
    wave.grab()
    bold = wave.font()
    bold.setBold(True)
    assert wave._box_size[0] > QFontMetrics(bold).horizontalAdvance("+111.1 samples") > small
