"""Scrubbing, run-up, loop presets, meters, dim, the same moment, the guard's settings, by mouse and key."""

from __future__ import annotations

import pytest
from msgspec.structs import replace
from PySide6.QtCore import QPoint, QSettings, Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QDialog, QDoubleSpinBox
from pytestqt.qtbot import QtBot
from tests.support.desk_hands import choose_in_menu, click, lane_id, press
from tests.support.fake_desk import FakePlayer, FakeQuestions

from lagline.desk.panels.guard_box import GuardBox
from lagline.desk.settings import DeskSettings
from lagline.desk.window import DeskWindow
from lagline.playback.state import PlayState
from lagline.session.edits import with_loop, with_mute
from lagline.session.values import Session


def session_of(desk: DeskWindow) -> Session:
    session = desk.parts.store.session
    assert session is not None
    return session


def asked(player: FakePlayer, what: str) -> list[tuple[object, ...]]:
    return [told for told in player.told if told[0] == what]


@pytest.mark.parametrize("playing", [False, True])
def test_dragging_the_playhead_is_heard_and_leaves_things_as_they_were(
    desk: DeskWindow, player: FakePlayer, qtbot: QtBot, playing: bool
) -> None:
    desk.parts.playing.seek(20_000)
    if playing:
        desk.parts.playing.play()
    desk.parts.playing.poll()
    ruler, view = desk.parts.lanes.ruler, desk.parts.times.view
    start = QPoint(round(view.x_of(20_000)), 8)
    seen = desk.parts.times.seen
    QTest.mousePress(ruler, Qt.MouseButton.LeftButton, pos=start)
    for step in range(1, 6):
        QTest.mouseMove(ruler, start + QPoint(30 * step, 0))
        qtbot.wait(40)
    assert player.now.playing
    QTest.mouseRelease(ruler, Qt.MouseButton.LeftButton, pos=start + QPoint(150, 0))
    places = [told[1] for told in player.told if told[0] in ("play_from", "seek")]
    assert places[-1] == pytest.approx(desk.parts.times.view.sample_at(start.x() + 150), abs=2)
    assert 2 <= len(places[1:]) <= 6 and places[1:] == sorted(
        places[1:]
    )  # not every pixel: pieces to be heard
    assert player.now.playing == playing
    assert desk.parts.times.seen == seen, "it was scrubbed, not panned"


def test_a_click_beside_the_playhead_still_puts_it_there(desk: DeskWindow, player: FakePlayer) -> None:
    QTest.mouseClick(desk.parts.lanes.ruler, Qt.MouseButton.LeftButton, pos=QPoint(300, 8))
    assert not asked(player, "play_from")
    assert player.now.position == pytest.approx(desk.parts.times.view.sample_at(300), abs=1)


def test_the_run_up_begins_before_the_loop_and_runs_into_it(desk: DeskWindow, player: FakePlayer) -> None:
    desk.show_take(with_loop(session_of(desk), (70_000, 90_000)))
    choose_in_menu(desk, "Listen", "run_up")
    assert asked(player, "play_from") == [("play_from", 0, True)]  # 2 s before, or where the take begins
    assert player.now.playing and desk.parts.playing.is_looping


def test_the_loop_plays_from_its_beginning(desk: DeskWindow, player: FakePlayer) -> None:
    desk.show_take(with_loop(session_of(desk), (30_000, 60_000)))
    desk.parts.playing.set_looping(False)
    player.now = replace(player.now, position=45_000)
    press(desk, "Shift+L")
    assert desk.parts.playing.is_looping
    assert player.now.playing and player.now.position == 30_000


def test_it_plays_from_the_attack_before(desk: DeskWindow, player: FakePlayer, qtbot: QtBot) -> None:
    desk.parts.playing.seek(60_000)
    press(desk, "Ctrl+Space")
    qtbot.waitUntil(lambda: bool(asked(player, "play_from")), timeout=20_000)
    place = asked(player, "play_from")[0][1]
    assert 20_000 < place < 60_000 and player.now.playing


