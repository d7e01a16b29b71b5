"""Two lanes lined up by hand: the same sound is clicked in both. A real window, mouse and keys."""

from __future__ import annotations

from pathlib import Path

import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot
from tests.support.desk_hands import LEFT, PLAIN, lane_id, press, session_of, shift_of
from tests.support.fake_desk import FakePlayer

from lagline.desk.lanes.lane_wave import LaneWave
from lagline.desk.window import DeskWindow
from lagline.session.edits import with_link, with_move, with_shift
from lagline.session.origin_words import placement_words, same_sound_words
from lagline.session.same_sound import with_same_sound
from lagline.session.storage import load, save
from lagline.session.values import Move, SameSound, Session

BURST_S = 0.2  # of "near"; "side" has it 56 samples later, "room" 96
SIDE_LATE, ROOM_LATE = 56, 96


def wave_of(desk: DeskWindow, name: str) -> LaneWave:
    return desk.parts.lanes.stack.row(lane_id(desk, name)).wave


def click_burst(desk: DeskWindow, name: str, qtbot: QtBot, *, beside_px: int = 0) -> None:
    """Click the first burst of a lane where it is drawn, so many pixels beside it."""
    late = {"near": 0, "side": SIDE_LATE, "room": ROOM_LATE}[name]
    x = desk.parts.times.view.x_of(BURST_S * 48_000 + late + shift_of(desk, name))
    before = desk.parts.messages.text
    QTest.mouseClick(wave_of(desk, name), LEFT, PLAIN, QPoint(round(x) + beside_px, 40))
    qtbot.waitUntil(lambda: desk.parts.messages.text != before, timeout=10_000)


@pytest.mark.parametrize("beside_px", [0, -8, 8])
def test_the_second_lane_moves_onto_the_first(
    desk: DeskWindow, player: FakePlayer, qtbot: QtBot, beside_px: int
) -> None:
    press(desk, "B")
    assert "Click a sound in the lane that stays" in desk.parts.messages.text
    assert wave_of(desk, "room").cursor().shape() == Qt.CursorShape.CrossCursor
    click_burst(desk, "room", qtbot, beside_px=beside_px)
    assert desk.parts.messages.text.startswith("room stays. Click the same sound")
    assert player.now.position == 0, "pointing moves no playhead"
    click_burst(desk, "near", qtbot, beside_px=beside_px)
    assert shift_of(desk, "near") == pytest.approx(ROOM_LATE, abs=2) and shift_of(desk, "room") == 0
    assert desk.parts.store.undo_name == "Line near up on room by hand"
    assert player.now.playing, "it is heard at once"
    assert wave_of(desk, "room").cursor().shape() == Qt.CursorShape.IBeamCursor
    shift = shift_of(desk, "near")
    press(desk, "Right")
    assert shift_of(desk, "near") == shift + 1


def test_a_close_view_is_exact(desk: DeskWindow, qtbot: QtBot) -> None:
    desk.parts.times.show_range(9_500, 9_900)
    press(desk, "B")
    click_burst(desk, "room", qtbot)
    click_burst(desk, "side", qtbot)
    assert shift_of(desk, "side") == pytest.approx(ROOM_LATE - SIDE_LATE, abs=1)


def test_by_keys_alone(desk: DeskWindow, qtbot: QtBot) -> None:
    for name, late in (("room", ROOM_LATE), ("near", 0)):
        press(desk, "B") if name == "room" else None
        desk.commands.choose_lane(lane_id(desk, name))
        desk.parts.playing.seek(BURST_S * 48_000 + late + 30)
        before = desk.parts.messages.text
        press(desk, "B")
        qtbot.waitUntil(lambda before=before: desk.parts.messages.text != before, timeout=10_000)
    assert shift_of(desk, "near") == pytest.approx(ROOM_LATE, abs=2)


def test_where_no_sound_begins_the_place_itself_is_taken(desk: DeskWindow, qtbot: QtBot) -> None:
    press(desk, "B")
    before = desk.parts.messages.text
    between = desk.parts.times.view.x_of(0.5 * 48_000)
    QTest.mouseClick(wave_of(desk, "room"), LEFT, PLAIN, QPoint(round(between), 40))
    qtbot.waitUntil(lambda: desk.parts.messages.text != before, timeout=10_000)
    assert "taken where you pointed" in desk.parts.messages.text


def test_escape_and_another_take_end_it(desk: DeskWindow, take: Session, qtbot: QtBot) -> None:
    press(desk, "B")
    click_burst(desk, "room", qtbot)
    press(desk, "Esc")
    assert not desk.parts.messages.text
    assert wave_of(desk, "room").cursor().shape() == Qt.CursorShape.IBeamCursor
    press(desk, "B")
    desk.show_take(take)
    assert not desk.parts.messages.text


def test_both_places_are_kept_and_told(take: Session, tmp_path: Path) -> None:
    near, room = take.lane_named("near").id, take.lane_named("room").id
    there = with_shift(take, room, 10.0)
    moved = with_same_sound(there, near, SameSound(room, 9_696.0, 9_600.0))
    assert moved.current_version.move(near).shift_samples == 106.0
    assert placement_words(moved.current_version, near) == "by same sound"
    assert same_sound_words(moved, near) == (
        "Lined up by hand on a sound at 0.2020 s in room, 0.2000 s here."
    )
    save(moved, tmp_path / "kept.lagline")
    assert load(tmp_path / "kept.lagline") == moved
    assert placement_words(with_shift(moved, near, 3.0).current_version, near) == "by hand"


def test_both_fall_together_where_drift_is_taken_out(take: Session) -> None:
    near, room = take.lane_named("near").id, take.lane_named("room").id
    drifting = with_move(take, near, Move(0.0, 1, 20.0))
    at = 48_000_000.0  # 1000 s
    moved = with_same_sound(drifting, near, SameSound(room, at, at + 500.0))
    move = moved.current_version.move(near)
    assert (at + 500.0 + move.shift_samples) / move.pace == pytest.approx(at, abs=1e-6)
    assert move.rate_ppm == 20.0


def test_a_lane_that_is_removed_meanwhile_is_forgotten(desk: DeskWindow, qtbot: QtBot) -> None:
    press(desk, "B")
    click_burst(desk, "room", qtbot)
    room = lane_id(desk, "room")
    desk.parts.edits.remove(room)
    click_burst(desk, "near", qtbot)
    assert desk.parts.messages.text.startswith("near stays.") and shift_of(desk, "near") == 0


def test_linked_lanes_cannot_be_lined_up_on_each_other(take: Session) -> None:
    near, room = take.lane_named("near").id, take.lane_named("room").id
    linked = with_link(take, (near, room), "pair")
    with pytest.raises(ValueError, match="near moves along"):
        with_same_sound(linked, near, SameSound(room, 9_696.0, 9_600.0))


def test_a_take_on_the_desk_says_so(desk: DeskWindow) -> None:
    near, room = lane_id(desk, "near"), lane_id(desk, "room")
    link = with_link(session_of(desk), (near, room), "pair")
    desk.parts.edits.apply("Link", lambda _: link)
    desk.parts.edits.apply(
        "Line up", lambda old: with_same_sound(old, near, SameSound(room, 9_696.0, 9_600.0))
    )
    assert "moves along with the lane" in desk.parts.messages.text
