"""Monitor level and output device."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QSignalBlocker, Qt, Signal
from PySide6.QtWidgets import QHBoxLayout, QLabel, QSlider, QToolButton, QVBoxLayout, QWidget

from lagline.amounts import MINUS
from lagline.desk.amounts import number_text
from lagline.desk.boxes import ComboBox
from lagline.desk.plain import plain_tip
from lagline.desk.theme import GAP, number_font

LOWEST_DB, STEPS_PER_DB = -60, 2
SYSTEM_DEVICE = "System output"
NO_DEVICE = "No device: silent clock"
OUTPUT_TIP = "The sound output. Without one, the transport runs on a silent clock."


class MonitorLevel(QWidget):
    """A slider from silence to 0 dB; starts low at every launch. Beside it what turns it down at once."""

    gain_requested = Signal(float)  # dB; -inf at the bottom
    dim_requested = Signal(bool)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._label = QLabel("Monitor")
        self._label.setProperty("muted", True)
        self._figure = QLabel()
        self._figure.setFont(number_font(self.font()))
        self._figure.setAlignment(Qt.AlignmentFlag.AlignRight)
        self._slider = QSlider(Qt.Orientation.Horizontal)
        self._slider.setRange(LOWEST_DB * STEPS_PER_DB, 0)
        self._slider.setPageStep(3 * STEPS_PER_DB)
        self._slider.setMinimumWidth(78)
        self._slider.setAccessibleName("Monitor level in dB")
        self._slider.setToolTip(
            "How loud you hear it ([ and ]). It never changes what is delivered. Start low, turn up slowly."
        )
        self._slider.valueChanged.connect(self._ask)
        self.dim = QToolButton()
        self.dim.setText("Dim")
        self.dim.setFixedWidth(self.dim.fontMetrics().horizontalAdvance("Dim") + 14)
        self.dim.setCheckable(True)
        self.dim.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.dim.setToolTip("Down by 20 dB at once, and slowly up again (U)")
        self.dim.setAccessibleName("Dim")
        self.dim.clicked.connect(self.dim_requested)
        top = QHBoxLayout()
        top.addWidget(self._label)
        top.addWidget(self._figure, 1)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(GAP)
        column.addLayout(top)
        below = QHBoxLayout()
        below.setSpacing(GAP)
        below.addWidget(self._slider, 1)
        below.addWidget(self.dim)
        column.addLayout(below)

    def show_dim(self, on: bool) -> None:
        self.dim.setChecked(on)

    @property
    def gain_db(self) -> float:
        value = self._slider.value() / STEPS_PER_DB
        return float("-inf") if value <= LOWEST_DB else value

    def show_gain(self, gain_db: float) -> None:
        with QSignalBlocker(self._slider):
            self._slider.setValue(round(max(gain_db, LOWEST_DB) * STEPS_PER_DB))
        self._write()

    def step(self, by_db: float) -> None:
        self._slider.setValue(self._slider.value() + round(by_db * STEPS_PER_DB))

    def _ask(self) -> None:
        self._write()
        self.gain_requested.emit(self.gain_db)

    def _write(self) -> None:
        gain = self.gain_db
        self._figure.setText(f"{MINUS}∞ dB" if gain == float("-inf") else f"{number_text(gain, 1)} dB")


class DeviceBox(ComboBox):
    """Which output is played through."""

    device_requested = Signal(str)  # empty: the system's own choice
    list_wanted = Signal()  # about to be opened: devices may have come or gone

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._names: tuple[str, ...] = ()
        self._first = SYSTEM_DEVICE
        self.setAccessibleName("Output device")
        self.setToolTip(OUTPUT_TIP)
        self.setSizeAdjustPolicy(ComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
        self.setMinimumContentsLength(17)
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.activated.connect(self._ask)
        self.show_devices(())

    def show_devices(self, names: Sequence[str], chosen: str = "") -> None:
        with QSignalBlocker(self):
            self._names = ("", *names)
            self.clear()
            self.addItem(self._first)
            self.addItems(list(names))
            self.setCurrentIndex(self._names.index(chosen) if chosen in self._names else 0)

    def show_state(self, device: str, *, has_device: bool) -> None:
        """Name what is really played through, in the first entry and the tooltip."""
        self._first = NO_DEVICE if not has_device else SYSTEM_DEVICE
        if self.itemText(0) != self._first:
            self.setItemText(0, self._first)
        in_use = device if has_device else NO_DEVICE
        if in_use != self.accessibleDescription():
            self.setAccessibleDescription(in_use)
            self.setToolTip(plain_tip(f"In use: {in_use}. {OUTPUT_TIP}" if in_use else OUTPUT_TIP))

    def showPopup(self) -> None:
        self.list_wanted.emit()
        super().showPopup()

    def _ask(self, index: int) -> None:
        self.device_requested.emit(self._names[index])
