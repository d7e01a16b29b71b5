"""What the desk and its player tell each other."""

import numpy as np
import pytest
from pytestqt.qtbot import QtBot
from tests.desk.conftest import focus
from tests.support.desk_hands import lane_id, press
from tests.support.fake_desk import FakePlayer, FakeQuestions

from lagline.desk.lanes.sum_row import sum_id
from lagline.desk.window import DeskWindow
from lagline.playback.protocol import SILENT_CLOCK


def test_an_edit_reaches_the_player(desk: DeskWindow, player: FakePlayer, qtbot: QtBot) -> None:
    focus(desk.parts.lanes.stack, qtbot)
    press(desk, "Right")
    near = lane_id(desk, "near")
    qtbot.waitUntil(
        lambda: player.session is not None and player.session.current_version.move(near).shift_samples == 1
    )
    assert player.session is not None and player.session.alignment is None


def test_the_playhead_is_followed(desk: DeskWindow, player: FakePlayer, qtbot: QtBot) -> None:
    from msgspec.structs import replace

    desk.parts.times.show_range(0, 4_000)
    desk.parts.playing.play()
    player.now = replace(player.now, position=50_000)
    qtbot.waitUntil(lambda: desk.parts.times.seen[0] < 50_000 < desk.parts.times.seen[1])


def test_what_the_engine_says_is_shown_once(desk: DeskWindow, player: FakePlayer, qtbot: QtBot) -> None:
    player.say("Headphones went away.")
    qtbot.waitUntil(lambda: desk.parts.messages.text == "Headphones went away.")
    desk.parts.messages.close_message()
    qtbot.wait(400)
    assert not desk.parts.messages.text


def test_outputs_are_listed_and_chosen(desk: DeskWindow, player: FakePlayer, qtbot: QtBot) -> None:
    box = desk.parts.strip.device
    desk.parts.playing.look_for_devices()
    qtbot.waitUntil(lambda: box.count() == 3)
    box.setCurrentIndex(2)
    box.activated.emit(2)
    assert player.now.device_name == "Headphones"
    assert desk.parts.settings.device.name == "Headphones"


def test_the_first_play_shows_the_caution(
    desk: DeskWindow, player: FakePlayer, questions: FakeQuestions
) -> None:
    desk.parts.settings.caution_read = False
    desk.commands.listen.play()
    assert questions.asked == ["dialog: Caution"]
    assert player.now.playing
    desk.commands.listen.play()
    desk.commands.listen.play()
    assert questions.asked == ["dialog: Caution"]


def test_an_output_plugged_in_late_is_found_at_the_next_play(
    desk: DeskWindow, player: FakePlayer, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    there = player.devices()
    monkeypatch.setattr(player, "devices", lambda: ())
    desk.parts.playing.look_for_devices(quietly=True)
    qtbot.waitUntil(lambda: player.now.device_name == SILENT_CLOCK)
    monkeypatch.setattr(player, "devices", lambda: there)
    desk.parts.playing.play()
    qtbot.waitUntil(lambda: player.now.device_name == "Fake output")  # the system's own choice again
    assert player.now.playing


def test_the_sum_of_the_version_that_is_heard_is_drawn_though_another_is_worked_in(
    desk: DeskWindow, qtbot: QtBot
) -> None:
    edits, near = desk.parts.edits, lane_id(desk, "near")
    edits.duplicate_version("v1", "Other")
    other = desk.parts.store.session.current_version_id
    assert other != "v1"
    desk.commands.listen.hear("v1")
    edits.shift(near, 480.0)
    desk.commands.listen.stay(True)
    edits.choose_version(other)
    qtbot.waitUntil(lambda: desk.parts.playing.state.heard_id == "v1")
    qtbot.waitUntil(desk.is_drawn, timeout=10_000)
    assert desk.parts.lanes.sum.wave.look.wave.lane_id == sum_id("v1")
    task = desk.parts.sounds._sums._task
    assert [version.id for version in task.versions] == ["original", other, "v1"]
    drawn, original = (desk.parts.sounds.data.overviews()[sum_id(one)] for one in ("v1", "original"))
    everything = 0, task.frames, 200
    assert not np.array_equal(drawn.columns(*everything)[1], original.columns(*everything)[1])


def test_the_current_version_is_heard_when_the_one_heard_is_taken_back(
    desk: DeskWindow, player: FakePlayer, qtbot: QtBot
) -> None:
    desk.parts.edits.duplicate_version("v1", "Other")
    desk.commands.listen.hear("v2")
    assert player.now.version_id == "v2"
    desk.parts.edits.choose_version("v1")
    desk.parts.edits.delete_version("v2")
    assert player.now.version_id == "v1"
    assert desk.parts.lanes.sum.wave.look.wave.lane_id == sum_id("v1")
