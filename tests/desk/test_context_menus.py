"""The right button anywhere on the desk, and shifts copied from lane to lane. A real window."""

from __future__ import annotations

import pytest
from PySide6.QtCore import QPoint
from PySide6.QtGui import QContextMenuEvent
from PySide6.QtWidgets import QApplication, QMenu, QWidget
from pytestqt.qtbot import QtBot
from tests.desk.conftest import focus
from tests.support.desk_hands import lane_id, press, session_of, shift_of

from lagline.desk.lanes.selection import Selection
from lagline.desk.theme import theme_of
from lagline.desk.window import DeskWindow


def menu_at(widget: QWidget, at: QPoint, qtbot: QtBot) -> QMenu:
    reason = QContextMenuEvent.Reason.Mouse
    QApplication.sendEvent(widget, QContextMenuEvent(reason, at, widget.mapToGlobal(at)))
    qtbot.waitUntil(lambda: isinstance(QApplication.activePopupWidget(), QMenu), timeout=2_000)
    menu = QApplication.activePopupWidget()
    assert isinstance(menu, QMenu)
    return menu


def commands_of(menu: QMenu) -> set[str]:
    return {action.objectName() for action in menu.actions() if action.objectName()}


@pytest.mark.parametrize(
    ("part", "holds"),
    [
        ("wave", {"loop", "accept", "same_sound", "polarity", "remove"}),
        ("header", {"accept", "rename", "copy_shifts", "solo"}),
        ("ruler", {"loop_start", "loop_whole", "fit"}),
        ("sum", {"play", "loop", "zoom_loop"}),
    ],
)
def test_each_part_offers_what_can_be_done_there(
    desk: DeskWindow, qtbot: QtBot, part: str, holds: set[str]
) -> None:
    row = desk.parts.lanes.stack.row(lane_id(desk, "side"))
    widgets = {
        "wave": row.wave, "header": row.header, "ruler": desk.parts.lanes.ruler, "sum": desk.parts.lanes.sum,
    }  # fmt: skip
    menu = menu_at(widgets[part], QPoint(60, 15), qtbot)
    assert holds <= commands_of(menu)
    menu.close()
    if part in ("wave", "header"):
        assert desk.parts.lanes.stack.selection.chosen == (lane_id(desk, "side"),)


def test_a_finding_offers_what_can_be_done_with_it(desk: DeskWindow, qtbot: QtBot) -> None:
    press(desk, "Ctrl+M")
    qtbot.waitUntil(lambda: session_of(desk).alignment is not None, timeout=60_000)
    table = desk.parts.side.tabs.findings.table
    qtbot.waitUntil(lambda: table.isVisible(), timeout=5_000)
    at = table.visualRect(table.model().index(0, 0)).center()
    menu = menu_at(table.viewport(), at, qtbot)
    assert commands_of(menu) == {"accept", "runner_up", "put_back", "guide_finding"}
    menu.close()


def test_several_chosen_lanes_stay_chosen_under_the_pointer(desk: DeskWindow, qtbot: QtBot) -> None:
    stack = desk.parts.lanes.stack
    stack.select(Selection().only(stack.order[0]).extended(stack.order[1], stack.order))
    menu_at(stack.row(stack.order[1]).wave, QPoint(60, 15), qtbot).close()
    assert stack.selection.chosen == tuple(stack.order[:2])


def test_a_colour_can_be_chosen(desk: DeskWindow, qtbot: QtBot) -> None:
    side = lane_id(desk, "side")
    menu = menu_at(desk.parts.lanes.stack.row(side).wave, QPoint(60, 15), qtbot)
    colours = next(action.menu() for action in menu.actions() if action.text() == "Colour")
    assert isinstance(colours, QMenu)
    colours.actions()[5].trigger()
    menu.close()
    look = desk.parts.lanes.stack.row(side).wave.look
    assert look is not None and look.colour == theme_of(desk.palette()).lane(5)
    press(desk, "Ctrl+Z")
    look = desk.parts.lanes.stack.row(side).wave.look
    assert look is not None and look.colour == theme_of(desk.palette()).lane(1)


def test_shifts_are_copied_and_pasted_by_keys(desk: DeskWindow, qtbot: QtBot) -> None:
    stack = desk.parts.lanes.stack
    focus(stack, qtbot)
    press(desk, "Right")
    press(desk, "Ctrl+C")
    assert "Copied the shifts of near" in desk.parts.messages.text
    press(desk, "Down")
    press(desk, "Ctrl+V")
    assert shift_of(desk, "side") == shift_of(desk, "near") == 1.0
    assert desk.parts.store.undo_name == "Paste shifts"
    QApplication.clipboard().setText("something else")
    press(desk, "Ctrl+V")
    assert "No shifts were copied" in desk.parts.messages.text
