"""The desk by keys alone."""

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QAbstractButton, QApplication, QDialog, QLabel, QPushButton
from pytestqt.qtbot import QtBot
from tests.desk.conftest import focus
from tests.support.desk_hands import lane_id, press, session_of, shift_of
from tests.support.fake_desk import FakePlayer, FakeQuestions

from lagline.desk.dialogs.command_search import CommandSearch
from lagline.desk.dialogs.keyboard_map import KeyboardMap
from lagline.desk.panels.findings_table import ACTION
from lagline.desk.theme import theme_of
from lagline.desk.window import DeskWindow
from lagline.session.values import ORIGINAL_ID


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
def test_arrows_nudge_the_chosen_lane(desk: DeskWindow, qtbot: QtBot, keys: str, moved: float) -> None:
    focus(desk.parts.lanes.stack, qtbot)
    press(desk, "Down")
    press(desk, keys)
    assert shift_of(desk, "side") == pytest.approx(moved)
    assert shift_of(desk, "near") == 0


def test_letters_flip_mute_and_solo(desk: DeskWindow, qtbot: QtBot) -> None:
    focus(desk.parts.lanes.stack, qtbot)
    for keys in ("P", "M", "S", "T"):
        press(desk, keys)
    session = session_of(desk)
    near = session.lane_named("near")
    assert (near.solo, session.anchor_id) == (True, near.id)
    assert session.current_version.balance(near.id).mute
    assert session.current_version.move(near.id).polarity == -1


@pytest.mark.parametrize("keys", ("M", "S", "P"))
def test_a_letter_on_many_lanes_is_one_step_back(desk: DeskWindow, qtbot: QtBot, keys: str) -> None:
    focus(desk.parts.lanes.stack, qtbot)
    before = desk.parts.store.session
    press(desk, "Ctrl+A")
    press(desk, keys)
    session = session_of(desk)
    version = session.current_version
    changed = [
        version.balance(lane.id).mute or lane.solo or version.move(lane.id).polarity < 0
        for lane in session.lanes
    ]
    assert changed == [True, True, True]
    press(desk, "Ctrl+Z")
    assert desk.parts.store.session == before


@pytest.mark.parametrize(
    ("text", "samples"), [("2 ms", 96.0), ("0.01s", 480.0), ("12.5", 12.5), ("-1 ms 500 µs", -72.0)]
)
def test_a_typed_shift_understands_units(desk: DeskWindow, qtbot: QtBot, text: str, samples: float) -> None:
    focus(desk.parts.lanes.stack, qtbot)
    press(desk, "Return")
    box = QApplication.focusWidget()
    assert box is not None and box.accessibleName() == "Shift of near"
    QTest.keyClicks(box, text)
    QTest.keyClick(box, Qt.Key.Key_Return)
    assert shift_of(desk, "near") == pytest.approx(samples)


def test_nonsense_typed_is_explained(desk: DeskWindow, qtbot: QtBot) -> None:
    focus(desk.parts.lanes.stack, qtbot)
    press(desk, "Return")
    box = QApplication.focusWidget()
    QTest.keyClicks(box, "a bit later")
    QTest.keyClick(box, Qt.Key.Key_Return)
    assert "“a bit later” is not understood" in desk.parts.messages.text
    assert shift_of(desk, "near") == 0


def test_space_plays_and_numbers_switch(desk: DeskWindow, player: FakePlayer, qtbot: QtBot) -> None:
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
    desk: DeskWindow, player: FakePlayer, qtbot: QtBot
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
    desk: DeskWindow, player: FakePlayer, qtbot: QtBot
) -> None:
    header = desk.parts.lanes.stack.row(lane_id(desk, "near")).header
    mute = next(one for one in header.findChildren(QAbstractButton) if one.text() == "M")
    focus(mute, qtbot)
    press(desk, "Return")
    session = desk.parts.store.session
    assert session is not None and session.current_version.balance(session.lane_named("near").id).mute
    assert QApplication.focusWidget() is mute  # no shift is asked for


def test_space_plays_and_stops_after_a_finding_was_accepted_with_the_mouse(
    desk: DeskWindow, player: FakePlayer, qtbot: QtBot
) -> None:
    desk.commands.work.measure()
    qtbot.waitUntil(lambda: desk.parts.store.session.alignment is not None, timeout=90_000)
    table = desk.parts.side.tabs.findings.table
    qtbot.waitUntil(lambda: table.model().rowCount() == 3)
    desk.activateWindow()
    at = table.visualRect(table.model().index(0, ACTION)).center()
    QTest.mouseClick(table.viewport(), Qt.MouseButton.LeftButton, pos=at)
    there = shift_of(desk, "near")
    assert there == pytest.approx(96, abs=1)
    assert QApplication.focusWidget() is table
    for playing in (False, True):
        press(desk, "Space")
        assert player.now.playing is playing
    assert shift_of(desk, "near") == there


