"""The dialog that puts a setup on takes, driven by mouse and keys."""

from __future__ import annotations

from pathlib import Path

import pytest
from msgspec.structs import replace
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QApplication, QCheckBox, QComboBox, QPushButton
from tests.support.invented_session import session

from lagline.desk.setups import takes as on_takes
from lagline.desk.setups.apply_dialog import ApplySetupDialog
from lagline.desk.setups.lane_table import HEADINGS
from lagline.session.setup import Setup


@pytest.fixture
def takes(setup: Setup) -> list[on_takes.TakeOnSetup]:
    found = session()
    on_desk = on_takes.on_setup(setup, found, on_desk=True)
    return [
        on_takes.measured(on_desk, found.alignment),
        on_takes.on_setup(setup, replace(found, name="Chapel, fourth try")),
    ]


@pytest.fixture
def dialog(qtbot, setup: Setup, takes) -> ApplySetupDialog:
    dialog = ApplySetupDialog()
    qtbot.addWidget(dialog)
    dialog.show_setup(setup)
    dialog.show_takes(takes)
    dialog.show()
    qtbot.waitExposed(dialog)
    return dialog


def button(dialog, text: str) -> QPushButton:
    return next(one for one in dialog.findChildren(QPushButton) if one.text().replace("&", "") == text)


def chooser(dialog, name: str) -> QComboBox:
    return next(one for one in dialog.findChildren(QComboBox) if one.accessibleName() == name)


def cell(dialog, lane: int, heading: str) -> str:
    return dialog.lanes.item(lane, HEADINGS.index(heading)).text()


def pick(qtbot, box: QComboBox, key: Qt.Key) -> None:
    box.setFocus()
    qtbot.keyClick(box, key)


def test_the_table_says_how_each_lane_stands(dialog) -> None:
    assert cell(dialog, 0, "Against the setup") == "✓ agrees"
    assert cell(dialog, 1, "Against the setup") == "↔ moved"
    assert cell(dialog, 1, "Matched") == "by pattern"
    assert cell(dialog, 1, "Difference\nms") == "+0.468"
    assert chooser(dialog, "Setup’s lane for Contact pickup").currentText() == "Pickup"
    assert not chooser(dialog, "What Talkback uses").isEnabled()


def test_a_match_is_changed_from_the_list(qtbot, dialog) -> None:
    with qtbot.waitSignal(dialog.match_requested) as asked:
        pick(qtbot, chooser(dialog, "Setup’s lane for Talkback"), Qt.Key.Key_Home)
    assert asked.args == [0, "talk", "Near left"]
    with qtbot.waitSignal(dialog.match_requested) as asked:
        pick(qtbot, chooser(dialog, "Setup’s lane for Room"), Qt.Key.Key_End)
    assert asked.args == [0, "room", ""]


def test_what_is_used_is_chosen_for_one_lane_or_all(qtbot, dialog) -> None:
    with qtbot.waitSignal(dialog.use_requested) as asked:
        pick(qtbot, chooser(dialog, "What Contact pickup uses"), Qt.Key.Key_Down)
    assert asked.args == [0, "pick", True]
    with qtbot.waitSignal(dialog.use_requested) as asked:
        qtbot.mouseClick(button(dialog, "Take what was measured in all"), Qt.MouseButton.LeftButton)
    assert asked.args == [-1, "", True]
    with qtbot.waitSignal(dialog.use_requested) as asked:
        qtbot.keyClick(dialog, Qt.Key.Key_K, Qt.KeyboardModifier.AltModifier)
    assert asked.args == [-1, "", False]


def test_another_take_shows_its_own_lanes_and_space_leaves_it_out(qtbot, dialog) -> None:
    dialog.takes.setFocus()
    qtbot.keyClick(dialog.takes, Qt.Key.Key_Down)
    assert dialog.selected == 1
    assert cell(dialog, 0, "Measured\nsamples") == "—"
    with qtbot.waitSignal(dialog.chosen_requested) as asked:
        qtbot.keyClick(dialog.takes, Qt.Key.Key_Space)
    assert asked.args == [1, False]
    with qtbot.waitSignal(dialog.removal_requested) as asked:
        button(dialog, "Take off the list").click()
    assert asked.args == [1]


def test_enter_measures_what_was_not_measured_before_it_accepts(qtbot, dialog, takes) -> None:
    with qtbot.waitSignal(dialog.measure_requested):
        qtbot.keyClick(dialog, Qt.Key.Key_Return)
    dialog.show_takes(takes[:1])
    with qtbot.waitSignal(dialog.accept_requested):
        qtbot.keyClick(dialog, Qt.Key.Key_Return)


def test_files_in_the_way_are_asked_about_first(qtbot, dialog, takes) -> None:
    dialog.show_takes(takes[:1])
    with qtbot.waitSignal(dialog.accept_requested) as asked:
        qtbot.keyClick(dialog, Qt.Key.Key_Return)
    assert asked.args == [False]
    dialog.show_in_the_way([Path("/takes/four.lagline")])
    assert "four.lagline" in dialog._note.text()
    assert not button(dialog, "Accept").isEnabled()
    dialog.findChild(QCheckBox).click()
    with qtbot.waitSignal(dialog.accept_requested) as asked:
        button(dialog, "Accept").click()
    assert asked.args == [True]
    dialog.show_in_the_way([])
    assert not dialog.findChild(QCheckBox).isChecked()


def test_while_measuring_escape_stops_and_nothing_can_be_changed(qtbot, dialog) -> None:
    dialog.show_measuring(1, 0.5, 1, 2)
    assert dialog._progress.value() == 750
    assert "50 %" in dialog.takes.item(1, 1).text()
    assert not dialog.lanes.isEnabled()
    assert not button(dialog, "Accept").isEnabled()
    with qtbot.waitSignal(dialog.cancel_requested):
        qtbot.keyClick(dialog, Qt.Key.Key_Escape)
    with qtbot.waitSignal(dialog.cancel_requested):
        dialog.close()
    assert dialog.isVisible()
    dialog.show_idle()
    qtbot.keyClick(dialog, Qt.Key.Key_Escape)
    assert not dialog.isVisible()


def test_the_table_is_copied_with_its_headings(qtbot, dialog) -> None:
    dialog.lanes.setFocus()
    qtbot.keyClick(dialog.lanes, Qt.Key.Key_C, Qt.KeyboardModifier.ControlModifier)
    first, near, *_ = QApplication.clipboard().text().splitlines()
    assert first.split("\t")[3] == "Expected, samples"
    assert near.split("\t")[:3] == ["Near left", "Near left", "by name"]


def test_the_choice_of_a_list_that_is_open_survives_a_refresh(dialog, takes) -> None:
    box = chooser(dialog, "Setup’s lane for Room")
    dialog.show_takes([on_takes.taking(takes[0], frozenset(["near"]), True), takes[1]])
    assert chooser(dialog, "Setup’s lane for Room") is box
    assert chooser(dialog, "What Near left uses").currentText() == "measured"
