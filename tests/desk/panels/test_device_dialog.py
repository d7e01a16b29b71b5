"""The output dialog, by keys."""

from __future__ import annotations

import pytest
from PySide6.QtCore import Qt
from PySide6.QtWidgets import QComboBox, QListWidget, QPushButton

from lagline.desk.panels.device_dialog import DeviceDialog, DeviceWish, status_text
from lagline.playback.protocol import SILENT_CLOCK, OutputDevice
from lagline.playback.state import PlayState

DEVICES = (OutputDevice("Studio out", 8, 48_000, True), OutputDevice("Headphones", 2, 44_100))


@pytest.fixture
def dialog(qtbot) -> DeviceDialog:
    dialog = DeviceDialog()
    qtbot.addWidget(dialog)
    dialog.show_devices(DEVICES)
    dialog.show()
    qtbot.waitExposed(dialog)
    return dialog


def outputs(dialog) -> QListWidget:
    return dialog.findChild(QListWidget)


def test_walking_the_list_uses_the_device_at_once(qtbot, dialog) -> None:
    for wanted in ("Studio out", "Headphones", SILENT_CLOCK):
        with qtbot.waitSignal(dialog.device_requested) as asked:
            qtbot.keyClick(outputs(dialog), Qt.Key.Key_Down)
        assert asked.args == [DeviceWish(wanted)]


def test_rate_and_block_are_part_of_the_wish(qtbot, dialog) -> None:
    boxes = {box.accessibleName(): box for box in dialog.findChildren(QComboBox)}
    with qtbot.waitSignal(dialog.device_requested) as asked:
        qtbot.keyClick(boxes["Sample rate"], Qt.Key.Key_Down)
    assert asked.args == [DeviceWish(None, 44_100, None)]
    with qtbot.waitSignal(dialog.device_requested) as asked:
        qtbot.keyClick(boxes["Block size"], Qt.Key.Key_Down)
    assert asked.args == [DeviceWish(None, 44_100, 512)]


def test_showing_what_is_kept_asks_nothing(qtbot, dialog) -> None:
    with qtbot.assertNotEmitted(dialog.device_requested):
        dialog.show_wish(DeviceWish("Headphones", 48_000, 512))
    assert dialog.wish() == DeviceWish("Headphones", 48_000, 512)


def test_a_device_that_is_gone_is_shown_as_such(dialog) -> None:
    dialog.show_wish(DeviceWish("Old card"))
    assert "Old card (not there now)" in outputs(dialog).currentItem().text()


def test_no_devices_says_what_to_do(qtbot, dialog) -> None:
    dialog.show_devices(())
    assert "Plug one in and look again" in dialog._message.text()
    with qtbot.waitSignal(dialog.refresh_requested):
        button = next(one for one in dialog.findChildren(QPushButton) if one.text() == "Look again")
        qtbot.mouseClick(button, Qt.MouseButton.LeftButton)


@pytest.mark.parametrize(
    ("state", "text"),
    [
        (PlayState(), "first play opens it"),
        (PlayState(device_name=SILENT_CLOCK), "nothing is heard"),
        (
            PlayState(
                device_name="Headphones",
                device_rate_hz=44_100,
                block_frames=256,
                latency_s=0.0214,
                is_silent=False,
            ),
            "Headphones · 44.1 kHz · 256 samples a block · 21 ms",
        ),
        (PlayState(device_name="H", is_silent=False, underruns=1, starved=2), "3 dropouts"),
        (PlayState(device_name="H", is_silent=False, starved=1, priority="ordinary"), "Troubleshooting"),
    ],
)
def test_what_is_in_use(state, text) -> None:
    assert text in status_text(state)


def test_priority_is_mentioned_only_when_sound_was_lost_for_want_of_it() -> None:
    for state in (
        PlayState(device_name="H", is_silent=False, priority="ordinary"),
        PlayState(device_name="H", is_silent=False, starved=1, priority="real time"),
    ):
        assert "Troubleshooting" not in status_text(state)
