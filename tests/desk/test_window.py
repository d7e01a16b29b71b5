"""The desk as a person uses it: mouse and keys on a real window without a screen."""

from pathlib import Path

import pytest
from PySide6.QtCore import QEvent, QMimeData, QPoint, QPointF, Qt, QUrl
from PySide6.QtGui import QDropEvent, QKeySequence, QMouseEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QAbstractButton, QApplication, QPushButton, QWidget
from pytestqt.qtbot import QtBot
from tests.desk.conftest import focus, wait_until_drawn
from tests.support.fake_desk import FakePlayer, FakeQuestions

from lagline.desk.dialogs.command_search import CommandSearch
from lagline.desk.panels.finding_row import FindingRow
from lagline.desk.window import DeskWindow
from lagline.session.storage import load
from lagline.session.values import ORIGINAL_ID, Session


def shift(desk: DeskWindow, name: str) -> float:
    session = desk.parts.store.session
    assert session is not None
    return session.current_version.move(session.lane_named(name).id).shift_samples


def lane_id(desk: DeskWindow, name: str) -> str:
    session = desk.parts.store.session
    assert session is not None
    return session.lane_named(name).id


def drag(
    desk: DeskWindow, name: str, by: int, modifier: Qt.KeyboardModifier = Qt.KeyboardModifier.NoModifier
) -> None:
    wave = desk.parts.lanes.stack.row(lane_id(desk, name)).wave
    start = QPoint(200, wave.height() // 2)
    QTest.mousePress(wave, Qt.MouseButton.LeftButton, modifier, start)
    steps = 8
    for step in range(1, steps + 1):
        event_with(wave, start + QPoint(round(by * step / steps), 0), modifier)
    QTest.mouseRelease(wave, Qt.MouseButton.LeftButton, modifier, start + QPoint(by, 0))


def event_with(widget: QWidget, at: QPoint, modifier: Qt.KeyboardModifier) -> None:
    """A mouse move with a button and a modifier held, which QTest.mouseMove cannot send."""
    event = QMouseEvent(
        QEvent.Type.MouseMove,
        QPointF(at),
        QPointF(widget.mapToGlobal(at)),
        Qt.MouseButton.NoButton,
        Qt.MouseButton.LeftButton,
        modifier,
    )
    QApplication.sendEvent(widget, event)


def press(desk: DeskWindow, keys: str) -> None:
    combination = QKeySequence(keys)[0]
    widget = QApplication.focusWidget() or desk
    QTest.keyClick(widget, combination.key(), combination.keyboardModifiers())


class TestEmptyDesk:
    def test_explains_itself(self, window: DeskWindow) -> None:
        assert window.pages.currentWidget() is window.parts.empty
        assert not window.parts.strip.play.isEnabled()
        assert not window.actions_by_id["save"].isEnabled()
        assert window.actions_by_id["open"].isEnabled()

    def test_opens_what_is_chosen(
        self, window: DeskWindow, take: Session, questions: FakeQuestions, qtbot: QtBot
    ) -> None:
        questions.open_answer = [lane.source.path for lane in take.lanes]
        with qtbot.waitSignal(window.parts.files.opened, timeout=10_000):
            window.parts.empty.open.click()
        wait_until_drawn(window, qtbot)
        assert window.pages.currentWidget() is window.split
        stack = window.parts.lanes.stack
        names = [stack.row(lane_id).header.accessibleName() for lane_id in stack.order]
        assert names == ["Lane near", "Lane side", "Lane room"]

    def test_takes_files_dropped_on_it(self, window: DeskWindow, take: Session, qtbot: QtBot) -> None:
        data = QMimeData()
        data.setUrls([QUrl.fromLocalFile(str(take.lanes[0].source.path.parent))])
        drop = QDropEvent(
            QPointF(300, 300),
            Qt.DropAction.CopyAction,
            data,
            Qt.MouseButton.LeftButton,
            Qt.KeyboardModifier.NoModifier,
        )
        with qtbot.waitSignal(window.parts.files.opened, timeout=10_000):
            window.dropEvent(drop)
        session = window.parts.store.session
        assert session is not None and len(session.lanes) == 3

    def test_says_what_it_cannot_read_and_opens_the_rest(
        self, window: DeskWindow, take: Session, qtbot: QtBot
    ) -> None:
        broken = take.lanes[0].source.path.with_name("broken.wav")
        broken.write_bytes(b"no sound at all")
        with qtbot.waitSignal(window.parts.files.opened, timeout=10_000):
            window.open_paths([broken.parent])
        qtbot.waitUntil(lambda: "broken.wav" in window.parts.messages.text)
        session = window.parts.store.session
        assert session is not None and len(session.lanes) == 3

    def test_says_when_nothing_can_be_read(self, window: DeskWindow, tmp_path: Path, qtbot: QtBot) -> None:
        window.open_paths([tmp_path / "gone.wav"])
        qtbot.waitUntil(lambda: "gone.wav is missing" in window.parts.messages.text, timeout=10_000)
        assert window.parts.store.session is None


class TestDragging:
    def test_shifts_the_lane_by_what_the_hand_moved(self, desk: DeskWindow) -> None:
        desk.parts.times.show_range(0, 1_000)
        per_pixel = desk.parts.times.view.per_pixel
        drag(desk, "near", 60)
        assert shift(desk, "near") == pytest.approx(60 * per_pixel, abs=1)
        assert shift(desk, "near") == round(shift(desk, "near"))
        assert shift(desk, "room") == 0

    def test_is_one_step_back(self, desk: DeskWindow) -> None:
        drag(desk, "near", 60)
        assert desk.parts.store.undo_name == "Shift near"
        press(desk, "Ctrl+Z")
        assert shift(desk, "near") == 0
        assert desk.parts.store.undo_name is None

    def test_shows_samples_milliseconds_and_distance(self, desk: DeskWindow) -> None:
        wave = desk.parts.lanes.stack.row(lane_id(desk, "near")).wave
        QTest.mousePress(wave, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier, QPoint(100, 20))
        event_with(wave, QPoint(160, 20), Qt.KeyboardModifier.NoModifier)
        event_with(wave, QPoint(170, 20), Qt.KeyboardModifier.NoModifier)
        assert all(unit in wave._read_out for unit in ("samples", " ms", " m"))
        QTest.mouseRelease(wave, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier, QPoint(170, 20))
        assert not wave._read_out

    def test_goes_at_a_tenth_with_shift(self, desk: DeskWindow) -> None:
        desk.parts.times.show_range(0, 1_000)
        per_pixel = desk.parts.times.view.per_pixel
        drag(desk, "near", 100, Qt.KeyboardModifier.ShiftModifier)
        assert shift(desk, "near") == pytest.approx(10 * per_pixel, abs=0.2)

    def test_a_click_puts_the_playhead(self, desk: DeskWindow, player: FakePlayer, qtbot: QtBot) -> None:
        wave = desk.parts.lanes.stack.row(lane_id(desk, "side")).wave
        QTest.mouseClick(wave, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier, QPoint(250, 20))
        assert player.now.position == round(desk.parts.times.view.sample_at(250))
        assert shift(desk, "side") == 0
        assert desk.parts.lanes.stack.selection.current == lane_id(desk, "side")


class TestKeys:
    @pytest.mark.parametrize(
        ("keys", "moved"),
        (
            ("Right", 1.0),
            ("Left", -1.0),
            ("Shift+Right", 10.0),
            ("Alt+Left", -0.1),
            ("Ctrl+Right", 48.0),
        ),
    )
    def test_arrows_nudge_the_chosen_lane(
        self, desk: DeskWindow, qtbot: QtBot, keys: str, moved: float
    ) -> None:
        focus(desk.parts.lanes.stack, qtbot)
        press(desk, "Down")
        press(desk, keys)
        assert shift(desk, "side") == pytest.approx(moved)
        assert shift(desk, "near") == 0

    def test_letters_flip_mute_and_solo(self, desk: DeskWindow, qtbot: QtBot) -> None:
        focus(desk.parts.lanes.stack, qtbot)
        for keys in ("P", "M", "S", "T"):
            press(desk, keys)
        session = desk.parts.store.session
        assert session is not None
        near = session.lane_named("near")
        assert (near.mute, near.solo, session.anchor_id) == (True, True, near.id)
        assert session.current_version.move(near.id).polarity == -1

    @pytest.mark.parametrize("keys", ("M", "S", "P"))
    def test_a_letter_on_many_lanes_is_one_step_back(self, desk: DeskWindow, qtbot: QtBot, keys: str) -> None:
        focus(desk.parts.lanes.stack, qtbot)
        before = desk.parts.store.session
        press(desk, "Ctrl+A")
        press(desk, keys)
        session = desk.parts.store.session
        assert session is not None
        move = session.current_version.move
        changed = [lane.mute or lane.solo or move(lane.id).polarity < 0 for lane in session.lanes]
        assert changed == [True, True, True]
        press(desk, "Ctrl+Z")
        assert desk.parts.store.session == before

    def test_a_typed_shift_understands_units(self, desk: DeskWindow, qtbot: QtBot) -> None:
        focus(desk.parts.lanes.stack, qtbot)
        press(desk, "Return")
        box = QApplication.focusWidget()
        assert box is not None and box.accessibleName() == "Shift of near"
        QTest.keyClicks(box, "2 ms")
        QTest.keyClick(box, Qt.Key.Key_Return)
        assert shift(desk, "near") == 96

    def test_nonsense_typed_is_explained(self, desk: DeskWindow, qtbot: QtBot) -> None:
        focus(desk.parts.lanes.stack, qtbot)
        press(desk, "Return")
        box = QApplication.focusWidget()
        QTest.keyClicks(box, "a bit later")
        QTest.keyClick(box, Qt.Key.Key_Return)
        assert "“a bit later” is not a shift" in desk.parts.messages.text
        assert shift(desk, "near") == 0

    def test_space_plays_and_numbers_switch(self, desk: DeskWindow, player: FakePlayer, qtbot: QtBot) -> None:
        focus(desk.parts.lanes.stack, qtbot)
        press(desk, "Space")
        assert player.now.playing
        press(desk, "2")
        assert player.now.version_id == "v1"
        press(desk, "Tab")
        assert player.now.version_id == ORIGINAL_ID
        press(desk, "1")
        press(desk, "Space")
        assert not player.now.playing

    def test_space_plays_and_enter_presses_whatever_button_has_the_focus(
        self, desk: DeskWindow, player: FakePlayer, qtbot: QtBot
    ) -> None:
        focus(desk.parts.strip.loop, qtbot)
        press(desk, "Space")
        assert player.now.playing and not desk.parts.playing.is_looping
        press(desk, "Space")
        assert not player.now.playing
        press(desk, "Return")
        assert desk.parts.playing.is_looping
        assert not player.now.playing
        focus(desk.parts.strip.device, qtbot)
        press(desk, "Space")
        assert player.now.playing and not desk.parts.strip.device.view().isVisible()
        press(desk, "Enter")
        assert desk.parts.strip.device.view().isVisible()
        desk.parts.strip.device.hidePopup()

    def test_enter_on_a_button_of_a_lane_or_a_finding_is_that_buttons(
        self, desk: DeskWindow, player: FakePlayer, qtbot: QtBot
    ) -> None:
        header = desk.parts.lanes.stack.row(lane_id(desk, "near")).header
        mute = next(one for one in header.findChildren(QAbstractButton) if one.text() == "M")
        focus(mute, qtbot)
        press(desk, "Return")
        session = desk.parts.store.session
        assert session is not None and session.lane_named("near").mute
        assert QApplication.focusWidget() is mute  # no shift is asked for

    def test_space_plays_after_a_finding_was_accepted_with_the_mouse(
        self, desk: DeskWindow, player: FakePlayer, qtbot: QtBot
    ) -> None:
        desk.commands.work.measure()
        qtbot.waitUntil(lambda: desk.parts.store.session.alignment is not None, timeout=90_000)
        qtbot.waitUntil(lambda: len(desk.parts.side.tabs.findings.findChildren(FindingRow)) == 3)
        rows = desk.parts.side.tabs.findings.findChildren(FindingRow)
        row = next(one for one in rows if one.lane_id == lane_id(desk, "near"))
        accept = next(one for one in row.findChildren(QPushButton) if one.text() == "Accept")
        qtbot.waitUntil(accept.isVisible)
        desk.activateWindow()
        QTest.mouseClick(accept, Qt.MouseButton.LeftButton)
        qtbot.waitUntil(lambda: not accept.isEnabled())
        there = shift(desk, "near")
        assert there == pytest.approx(96, abs=1)
        assert QApplication.focusWidget() is row  # not "Try", which would move it away again
        press(desk, "Space")
        assert player.now.playing
        assert shift(desk, "near") == there

    def test_the_messages_buttons_leave_the_focus_where_it_is(
        self, desk: DeskWindow, player: FakePlayer, qtbot: QtBot
    ) -> None:
        focus(desk.parts.lanes.stack, qtbot)
        desk.parts.messages.show_problem("near.wav is missing.")
        bar = desk.parts.messages
        copy = next(one for one in bar.findChildren(QPushButton) if one.text() == "Copy details")
        QTest.mouseClick(copy, Qt.MouseButton.LeftButton)
        assert QApplication.focusWidget() is desk.parts.lanes.stack
        press(desk, "Space")
        assert player.now.playing

    def test_loop_ends_are_set_at_the_playhead(
        self, desk: DeskWindow, player: FakePlayer, qtbot: QtBot
    ) -> None:
        focus(desk.parts.lanes.stack, qtbot)
        desk.parts.playing.seek(10_000)
        press(desk, "I")
        desk.parts.playing.seek(30_000)
        press(desk, "O")
        session = desk.parts.store.session
        assert session is not None and session.loop == (10_000, 30_000)
        qtbot.waitUntil(lambda: player.session is not None and player.session.loop == (10_000, 30_000))
        press(desk, "L")
        qtbot.waitUntil(lambda: player.session is not None and player.session.loop is None)
        assert session.loop == (10_000, 30_000)

    def test_next_attack_goes_to_the_next_burst(
        self, desk: DeskWindow, player: FakePlayer, qtbot: QtBot
    ) -> None:
        focus(desk.parts.lanes.stack, qtbot)
        press(desk, "A")
        qtbot.waitUntil(lambda: player.now.position > 0, timeout=10_000)
        assert player.now.position == pytest.approx(0.1 * 96_000, abs=30)
        press(desk, "A")
        qtbot.waitUntil(lambda: player.now.position > 20_000, timeout=10_000)
        assert player.now.position == pytest.approx((0.1 + 0.7 / 3) * 96_000, abs=30)

    def test_search_runs_a_command(self, desk: DeskWindow, questions: FakeQuestions, qtbot: QtBot) -> None:
        def mute(dialog: object) -> None:
            assert isinstance(dialog, CommandSearch)
            QTest.keyClicks(dialog.words, "lane mute")
            QTest.keyClick(dialog.words, Qt.Key.Key_Return)

        questions.with_dialog = mute
        focus(desk.parts.lanes.stack, qtbot)
        press(desk, "Ctrl+K")
        session = desk.parts.store.session
        assert session is not None and session.lane_named("near").mute

    def test_every_help_dialog_opens(self, desk: DeskWindow, questions: FakeQuestions) -> None:
        press(desk, "F1")
        desk.commands.view.run("settings")
        desk.commands.view.run("caution")
        assert questions.asked == ["dialog: KeyboardMap", "dialog: SettingsDialog", "dialog: Caution"]


class TestMeasuring:
    def test_measure_accept_and_undo(self, desk: DeskWindow, qtbot: QtBot) -> None:
        focus(desk.parts.lanes.stack, qtbot)
        with qtbot.waitSignal(desk.parts.measuring.over, timeout=60_000):
            press(desk, "Ctrl+M")
        assert "Measured against room" in desk.parts.messages.text
        assert desk.parts.store.undo_name == "Measure"
        desk.parts.side.tabs.findings.ask_accept_sound()
        assert shift(desk, "near") == pytest.approx(96, abs=0.1)
        assert shift(desk, "side") == pytest.approx(40, abs=0.1)
        assert shift(desk, "room") == 0
        press(desk, "Ctrl+Z")
        assert shift(desk, "near") == 0

    def test_cancelled_leaves_everything(self, desk: DeskWindow, qtbot: QtBot) -> None:
        focus(desk.parts.lanes.stack, qtbot)
        before = desk.parts.store.session
        with qtbot.waitSignal(desk.parts.measuring.over, timeout=10_000):
            press(desk, "Ctrl+M")
            press(desk, "Esc")
        qtbot.wait(300)
        assert desk.parts.store.session is before

    def test_one_lane_is_explained(self, window: DeskWindow, take: Session, qtbot: QtBot) -> None:
        window.open_paths([take.lanes[0].source.path])
        qtbot.waitUntil(lambda: window.parts.store.session is not None, timeout=10_000)
        window.parts.messages.close_message()
        window.commands.work.measure()
        assert "needs two lanes" in window.parts.messages.text


class TestFiles:
    def test_saved_and_opened_again_it_is_the_same(
        self, desk: DeskWindow, questions: FakeQuestions, tmp_path: Path, qtbot: QtBot
    ) -> None:
        focus(desk.parts.lanes.stack, qtbot)
        press(desk, "Right")
        questions.save_answer = tmp_path / "work.lagline"
        press(desk, "Ctrl+S")
        assert load(tmp_path / "work.lagline") == desk.parts.store.session
        assert not desk.isWindowModified()
        assert desk.parts.settings.recent == (tmp_path / "work.lagline",)
        press(desk, "Right")
        assert desk.isWindowModified()

    def test_a_session_saved_lately_is_in_the_menu(
        self, desk: DeskWindow, questions: FakeQuestions, tmp_path: Path, qtbot: QtBot
    ) -> None:
        desk.recent.popup(desk.pos())
        assert [action.isEnabled() for action in desk.recent.actions()] == [False]
        desk.recent.hide()
        questions.save_answer = tmp_path / "work.lagline"
        press(desk, "Ctrl+S")
        press(desk, "Ctrl+W")
        desk.recent.popup(desk.pos())
        (action,) = desk.recent.actions()
        assert action.text().startswith("work ")
        with qtbot.waitSignal(desk.parts.files.opened, timeout=10_000):
            QTest.mouseClick(
                desk.recent,
                Qt.MouseButton.LeftButton,
                Qt.KeyboardModifier.NoModifier,
                desk.recent.actionGeometry(action).center(),
            )
        assert desk.parts.store.path == tmp_path / "work.lagline"

    def test_unsaved_changes_are_guarded(
        self, desk: DeskWindow, questions: FakeQuestions, qtbot: QtBot
    ) -> None:
        focus(desk.parts.lanes.stack, qtbot)
        press(desk, "Right")
        questions.unsaved_answer = "stay"
        press(desk, "Ctrl+W")
        assert questions.asked == ["unsaved"]
        assert desk.parts.store.session is not None
        questions.unsaved_answer = "discard"
        press(desk, "Ctrl+W")
        assert desk.parts.store.session is None
        assert desk.pages.currentWidget() is desk.parts.empty

    def test_a_take_that_was_only_opened_may_go(self, desk: DeskWindow, questions: FakeQuestions) -> None:
        press(desk, "Ctrl+W")
        assert questions.asked == []
        assert desk.parts.store.session is None

    def test_a_crash_loses_nothing(
        self, desk: DeskWindow, questions: FakeQuestions, tmp_path: Path, qtbot: QtBot
    ) -> None:
        focus(desk.parts.lanes.stack, qtbot)
        press(desk, "Right")
        questions.save_answer = tmp_path / "work.lagline"
        press(desk, "Ctrl+S")
        press(desk, "Shift+Right")
        desk.parts.files.autosaver.tick()
        desk.parts.files.autosaver.wait()
        questions.yes_answer = True
        questions.unsaved_answer = "stay"
        desk.parts.store.open(None)  # as after a crash: nothing was saved or let go
        with qtbot.waitSignal(desk.parts.files.opened, timeout=10_000):
            desk.open_paths([tmp_path / "work.lagline"])
        assert "yes: Unsaved work was found" in questions.asked
        assert shift(desk, "near") == 11

    def test_missing_recordings_are_found_again(
        self, desk: DeskWindow, questions: FakeQuestions, tmp_path: Path, qtbot: QtBot
    ) -> None:
        questions.save_answer = tmp_path / "work.lagline"
        press(desk, "Ctrl+S")
        (tmp_path / "take").rename(tmp_path / "moved")
        questions.folder_answer = tmp_path
        with qtbot.waitSignal(desk.parts.files.opened, timeout=10_000):
            desk.open_paths([tmp_path / "work.lagline"])
        assert "missing" in questions.asked
        session = desk.parts.store.session
        assert session is not None
        assert {lane.source.path.parent.name for lane in session.lanes} == {"moved"}

    def test_more_recordings_join_the_take(
        self, desk: DeskWindow, questions: FakeQuestions, take: Session, qtbot: QtBot
    ) -> None:
        questions.open_answer = [take.lanes[0].source.path]
        with qtbot.waitSignal(desk.parts.files.opened, timeout=10_000):
            press(desk, "Ctrl+Shift+A")
        session = desk.parts.store.session
        assert session is not None
        assert [lane.name for lane in session.lanes] == ["near", "side", "room", "near 2"]
        assert len({lane.id for lane in session.lanes}) == 4


class TestPlayback:
    def test_an_edit_reaches_the_player(self, desk: DeskWindow, player: FakePlayer, qtbot: QtBot) -> None:
        focus(desk.parts.lanes.stack, qtbot)
        press(desk, "Right")
        near = lane_id(desk, "near")
        qtbot.waitUntil(
            lambda: (
                player.session is not None and player.session.current_version.move(near).shift_samples == 1
            )
        )
        assert player.session is not None and player.session.alignment is None

    def test_the_playhead_is_followed(self, desk: DeskWindow, player: FakePlayer, qtbot: QtBot) -> None:
        from msgspec.structs import replace

        desk.parts.times.show_range(0, 4_000)
        desk.parts.playing.play()
        player.now = replace(player.now, position=50_000)
        qtbot.waitUntil(lambda: desk.parts.times.seen[0] < 50_000 < desk.parts.times.seen[1])

    def test_what_the_engine_says_is_shown_once(
        self, desk: DeskWindow, player: FakePlayer, qtbot: QtBot
    ) -> None:
        player.say("Headphones went away.")
        qtbot.waitUntil(lambda: desk.parts.messages.text == "Headphones went away.")
        desk.parts.messages.close_message()
        qtbot.wait(400)
        assert not desk.parts.messages.text

    def test_outputs_are_listed_and_chosen(self, desk: DeskWindow, player: FakePlayer, qtbot: QtBot) -> None:
        box = desk.parts.strip.device
        desk.parts.playing.look_for_devices()
        qtbot.waitUntil(lambda: box.count() == 3)
        box.setCurrentIndex(2)
        box.activated.emit(2)
        assert player.now.device_name == "Headphones"
        assert desk.parts.settings.device.name == "Headphones"

    def test_the_first_play_shows_the_caution(
        self, desk: DeskWindow, player: FakePlayer, questions: FakeQuestions
    ) -> None:
        desk.parts.settings.caution_read = False
        desk.commands.listen.play()
        assert questions.asked == ["dialog: Caution"]
        assert player.now.playing
        desk.commands.listen.play()
        desk.commands.listen.play()
        assert questions.asked == ["dialog: Caution"]


def test_closing_ends_the_player(window: DeskWindow, player: FakePlayer) -> None:
    window.close()
    assert player.is_closed