def test_the_messages_buttons_leave_the_focus_where_it_is(
    desk: DeskWindow, player: FakePlayer, qtbot: QtBot
) -> None:
    focus(desk.parts.lanes.stack, qtbot)
    desk.parts.messages.show_problem("near.wav is missing.")
    bar = desk.parts.messages
    copy = next(one for one in bar.findChildren(QPushButton) if one.text() == "Copy details")
    QTest.mouseClick(copy, Qt.MouseButton.LeftButton)
    assert QApplication.focusWidget() is desk.parts.lanes.stack
    press(desk, "Space")
    assert player.now.playing


def test_loop_ends_are_set_at_the_playhead(desk: DeskWindow, player: FakePlayer, qtbot: QtBot) -> None:
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


def test_past_the_last_attack_it_names_the_key_that_goes_back(
    desk: DeskWindow, player: FakePlayer, qtbot: QtBot
) -> None:
    focus(desk.parts.lanes.stack, qtbot)
    desk.parts.playing.seek(95_000)
    press(desk, "A")
    qtbot.waitUntil(lambda: bool(desk.parts.messages.text))
    assert desk.parts.messages.text == "There is no strong attack after this place. Shift+A goes back."
    desk.parts.playing.seek(0)
    press(desk, "Shift+A")
    qtbot.waitUntil(lambda: "before" in desk.parts.messages.text)
    assert desk.parts.messages.text == "There is no strong attack before this place. A goes on."
    assert theme_of(QApplication.palette()).ok not in desk.parts.messages.styleSheet()


def test_next_attack_goes_to_the_next_burst(desk: DeskWindow, player: FakePlayer, qtbot: QtBot) -> None:
    focus(desk.parts.lanes.stack, qtbot)
    press(desk, "A")
    qtbot.waitUntil(lambda: player.now.position > 0, timeout=10_000)
    assert player.now.position == pytest.approx(0.1 * 96_000, abs=30)
    press(desk, "A")
    qtbot.waitUntil(lambda: player.now.position > 20_000, timeout=10_000)
    assert player.now.position == pytest.approx((0.1 + 0.7 / 3) * 96_000, abs=30)


def test_search_runs_a_command(desk: DeskWindow, questions: FakeQuestions, qtbot: QtBot) -> None:
    def mute(dialog: object) -> None:
        assert isinstance(dialog, CommandSearch)
        QTest.keyClicks(dialog.words, "lane mute")
        QTest.keyClick(dialog.words, Qt.Key.Key_Return)

    questions.with_dialog = mute
    focus(desk.parts.lanes.stack, qtbot)
    press(desk, "Ctrl+K")
    session = desk.parts.store.session
    assert session is not None and session.current_version.balance(session.lane_named("near").id).mute


def test_space_and_enter_both_leave_the_first_caution(
    desk: DeskWindow, questions: FakeQuestions, qtbot: QtBot
) -> None:
    for key in (Qt.Key.Key_Space, Qt.Key.Key_Return):
        left: list[int] = []

        def use(dialog: QDialog, key: Qt.Key = key, left: list[int] = left) -> None:
            dialog.finished.connect(left.append)
            there = QApplication.focusWidget()
            assert there is not None and there.window() is dialog
            QTest.keyClick(there, key)
            assert left == [QDialog.DialogCode.Accepted]

        questions.with_dialog = use
        desk.commands.view.run("caution")
        assert left


def test_no_key_stands_twice_in_the_map_without_saying_where(desk: DeskWindow, qtbot: QtBot) -> None:
    keyboard = KeyboardMap()
    qtbot.addWidget(keyboard)
    texts = {label.text() for label in keyboard.findChildren(QLabel)}
    assert {"Tab in the lanes", "X", "Tab outside the lanes"} <= texts
    assert {"Return or Enter in the lanes", "Enter on a button or a box"} <= texts


def test_every_help_dialog_opens(desk: DeskWindow, questions: FakeQuestions) -> None:
    press(desk, "F1")
    desk.commands.view.run("settings")
    desk.commands.view.run("caution")
    assert questions.asked == ["dialog: KeyboardMap", "dialog: SettingsDialog", "dialog: Caution"]