@pytest.mark.parametrize("command", ["loop_attack", "loop_sustain", "loop_whole"])
def test_loop_presets(desk: DeskWindow, qtbot: QtBot, command: str) -> None:
    choose_in_menu(desk, "Listen", command)
    qtbot.waitUntil(lambda: session_of(desk).loop is not None, timeout=20_000)
    session = session_of(desk)
    start, stop = session.loop
    assert desk.parts.playing.is_looping
    if command == "loop_whole":
        assert (start, stop) == session.span(session.current_version)
        return
    centre = desk.commands.work._centre
    assert centre is not None
    if command == "loop_attack":
        assert start <= centre < stop
    else:  # after it, and not into the next of the clicks, half a second apart
        assert centre < start < stop < centre + 24_000


def test_each_lane_shows_its_level_at_the_playhead(
    desk: DeskWindow, player: FakePlayer, qtbot: QtBot
) -> None:
    stack = desk.parts.lanes.stack
    levels = {}
    clip = desk.parts.sounds.clips[lane_id(desk, "near")].read(0, 96_000)
    loudest = int(abs(clip).argmax())
    for playing in (True, False):
        player.now = replace(player.now, playing=playing, position=loudest + 200)
        desk.parts.playing.poll()
        levels[playing] = {key: row.meter.level_db for key, row in stack._rows.items()}
    assert levels[True][lane_id(desk, "near")] > -40.0
    assert all(level == float("-inf") for level in levels[False].values())
    desk.parts.store.apply("mute", lambda now: with_mute(now, lane_id(desk, "near"), True))
    player.now = replace(player.now, playing=True, position=loudest + 201)
    desk.parts.playing.poll()
    assert stack._rows[lane_id(desk, "near")].meter.level_db == float("-inf")


def test_no_lane_shows_a_level_in_a_blind_trial(desk: DeskWindow, player: FakePlayer) -> None:
    player.now = replace(player.now, playing=True, position=30_000, version_id=None)
    desk.parts.playing.poll()
    assert all(row.meter.level_db == float("-inf") for row in desk.parts.lanes.stack._rows.values())


def test_dim_by_key_and_by_button(desk: DeskWindow, player: FakePlayer) -> None:
    press(desk, "U")
    assert player.now.is_dim
    desk.parts.playing.poll()
    dim = desk.parts.strip.monitor.dim
    assert dim.isChecked() and desk.actions_by_id["dim"].isChecked()
    click(dim)
    assert not player.now.is_dim


def test_the_same_moment_by_key_and_where_there_is_room_by_box(desk: DeskWindow, player: FakePlayer) -> None:
    press(desk, "J")
    assert player.now.is_same_moment and desk.actions_by_id["moment"].isChecked()
    assert not desk.parts.strip.moment.isVisible()
    desk.resize(1700, 800)
    assert desk.parts.strip.moment.isVisible() and desk.parts.strip.moment.isChecked()


def test_what_the_guard_holds_is_said_beside_the_meter(desk: DeskWindow, player: FakePlayer) -> None:
    player.now = replace(player.now, held_db=12.3, true_peak_dbtp=-30.0, playing=False)
    desk.parts.playing.poll()
    assert "held" in desk.parts.strip.meter.accessibleDescription()


def test_the_guard_is_set_in_the_output_dialog_and_kept(
    desk: DeskWindow, player: FakePlayer, questions: FakeQuestions, settings: QSettings
) -> None:
    said: list[str] = []

    def set_it(dialog: QDialog) -> None:
        box = dialog.findChild(GuardBox)
        rise, ceiling, ear = box.findChildren(QDoubleSpinBox)
        rise.setValue(10.0)
        ceiling.setValue(-12.0)
        said.append(box._ear.text())
        ear.setValue(79.0)
        box.show_state(PlayState(level_lufs=-14.0))
        said.append(box._ear.text())

    questions.with_dialog = set_it
    choose_in_menu(desk, "Listen", "output")
    assert (player.now.most_rise_db, player.now.ceiling_dbfs) == (10.0, -12.0)
    assert "cannot know" in said[0] and "coupler" in said[0]
    assert "About 85 dB(A)" in said[1] and "8 h a day at work (NIOSH" in said[1]
    kept = DeskSettings(settings)
    assert (kept.most_rise_db, kept.ceiling_dbfs) == (10.0, -12.0)
    assert kept.reference_dba(desk.parts.playing.state.device) == 79.0
    assert kept.reference_dba("another") is None
