"""What is heard is what is edited, and what is tried is heard at once: a real window, mouse and keys."""

from __future__ import annotations

import pytest
from msgspec.structs import replace
from PySide6.QtCore import QPoint, QRect
from PySide6.QtWidgets import QPushButton, QWidget
from pytestqt.qtbot import QtBot
from tests.desk.conftest import focus, wait_until_drawn
from tests.support.desk_hands import click, press, session_of, shift_of, wait_for
from tests.support.fake_desk import FakePlayer

from lagline.desk.theme import theme_of
from lagline.desk.window import DeskWindow
from lagline.session.edits import with_alignment, with_loop
from lagline.session.findings import Alignment, Finding, RunnerUp
from lagline.session.origin_words import placement_words
from lagline.session.trying import BEFORE_ID
from lagline.session.values import ORIGINAL_ID, Session


@pytest.fixture
def measured(window: DeskWindow, take: Session, qtbot: QtBot) -> DeskWindow:
    """Near is 96 samples early, or 40 and upside down; side 40 early."""
    ids = {lane.name: lane.id for lane in take.lanes}

    def found(name: str, arrival: float, *others: RunnerUp) -> Finding:
        return Finding(ids[name], arrival, 0.1, 1, 0.97, "strong", "", polarity_trust=0.9, runners_up=others)

    findings = found("near", -96.0, RunnerUp(-40.0, -1, 0.4)), found("side", -40.0), found("room", 0.0)
    window.show_take(with_alignment(take, Alignment(ids["room"], take.rate_hz, findings)))
    wait_until_drawn(window, qtbot)
    focus(window.parts.lanes.stack, qtbot)
    return window


def heard(player: FakePlayer) -> str | None:
    return player.now.version_id


def said_of(desk: DeskWindow, name: str) -> str:
    session = session_of(desk)
    return placement_words(session.current_version, session.lane_named(name).id)


def plate_says(desk: DeskWindow) -> str:
    return desk.parts.lanes.plate.accessibleDescription()


def try_button(desk: DeskWindow, text: str = "Try") -> QPushButton:
    """Of the first lane, near."""

    def found() -> list[QPushButton]:
        named = desk.parts.side.tabs.findings.findChildren(QPushButton)
        return [one for one in named if one.text() == text and "near" in one.accessibleName()]

    wait_for(lambda: bool(found()) and found()[0].isEnabled(), f"{text} to be offered", 5)
    return found()[0]


# ---- what is heard is what is edited


def test_an_edit_while_the_original_is_heard_is_heard(measured: DeskWindow, player: FakePlayer) -> None:
    assert heard(player) == ORIGINAL_ID
    press(measured, "Right")
    assert heard(player) == "v1"
    press(measured, "1")
    press(measured, "Ctrl+Z")
    assert heard(player) == "v1"


def test_what_makes_no_difference_to_the_shifts_leaves_the_original_heard(
    measured: DeskWindow, player: FakePlayer
) -> None:
    for keys in ("M", "M", "S", "S", "T"):
        press(measured, keys)
    assert heard(player) == ORIGINAL_ID


def test_a_part_of_the_shifts_is_heard_as_soon_as_it_is_made(
    measured: DeskWindow, player: FakePlayer
) -> None:
    press(measured, "Ctrl+Return")
    for percent in (50, 80):
        measured.parts.edits.part_version("v1", percent / 100, f"{percent} %")
        assert heard(player) == session_of(measured).current_version_id
        assert plate_says(measured) == f"{percent} %, heard"


