"""The first start, as a newcomer meets it."""

from __future__ import annotations

import pytest
from PySide6.QtCore import QSettings, Qt
from PySide6.QtWidgets import QDialog
from pytestqt.qtbot import QtBot
from tests.support.fake_desk import FakeQuestions

from lagline.desk.panels.themed import PlainLabel
from lagline.desk.settings import DeskSettings
from lagline.desk.welcome.welcome_dialog import WelcomeDialog
from lagline.desk.window import DeskWindow
from lagline.playback.exposure import CAUTION
from lagline.playback.protocol import SILENT_CLOCK, OutputDevice

OUTPUT = OutputDevice("Box (Some system)", 2, 48_000, is_default=True)


@pytest.fixture
def dialog(qtbot: QtBot) -> WelcomeDialog:
    dialog = WelcomeDialog("samples", None)
    qtbot.addWidget(dialog)
    dialog.show_devices((OUTPUT,))
    dialog.show()
    return dialog


def test_the_caution_is_read_without_a_click(dialog: WelcomeDialog) -> None:
    assert CAUTION in [label.text() for label in dialog.findChildren(PlainLabel) if label.isVisible()]


def test_choices_are_told_at_once(dialog: WelcomeDialog, qtbot: QtBot) -> None:
    with qtbot.waitSignal(dialog.unit_requested) as unit:
        qtbot.keyClick(dialog.unit, Qt.Key.Key_Down)
    assert unit.args == ["ms"]
    with qtbot.waitSignal(dialog.device_requested) as device:
        qtbot.keyClick(dialog.device, Qt.Key.Key_Down)
    assert device.args == [OUTPUT.name]
    with qtbot.waitSignal(dialog.device_requested) as silent:
        qtbot.keyClick(dialog.device, Qt.Key.Key_Down)
    assert silent.args == [SILENT_CLOCK]


def test_devices_that_arrive_late_change_no_choice(qtbot: QtBot) -> None:
    dialog = WelcomeDialog("ms", "Old box (Some system)")
    qtbot.addWidget(dialog)
    with qtbot.assertNotEmitted(dialog.device_requested):
        dialog.show_devices((OUTPUT,))
    assert dialog.device.currentText() == "Old box (Some system) (not there now)"
    assert dialog.unit.currentData() == "ms"


def test_return_asks_for_the_demo_and_escape_does_not(dialog: WelcomeDialog, qtbot: QtBot) -> None:
    with qtbot.assertNotEmitted(dialog.demo_requested):
        qtbot.keyClick(dialog, Qt.Key.Key_Escape)
    dialog.show()
    with qtbot.waitSignal(dialog.demo_requested):
        qtbot.keyClick(dialog, Qt.Key.Key_Return)


def test_newcomers_meet_it_once(window: DeskWindow, settings: QSettings, questions: FakeQuestions) -> None:
    window.parts.settings.caution_read = False
    window.commands.welcome_newcomer()
    window.commands.welcome_newcomer()
    assert questions.asked == ["dialog: WelcomeDialog"]
    assert DeskSettings(settings).welcomed
    assert DeskSettings(settings).caution_read  # it was in the welcome
    window.actions_by_id["welcome"].trigger()
    assert questions.asked == ["dialog: WelcomeDialog"] * 2


def test_what_is_asked_for_is_done(
    window: DeskWindow, questions: FakeQuestions, monkeypatch: pytest.MonkeyPatch, qtbot: QtBot
) -> None:
    opened: list[bool] = []
    monkeypatch.setattr(window.parts.files, "open_demo", lambda: opened.append(True))

    def answer(dialog: QDialog) -> None:
        assert isinstance(dialog, WelcomeDialog)
        dialog.show_devices((OUTPUT,))
        dialog.unit.setCurrentIndex(1)
        dialog.device.setCurrentIndex(1)
        dialog.accept()

    monkeypatch.setattr(questions, "show", answer)
    window.commands.welcome()
    assert window.parts.settings.unit == "ms"
    assert window.parts.settings.device.name == OUTPUT.name
    assert opened == [True]
