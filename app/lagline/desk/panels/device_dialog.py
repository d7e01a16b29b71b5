"""Where the sound goes, and how it is kept from hurting: output device, rate, block size, hearing guard."""

from __future__ import annotations

import os
from collections.abc import Sequence

from msgspec import Struct
from PySide6.QtCore import QSignalBlocker, Qt, Signal
from PySide6.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QFormLayout,
    QHBoxLayout,
    QListWidget,
    QListWidgetItem,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from lagline.desk.panels.chooser import Chooser
from lagline.desk.panels.guard_box import GuardBox
from lagline.desk.panels.themed import plain_label
from lagline.desk.theme import MARGIN, PAD
from lagline.playback.protocol import SILENT_CLOCK, OutputDevice
from lagline.playback.state import PlayState

RATES_HZ = (44_100, 48_000, 88_200, 96_000, 176_400, 192_000)
BLOCKS = (64, 128, 256, 512, 1024, 2048)
USUAL_BLOCK = 256


class DeviceWish(Struct, frozen=True):
    """What `Player.set_device` takes. `name` None: the machine's default; SILENT_CLOCK: no sound."""

    name: str | None = None
    rate_hz: int | None = None  # None: the session's
    block_frames: int | None = None  # None: the usual


class DeviceDialog(QDialog):
    """Choose an output. Applies while it is open, so that it can be heard; Close keeps what is chosen.

    Receives: `show_devices(devices)`, `show_wish(wish)`, `show_state(PlayState)`, `show_message(text)`.

    Signals
    -------
    device_requested(DeviceWish) : play through this from now on.
    refresh_requested() : look for devices again.
    """

    device_requested = Signal(object)
    refresh_requested = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Sound output")
        self._wish = DeviceWish()
        self._list = QListWidget()
        self._list.setAccessibleName("Output device")
        self._list.setToolTip("Up and Down choose the output; it is used at once")
        self._list.setWordWrap(True)
        self._list.currentRowChanged.connect(self._changed)
        self._refresh = QPushButton("Look again")
        self._refresh.setToolTip("Look for devices plugged in since then")
        self._refresh.setAutoDefault(False)
        self._refresh.clicked.connect(self.refresh_requested)
        self._rate = Chooser("Sample rate", "Another rate than the session's is converted for listening only")
        self._rate.offer(
            [("the session’s", None), *((f"{rate / 1000:g} kHz", rate) for rate in RATES_HZ)], None
        )
        self._block = Chooser(
            "Block size", "Smaller reacts sooner, larger is safer against dropouts. 256 is a good start."
        )
        self._block.offer([(f"{block} samples", block) for block in BLOCKS], USUAL_BLOCK)
        for chooser in (self._rate, self._block):
            chooser.currentIndexChanged.connect(self._changed)
        self._status = plain_label(selectable=True)
        self._status.setAccessibleName("What is in use")
        self._message = plain_label()
        buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Close)
        buttons.rejected.connect(self.reject)

        head = QHBoxLayout()
        label = plain_label("&Output", wrap=False)
        label.setBuddy(self._list)
        head.addWidget(label)
        head.addStretch(1)
        head.addWidget(self._refresh)
        form = QFormLayout()
        form.setVerticalSpacing(PAD)
        form.addRow("Sample &rate", self._rate)
        form.addRow("&Block size", self._block)
        self.guard = GuardBox()
        column = QVBoxLayout(self)
        column.setContentsMargins(MARGIN, MARGIN, MARGIN, MARGIN)
        column.setSpacing(PAD)
        column.addLayout(head)
        column.addWidget(self._list, 1)
        column.addLayout(form)
        column.addWidget(self._status)
        column.addWidget(self._message)
        column.addWidget(self.guard)
        column.addWidget(buttons)
        self.resize(480, 640)
        self.show_devices(())
        self.show_message("")

    def show_devices(self, devices: Sequence[OutputDevice]) -> None:
        """Offer these, after the machine's default and before no sound at all."""
        entries: list[tuple[str, str | None]] = [("The machine’s default", None)]
        entries += [(_device_text(device), device.name) for device in devices]
        entries.append(("No sound: run on a silent clock", SILENT_CLOCK))
        with QSignalBlocker(self._list):
            self._list.clear()
            for text, name in entries:
                item = QListWidgetItem(text)
                item.setData(Qt.ItemDataRole.UserRole, name)
                self._list.addItem(item)
        self.show_wish(self._wish)
        if not devices:
            self.show_message("No output was found. Plug one in and look again; everything else works.")

    def show_wish(self, wish: DeviceWish) -> None:
        """Show what is chosen, without asking for it again."""
        self._wish = wish
        with QSignalBlocker(self._list), QSignalBlocker(self._rate), QSignalBlocker(self._block):
            rows = [self._list.item(row).data(Qt.ItemDataRole.UserRole) for row in range(self._list.count())]
            if wish.name is not None and wish.name not in rows:
                item = QListWidgetItem(f"{wish.name} (not there now)")
                item.setData(Qt.ItemDataRole.UserRole, wish.name)
                self._list.insertItem(1, item)
                rows.insert(1, wish.name)
            self._list.setCurrentRow(rows.index(wish.name))
            self._rate.choose(wish.rate_hz)
            self._block.choose(wish.block_frames or USUAL_BLOCK)

    def show_state(self, state: PlayState) -> None:
        """What is really in use."""
        self._status.setText(status_text(state))
        self.guard.show_state(state)

    def show_message(self, text: str) -> None:
        """One line below the list; empty text hides it."""
        self._message.setText(text)
        self._message.setVisible(bool(text))

    def wish(self) -> DeviceWish:
        """The output, rate and block size as they are chosen now."""
        item = self._list.currentItem()
        block = self._block.currentData()
        return DeviceWish(
            item.data(Qt.ItemDataRole.UserRole) if item is not None else None,
            self._rate.currentData(),
            None if block == USUAL_BLOCK else block,
        )

    def _changed(self) -> None:
        wish = self.wish()
        if wish != self._wish:
            self._wish = wish
            self.show_message("")
            self.device_requested.emit(wish)


HAS_REAL_TIME = hasattr(os, "sched_setscheduler")  # elsewhere there is no such place to be had


def status_text(state: PlayState) -> str:
    """What is open now, its delay and whether sound was lost."""
    if state.device_name is None:
        return "No output is open yet: the first play opens it."
    if state.is_silent:
        return "Running on a silent clock: nothing is heard."
    parts = [f"In use: {state.device_name}"]
    if state.device_rate_hz:
        parts.append(f"{state.device_rate_hz / 1000:g} kHz")
    if state.block_frames:
        parts.append(f"{state.block_frames} samples a block")
    parts.append(f"{1000 * state.latency_s:.0f} ms to the device")
    lost = state.underruns + state.starved
    if lost:
        parts.append(f"{lost} dropouts since it was opened: choose a larger block")
        if state.priority == "ordinary" and HAS_REAL_TIME:
            parts.append("sound has no place before other work here: Troubleshooting in the guide says more")
    return " · ".join(parts)


def _device_text(device: OutputDevice) -> str:
    channels = "1 channel" if device.channels == 1 else f"{device.channels} channels"
    default = ", default" if device.is_default else ""
    return f"{device.name}\n{channels}, {device.rate_hz / 1000:g} kHz{default}"