def test_the_edited_version_stands_at_the_lanes_in_its_own_colour(
    measured: DeskWindow, player: FakePlayer
) -> None:
    assert plate_says(measured) == "Shifted, not heard"
    press(measured, "2")
    assert plate_says(measured) == "Shifted, heard"
    press(measured, "Ctrl+D")
    plate, theme = measured.parts.lanes.plate, theme_of(measured.palette())
    picture = plate.grab().toImage()
    chip = picture.pixelColor(QPoint(17, picture.height() // 2)).name().upper()
    assert chip == theme.version(session_of(measured).current_version_id) != theme.version("v1")


def test_one_can_stay_while_another_is_listened_to(measured: DeskWindow, player: FakePlayer) -> None:
    press(measured, "Ctrl+D")
    copy = session_of(measured).current_version_id
    press(measured, "Shift+S")
    press(measured, "2")
    assert heard(player) == "v1" and session_of(measured).current_version_id == copy
    press(measured, "Right")
    assert heard(player) == "v1", "listening stays too"
    press(measured, "Shift+S")
    assert heard(player) == session_of(measured).current_version_id == "v1"


def test_opening_another_take_is_no_edit(measured: DeskWindow, player: FakePlayer) -> None:
    press(measured, "Ctrl+Return")
    measured.show_take(with_loop(session_of(measured), None))
    assert heard(player) == ORIGINAL_ID


# ---- trying


def test_try_is_heard_flipped_and_put_back(measured: DeskWindow, player: FakePlayer, qtbot: QtBot) -> None:
    click(try_button(measured))
    assert shift_of(measured, "near") == 96
    assert player.now.playing and heard(player) == "v1" and player.now.matching
    loop = player.session.loop if player.session is not None else None
    assert loop is not None and measured.parts.playing.is_looping
    assert said_of(measured, "near") == "trying: by finding"
    press(measured, "X")
    assert heard(player) == ORIGINAL_ID, "before, everything was as recorded"
    press(measured, "X")
    assert heard(player) == "v1"
    click(try_button(measured, "Put back"))
    assert shift_of(measured, "near") == 0 and said_of(measured, "near") == "as recorded"


def test_before_is_how_it_was_and_not_how_it_was_recorded(
    measured: DeskWindow, player: FakePlayer, qtbot: QtBot
) -> None:
    press(measured, "Ctrl+Return")
    assert shift_of(measured, "near") == 96
    qtbot.wait(200)
    click(try_button(measured))  # the runner-up
    assert shift_of(measured, "near") == 40 and said_of(measured, "near") == "trying: by runner-up 1"
    press(measured, "X")
    assert heard(player) == BEFORE_ID and plate_says(measured) == "Shifted, before heard"
    before = player.session.version(BEFORE_ID) if player.session is not None else None
    assert before is not None
    assert {before.move(lane.id).shift_samples for lane in session_of(measured).lanes} == {96, 40, 0}
    assert "Before is heard" in measured.parts.lanes.sum._detail.text()
    click(try_button(measured, "Put back"))
    assert shift_of(measured, "near") == 96 and said_of(measured, "near") == "by finding"
    assert heard(player) == "v1"


def test_accepting_keeps_what_is_tried(measured: DeskWindow, player: FakePlayer) -> None:
    press(measured, "Ctrl+Return")
    press(measured, "R")
    assert said_of(measured, "near") == "trying: by runner-up 1"
    press(measured, "Y")
    assert said_of(measured, "near") == "by runner-up 1" and shift_of(measured, "near") == 40


@pytest.mark.parametrize("over", ["Backspace", "Y", "Ctrl+Z"])
def test_what_is_said_of_a_trial_goes_with_it(measured: DeskWindow, over: str) -> None:
    press(measured, "R")
    assert "Trying another place for near" in measured.parts.messages.text
    press(measured, over)
    assert "Trying" not in measured.parts.messages.text


def test_accepting_says_which_lane_and_what_is_left(measured: DeskWindow) -> None:
    press(measured, "Y")
    assert measured.parts.messages.text.startswith("Lined up: near. Left for you to decide: side (strong).")


def test_put_back_finds_the_lane_that_is_tried(measured: DeskWindow) -> None:
    press(measured, "R")
    press(measured, "Down")  # another lane, which has not moved
    press(measured, "Backspace")
    assert said_of(measured, "near") == "as recorded" and shift_of(measured, "near") == 0


def test_put_back_takes_the_chosen_lane_where_that_has_moved(measured: DeskWindow) -> None:
    press(measured, "R")
    press(measured, "Down")
    press(measured, "Right")
    press(measured, "Backspace")
    assert shift_of(measured, "side") == 0 and said_of(measured, "near") == "trying: by finding"


def test_trying_stays_trying_through_saving_and_undo(measured: DeskWindow) -> None:
    press(measured, "R")
    press(measured, "Y")
    press(measured, "Ctrl+Z")
    assert said_of(measured, "near") == "trying: by finding"
    press(measured, "Ctrl+Z")
    assert said_of(measured, "near") == "as recorded"
    assert session_of(measured).loop is None, "the loop came with the try and goes with it"


def test_a_loop_that_a_trial_made_goes_when_it_is_put_back(measured: DeskWindow) -> None:
    press(measured, "R")
    assert session_of(measured).loop is not None
    press(measured, "R")
    press(measured, "Backspace")
    assert session_of(measured).loop is None
    measured.commands.listen.take_loop((24_000, 72_000), "")
    press(measured, "R")
    press(measured, "Backspace")
    assert session_of(measured).loop == (24_000, 72_000), "the engineer's own stays"


def test_a_loop_that_is_on_is_left_alone(measured: DeskWindow, player: FakePlayer, take: Session) -> None:
    measured.commands.listen.take_loop((24_000, 72_000), "")
    press(measured, "R")
    assert session_of(measured).loop == (24_000, 72_000)


def test_the_loop_holds_sound_of_the_lane(measured: DeskWindow) -> None:
    """Its four bursts begin 0.2 s, 0.67 s, 1.13 s and 1.6 s into the take."""
    measured.parts.playing.seek(60_000)  # 1.25 s
    press(measured, "R")
    loop = session_of(measured).loop
    assert loop is not None and 0.85 * 48_000 < loop[0] < 1.6 * 48_000 < loop[1]


def test_nothing_changes_place_or_size_while_it_is_used(measured: DeskWindow, qtbot: QtBot) -> None:
    def geometry() -> list[QRect]:
        findings = measured.parts.side.tabs.findings
        parts = [one for one in findings.findChildren(QWidget) if one.isVisible()]
        rows = [findings.table.visualRect(findings.model.index(row, 0)) for row in range(3)]
        return [*rows, *(QRect(one.mapTo(measured, QPoint(0, 0)), one.size()) for one in parts)]

    click(try_button(measured))
    qtbot.wait(200)
    before = geometry()
    for text in ("Try", "Accept", "Try", "Put back"):
        click(try_button(measured, text))
        qtbot.wait(150)
        assert geometry() == before, text


def test_accepting_while_it_is_measured_is_done_when_that_is_done(
    desk: DeskWindow, player: FakePlayer, qtbot: QtBot
) -> None:
    focus(desk.parts.lanes.stack, qtbot)
    with qtbot.waitSignal(desk.parts.measuring.measured, timeout=60_000):
        press(desk, "Ctrl+M")
        press(desk, "Ctrl+Return")
        assert "measure first" not in desk.parts.messages.text
        assert "being measured" in desk.parts.messages.text
    qtbot.waitUntil(lambda: shift_of(desk, "near") != 0, timeout=5_000)
    assert said_of(desk, "near") == "by finding" and heard(player) == "v1"


def test_what_was_to_be_accepted_is_forgotten_when_measuring_is_given_up(
    desk: DeskWindow, player: FakePlayer, qtbot: QtBot
) -> None:
    focus(desk.parts.lanes.stack, qtbot)
    press(desk, "Ctrl+M")
    press(desk, "Ctrl+Return")
    with qtbot.waitSignal(desk.parts.measuring.over, timeout=10_000):
        press(desk, "Esc")
    wait_for(lambda: not desk.parts.measuring.is_busy, "the measurement to end", 10)
    with qtbot.waitSignal(desk.parts.measuring.measured, timeout=60_000):
        press(desk, "Ctrl+M")
    qtbot.wait(200)
    assert shift_of(desk, "near") == 0


def test_a_fresh_measurement_says_nothing_of_a_place_that_nobody_chose(measured: DeskWindow) -> None:
    session = session_of(measured)
    alignment = session.alignment
    assert alignment is not None
    odd = replace(alignment.findings[0], runners_up=(RunnerUp(0.0, 1, 0.4),))
    measured.parts.store.apply(
        "Measure", lambda old: with_alignment(old, replace(alignment, findings=(odd,)))
    )
    assert said_of(measured, "near") == "as recorded"
