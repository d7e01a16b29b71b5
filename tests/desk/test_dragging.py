"""A hand on the waves: it chooses time; by a lane's grip, or once drags shift, it moves the lane."""

import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QFontMetrics
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot
from tests.support.desk_hands import (
    LEFT,
    PLAIN,
    click,
    drag,
    lane_id,
    move_held,
    move_over,
    press,
    session_of,
    shift_of,
)
from tests.support.fake_desk import FakePlayer

from lagline.desk.lanes.lane_wave import GRIP, LaneWave
from lagline.desk.window import DeskWindow
from lagline.session.values import Session


def wave_of(desk: DeskWindow, name: str) -> LaneWave:
    return desk.parts.lanes.stack.row(lane_id(desk, name)).wave


def drag_near(desk: DeskWindow, by: int, modifier: Qt.KeyboardModifier = PLAIN) -> None:
    """By its grip."""
    drag(wave_of(desk, "near"), GRIP.center(), by, modifier)


def sweep(desk: DeskWindow, name: str, first_x: int, last_x: int, down: int = 0) -> None:
    """Press on a lane's wave, move over time and `down` pixels, let go."""
    wave = wave_of(desk, name)
    QTest.mousePress(wave, LEFT, PLAIN, QPoint(first_x, 30))
    for step in range(1, 6):
        move_held(wave, QPoint(first_x + (last_x - first_x) * step // 5, 30 + down * step // 5))
    QTest.mouseRelease(wave, LEFT, PLAIN, QPoint(last_x, 30 + down))


def test_a_drag_over_the_take_chooses_time_and_moves_no_lane(desk: DeskWindow) -> None:
    before = desk.parts.store.session
    drag(wave_of(desk, "near"), QPoint(200, 30), 105)
    view = desk.parts.times.view
    assert desk.parts.times.chosen == (round(view.sample_at(200)), round(view.sample_at(305)))
    assert desk.parts.store.session is before
    assert "Chosen: " in desk.parts.foot._hint.text() and " s " in desk.parts.foot._hint.text()


def test_a_stretch_is_chosen_either_way_and_let_go_by_a_click(desk: DeskWindow) -> None:
    view = desk.parts.times.view
    sweep(desk, "side", 300, 100)
    assert desk.parts.times.chosen == (round(view.sample_at(100)), round(view.sample_at(300)))
    QTest.mouseClick(wave_of(desk, "side"), LEFT, PLAIN, QPoint(250, 30))
    assert desk.parts.times.chosen is None and "Chosen" not in desk.parts.foot._hint.text()


def test_a_sweep_over_several_lanes_chooses_them(desk: DeskWindow) -> None:
    stack = desk.parts.lanes.stack
    height = stack.row(stack.order[0]).height()
    sweep(desk, "near", 100, 200, down=height)
    assert stack.selection.chosen == tuple(stack.order[:2])
    sweep(desk, "near", 100, 200)
    assert stack.selection.chosen == tuple(stack.order[:1])


def test_a_chosen_stretch_is_looped_shown_and_played(desk: DeskWindow, player: FakePlayer) -> None:
    sweep(desk, "near", 100, 200)
    chosen = desk.parts.times.chosen
    assert chosen is not None
    press(desk, "Shift+Z")
    first, last = desk.parts.times.seen
    assert first <= chosen[0] < chosen[1] <= last and last - first < 1.2 * (chosen[1] - chosen[0])
    press(desk, "Space")
    assert player.now.playing and player.now.position == chosen[0]
    press(desk, "L")
    assert session_of(desk).loop == chosen and desk.parts.playing.is_looping
    press(desk, "L")
    assert not desk.parts.playing.is_looping, "the stretch is the loop already: the key switches it off"


def test_another_take_begins_with_nothing_chosen(desk: DeskWindow, take: Session) -> None:
    sweep(desk, "near", 100, 200)
    desk.show_take(take)
    assert desk.parts.times.chosen is None


@pytest.mark.parametrize("by", ["key", "button"])
def test_drags_shift_lanes_once_that_is_switched_on(desk: DeskWindow, by: str) -> None:
    def switch() -> None:
        press(desk, "V") if by == "key" else click(desk.parts.lanes._drags)

    wave = wave_of(desk, "near")
    QTest.mouseMove(wave, QPoint(200, 30))
    assert wave.cursor().shape() == Qt.CursorShape.IBeamCursor
    switch()
    assert wave.cursor().shape() == Qt.CursorShape.SizeHorCursor and desk.parts.lanes._drags.isChecked()
    drag(wave, QPoint(200, 30), 60)
    assert shift_of(desk, "near") > 0 and desk.parts.times.chosen is None
    switch()
    assert wave.cursor().shape() == Qt.CursorShape.IBeamCursor and not desk.parts.lanes._drags.isChecked()


def test_the_grip_has_a_pointer_of_its_own(desk: DeskWindow) -> None:
    wave = wave_of(desk, "near")
    move_over(wave, GRIP.center())
    assert wave.cursor().shape() == Qt.CursorShape.SizeHorCursor
    move_over(wave, QPoint(200, 30))
    assert wave.cursor().shape() == Qt.CursorShape.IBeamCursor


def test_over_a_whole_take_a_twitch_of_the_hand_moves_a_lane_by_little(desk: DeskWindow) -> None:
    """A pixel of the whole take may be many milliseconds."""
    rate_hz = session_of(desk).rate_hz
    assert desk.parts.times.view.per_pixel > 0.5e-3 * rate_hz
    wave = wave_of(desk, "near")
    QTest.mousePress(wave, LEFT, PLAIN, GRIP.center())
    move_held(wave, GRIP.center() + QPoint(105, 0))
    assert "slowed" in wave._read_out
    QTest.mouseRelease(wave, LEFT, PLAIN, GRIP.center() + QPoint(105, 0))
    assert shift_of(desk, "near") == pytest.approx(105 * 0.5e-3 * rate_hz, abs=1)


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
    wave = wave_of(desk, "near")
    QTest.mousePress(wave, LEFT, PLAIN, GRIP.center())
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
    press(desk, "V")
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
