"""Measuring from the desk, in processes of its own."""

import pytest
from msgspec.structs import replace
from pytestqt.qtbot import QtBot
from tests.desk.conftest import focus
from tests.support.desk_hands import lane_id, press, shift_of

from lagline.desk.window import DeskWindow
from lagline.session.findings import Alignment
from lagline.session.values import Session


def test_measure_accept_and_undo(desk: DeskWindow, qtbot: QtBot) -> None:
    focus(desk.parts.lanes.stack, qtbot)
    with qtbot.waitSignal(desk.parts.measuring.over, timeout=60_000):
        press(desk, "Ctrl+M")
    assert "Measured against room" in desk.parts.messages.text
    assert desk.parts.store.undo_name == "Measure"
    press(desk, "Ctrl+Shift+Return")
    assert shift_of(desk, "near") == pytest.approx(96, abs=0.1)
    assert shift_of(desk, "side") == pytest.approx(40, abs=0.1)
    assert shift_of(desk, "room") == 0
    press(desk, "Ctrl+Z")
    assert shift_of(desk, "near") == 0


def test_cancelled_it_leaves_everything(desk: DeskWindow, qtbot: QtBot) -> None:
    focus(desk.parts.lanes.stack, qtbot)
    before = desk.parts.store.session
    with qtbot.waitSignal(desk.parts.measuring.over, timeout=10_000):
        press(desk, "Ctrl+M")
        press(desk, "Esc")
    qtbot.wait(300)
    assert desk.parts.store.session is before


def test_one_lane_is_explained(window: DeskWindow, take: Session, qtbot: QtBot) -> None:
    window.open_paths([take.lanes[0].source.path])
    qtbot.waitUntil(lambda: window.parts.store.session is not None, timeout=10_000)
    window.parts.messages.close_message()
    window.commands.work.measure()
    assert "needs two lanes" in window.parts.messages.text


ACCEPTING = ("Ctrl+Return", "Ctrl+Shift+Return", "Y")


@pytest.mark.parametrize("keys", ACCEPTING)
def test_accepting_before_measuring_says_what_to_do(desk: DeskWindow, qtbot: QtBot, keys: str) -> None:
    focus(desk.parts.lanes.stack, qtbot)
    desk.parts.messages.show_problem("near.wav is missing.")  # it must not hide the answer
    press(desk, keys)
    assert desk.parts.messages.text == "Nothing to accept: measure first (Ctrl+M)."
    assert not desk.parts.messages.is_problem


def test_a_measurement_that_was_undone_is_told_and_accepting_says_why_not(
    desk: DeskWindow, qtbot: QtBot
) -> None:
    focus(desk.parts.lanes.stack, qtbot)
    store, messages = desk.parts.store, desk.parts.messages
    with qtbot.waitSignal(desk.parts.measuring.measured, timeout=60_000):
        desk.commands.view.run("measure")
    for keys in ("Ctrl+Shift+Return", "Ctrl+Z"):
        press(desk, keys)
    assert store.session is not None and store.session.alignment is not None
    assert "undone" not in messages.text
    press(desk, "Ctrl+Z")
    assert store.session.alignment is None
    assert messages.text == "The measurement was undone."
    press(desk, "Ctrl+Return")
    assert messages.text == "Nothing to accept: measure first (Ctrl+M)."


@pytest.mark.parametrize("keys", ACCEPTING[1:])
def test_accepting_again_says_that_nothing_is_left(desk: DeskWindow, qtbot: QtBot, keys: str) -> None:
    focus(desk.parts.lanes.stack, qtbot)
    with qtbot.waitSignal(desk.parts.measuring.measured, timeout=60_000):
        desk.commands.view.run("measure")
    press(desk, keys)
    press(desk, keys)
    assert "already" in desk.parts.messages.text


def test_without_a_finding_of_the_word_it_says_so(desk: DeskWindow, qtbot: QtBot) -> None:
    focus(desk.parts.lanes.stack, qtbot)
    alignment = Alignment(lane_id(desk, "room"), 48_000, findings=())
    desk.parts.store.apply("Measure", lambda old: replace(old, alignment=alignment))
    press(desk, "Ctrl+Return")
    assert desk.parts.messages.text.startswith("Nothing to accept: no finding is strong.")
