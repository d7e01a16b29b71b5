"""What happens when a take comes onto the desk: demo, playhead, outputs, work that was left behind."""

from __future__ import annotations

from pathlib import Path

import pytest
from msgspec.structs import replace
from pytestqt.qtbot import QtBot
from tests.desk.conftest import wait_until_drawn
from tests.support.fake_desk import FakePlayer, FakeQuestions

from lagline.desk.app import _begin
from lagline.desk.window import DeskWindow
from lagline.errors import EngineFailed
from lagline.playback.protocol import SILENT_CLOCK, OutputDevice
from lagline.session.storage import save
from lagline.session.values import Session


def test_the_demo_from_the_menu_is_measured_from_its_beginning(
    desk: DeskWindow, player: FakePlayer, qtbot: QtBot
) -> None:
    desk.parts.playing.seek(40_000)
    desk.commands.view.run("demo")
    qtbot.waitUntil(lambda: desk.parts.measuring.is_busy, timeout=20_000)
    wait_until_drawn(desk, qtbot)
    assert player.now.position == 0
    assert desk.parts.store.session is not None
    assert len(desk.parts.store.session.lanes) == 4
    desk.commands.work.measure()  # Ctrl+M meanwhile does not start over
    qtbot.waitUntil(lambda: desk.parts.store.session.alignment is not None, timeout=90_000)


def test_the_same_take_opened_again_plays_from_its_beginning(
    desk: DeskWindow, take: Session, player: FakePlayer
) -> None:
    desk.parts.playing.seek(40_000)
    desk.parts.playing.play()
    desk.show_take(take)
    assert not player.now.playing
    assert player.now.position == 0


def test_more_lanes_leave_the_playhead_where_it_is(
    desk: DeskWindow, take: Session, player: FakePlayer, qtbot: QtBot
) -> None:
    desk.parts.playing.seek(40_000)
    with qtbot.waitSignal(desk.parts.files.opened, timeout=10_000):
        desk.parts.files.add_paths([take.lanes[0].source.path])
    assert player.told[-1] == ("load",) and ("seek", 40_000) in player.told
    assert player.told.count(("seek", 0)) == 1  # when the take came
    assert "only lane" not in desk.parts.messages.text


class TestWithoutAnOutput:
    @pytest.fixture
    def player(self) -> FakePlayer:
        player = FakePlayer()
        player.devices = lambda: ()  # type: ignore[method-assign]
        player.now = type(player.now)(device_name=None)
        return player

    def test_it_says_so_calmly_and_at_once(
        self, window: DeskWindow, player: FakePlayer, questions: FakeQuestions, qtbot: QtBot
    ) -> None:
        window.parts.settings.welcomed = True
        _begin(window, [])
        qtbot.waitUntil(lambda: "silent clock" in window.parts.messages.text)
        assert not window.parts.messages.is_problem
        assert window.parts.strip.device.currentText() == "No device: silent clock"
        assert ("device", SILENT_CLOCK) in player.told

    def test_an_engine_that_does_not_answer_is_no_matter_yet(
        self, window: DeskWindow, player: FakePlayer, qtbot: QtBot
    ) -> None:
        def fail() -> None:
            raise EngineFailed("it did not say which devices there are")

        player.devices = fail  # type: ignore[method-assign]
        window.parts.settings.welcomed = True
        _begin(window, [])
        qtbot.waitUntil(lambda: window.parts.playing._job is None)
        assert window.parts.messages.text == ""

    def test_one_that_is_plugged_in_is_used(
        self, window: DeskWindow, player: FakePlayer, qtbot: QtBot
    ) -> None:
        window.parts.settings.welcomed = True
        _begin(window, [])
        qtbot.waitUntil(lambda: ("device", SILENT_CLOCK) in player.told)
        qtbot.waitUntil(lambda: window.parts.playing._job is None)
        player.devices = lambda: (OutputDevice("Desk speakers", 2, 48_000, True),)  # type: ignore[method-assign]
        with qtbot.waitSignal(window.parts.playing.devices_found):
            window.parts.playing.look_for_devices()
        assert player.told[-1] == ("device", "Fake output")  # the machine's default again


def test_recovered_work_is_not_asked_about_at_once(
    window: DeskWindow,
    take: Session,
    questions: FakeQuestions,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    qtbot: QtBot,
) -> None:
    """Started with files while work was left behind: the work comes back, the files wait."""
    monkeypatch.setenv("LAGLINE_STATE_DIR", str(tmp_path / "state"))
    (tmp_path / "state").mkdir()
    save(take, tmp_path / "state" / "unsaved-999999999-00000000.autosave")
    questions.yes_answer = True
    _begin(window, [take.lanes[0].source.path])
    qtbot.wait(50)
    assert "unsaved" not in questions.asked
    assert window.parts.store.session == take
    assert "unsaved work is on the desk again" in window.parts.messages.text


def test_a_take_asked_for_with_measuring_is_measured_once_it_is_there(
    window: DeskWindow, take: Session, qtbot: QtBot
) -> None:
    window.parts.settings.welcomed = True
    _begin(window, [lane.source.path for lane in take.lanes], measure=True)
    qtbot.waitUntil(lambda: window.parts.measuring.is_busy, timeout=20_000)
    qtbot.waitUntil(lambda: window.parts.store.session.alignment is not None, timeout=90_000)
    window.show_take(take)  # another one is not
    qtbot.wait(100)
    assert not window.parts.measuring.is_busy


def test_the_next_take_begins_like_the_first(desk: DeskWindow, take: Session, qtbot: QtBot) -> None:
    """Height, folded lanes, the chosen lane and what was in front belong to the take they were chosen for."""
    stack, tabs = desk.parts.lanes.stack, desk.parts.side.tabs
    first, second = (lane.id for lane in take.lanes[:2])
    stack.zoom_height(2)
    desk.commands.choose_lane(second)
    stack.toggle_fold()
    desk.commands.view.show_tab(2)
    tabs.tone.tabs.setCurrentIndex(1)
    tabs.evidence.tabs.setCurrentIndex(1)
    qtbot.waitUntil(lambda: stack.row(second).height() < stack.row(first).height())
    assert "dB" in desk.parts.lanes.zoom.text()
    desk.show_take(replace(take, name="another"))
    wait_until_drawn(desk, qtbot)
    assert stack.selection.chosen == (first,)
    assert tabs.evidence.lane_id == first
    assert stack.row(second).height() == stack.row(first).height()
    assert "dB" not in desk.parts.lanes.zoom.text()
    assert (tabs.currentIndex(), tabs.tone.tabs.currentIndex(), tabs.evidence.tabs.currentIndex()) == (
        0,
        0,
        0,
    )


def test_more_lanes_keep_what_was_chosen(desk: DeskWindow, take: Session, qtbot: QtBot) -> None:
    stack = desk.parts.lanes.stack
    stack.zoom_height(2)
    desk.commands.choose_lane(take.lanes[1].id)
    stack.toggle_fold()
    with qtbot.waitSignal(desk.parts.files.opened, timeout=10_000):
        desk.parts.files.add_paths([take.lanes[0].source.path])
    assert stack.selection.current == take.lanes[1].id
    assert "dB" in desk.parts.lanes.zoom.text()
    qtbot.waitUntil(lambda: stack.row(take.lanes[1].id).height() < stack.row(take.lanes[0].id).height())
