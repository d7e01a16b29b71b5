"""Measuring from the desk, in processes of its own."""

import pytest
from pytestqt.qtbot import QtBot
from tests.desk.conftest import focus
from tests.support.desk_hands import press, shift_of

from lagline.desk.window import DeskWindow
from lagline.session.values import Session


def test_measure_accept_and_undo(desk: DeskWindow, qtbot: QtBot) -> None:
    focus(desk.parts.lanes.stack, qtbot)
    with qtbot.waitSignal(desk.parts.measuring.over, timeout=60_000):
        press(desk, "Ctrl+M")
    assert "Measured against room" in desk.parts.messages.text
    assert desk.parts.store.undo_name == "Measure"
    desk.parts.side.tabs.findings.ask_accept_sound()
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
