"""Keeping a version as a setup."""

from __future__ import annotations

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QLineEdit, QPushButton, QTableWidget
from tests.support.invented_session import session

from lagline.desk.setups.save_dialog import SaveSetupDialog
from lagline.session.values import Move


@pytest.fixture
def dialog(qtbot) -> SaveSetupDialog:
    dialog = SaveSetupDialog(session())
    qtbot.addWidget(dialog)
    dialog.show()
    qtbot.waitExposed(dialog)
    return dialog


def field(dialog, name: str) -> QLineEdit:
    return next(one for one in dialog.findChildren(QLineEdit) if one.accessibleName() == name)


def test_enter_asks_to_save_shifts_flips_and_patterns(qtbot, dialog) -> None:
    name = field(dialog, "Name of the setup")
    name.clear()
    qtbot.keyClicks(name, "Spaced pair")
    qtbot.keyClicks(field(dialog, "Name pattern of Contact pickup"), "*pickup*")
    with qtbot.waitSignal(dialog.save_requested) as asked:
        qtbot.keyClick(dialog, Qt.Key.Key_Return)
    setup = asked.args[0]
    assert setup.name == "Spaced pair"
    assert setup.anchor == "Room"
    assert {known.name: known.pattern for known in setup.lanes}["Contact pickup"] == "*pickup*"
    assert setup.lanes[0].move == Move(101.37, -1)


def test_a_pattern_is_tried_while_it_is_typed(qtbot, dialog) -> None:
    qtbot.keyClicks(field(dialog, "Name pattern of Near left"), "*a*")
    said = dialog.findChild(QTableWidget).item(0, 3)
    assert said.text().startswith("⚠ not this lane") or said.text().startswith("⚠ also")
    field(dialog, "Name pattern of Near left").setText("near*")
    assert said.text() == "✓ this lane only"


def test_without_a_name_nothing_is_saved(dialog) -> None:
    field(dialog, "Name of the setup").clear()
    save = next(one for one in dialog.findChildren(QPushButton) if one.text() == "Save …")
    assert not save.isEnabled()
    assert "name" in dialog._problem.text()
    dialog.show_failed("setup could not be written (disk full).")
    assert "disk full" in dialog._problem.text()


def test_tab_goes_from_pattern_to_pattern(qtbot, dialog) -> None:
    first = field(dialog, "Name pattern of Near left")
    dialog.activateWindow()
    first.setFocus()
    qtbot.waitUntil(first.hasFocus)
    qtbot.keyClick(first, Qt.Key.Key_Tab)
    assert field(dialog, "Name pattern of Contact pickup").hasFocus()
