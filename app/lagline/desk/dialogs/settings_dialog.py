"""Settings: units, temperature, theme, magnet, whole samples, playhead."""

from __future__ import annotations

from typing import get_args

from PySide6.QtCore import QSignalBlocker, Signal
from PySide6.QtWidgets import (
    QCheckBox,
    QDialog,
    QDialogButtonBox,
    QFormLayout,
    QVBoxLayout,
    QWidget,
)

from lagline.desk.amounts import UNITS, Unit
from lagline.desk.boxes import ComboBox, DoubleSpinBox
from lagline.desk.settings import SCALES, DeskSettings
from lagline.desk.theme import MARGIN, ThemeChoice
from lagline.units import speed_of_sound

UNIT_NAMES: dict[Unit, str] = {
    "samples": "samples",
    "ms": "milliseconds",
    "m": "metres of air",
    "cm": "centimetres of air",
    "ft": "feet of air",
    "in": "inches of air",
}
THEME_NAMES: dict[ThemeChoice, str] = {"system": "as the system", "light": "light", "dark": "dark"}


class SettingsDialog(QDialog):
    """Every change takes effect at once; there is nothing to confirm."""

    unit_requested = Signal(str)
    theme_requested = Signal(str)
    temperature_requested = Signal(float)
    magnet_requested = Signal(bool)
    whole_within_requested = Signal(bool)
    follow_requested = Signal(bool)
    scale_requested = Signal(int)  # per cent

    def __init__(
        self, settings: DeskSettings, temperature_c: float | None, parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self.setWindowTitle("Settings")
        self.unit = ComboBox()
        self.unit.addItems([UNIT_NAMES[unit] for unit in UNITS])
        self.theme = ComboBox()
        self.theme.addItems([THEME_NAMES[choice] for choice in get_args(ThemeChoice)])
        self.scale = ComboBox()
        self.scale.addItems([f"{percent} %" for percent in SCALES])
        self.scale.setToolTip("How large everything is drawn, from the next start on")
        self.temperature = DoubleSpinBox()
        self.temperature.setRange(-40.0, 60.0)
        self.temperature.setDecimals(1)
        self.temperature.setSuffix(" °C")
        self.temperature.setEnabled(temperature_c is not None)
        self.temperature.setToolTip("Of the air in the room, for distances. Kept with the session.")
        self.magnet = QCheckBox("Snap a dragged lane to findings and whole samples")
        self.whole_within = QCheckBox("Accept whole samples where the uncertainty allows it")
        self.whole_within.setToolTip("A lane that is moved by whole samples is delivered bit for bit.")
        self.follow = QCheckBox("Follow the playhead while playing")
        with QSignalBlocker(self.temperature):
            self.temperature.setValue(20.0 if temperature_c is None else temperature_c)
        self.unit.setCurrentIndex(UNITS.index(settings.unit))
        self.theme.setCurrentIndex(get_args(ThemeChoice).index(settings.theme))
        self.scale.setCurrentIndex(SCALES.index(settings.scale_percent))
        self.magnet.setChecked(settings.magnet)
        self.whole_within.setChecked(settings.whole_within)
        self.follow.setChecked(settings.follow)
        form = QFormLayout()
        form.setVerticalSpacing(MARGIN)
        form.addRow("&Shifts in", self.unit)
        form.addRow("&Air temperature", self.temperature)
        form.addRow("&Theme", self.theme)
        form.addRow("Si&ze", self.scale)
        form.addRow("", self.magnet)
        form.addRow("", self.whole_within)
        form.addRow("", self.follow)
        buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Close)
        buttons.rejected.connect(self.reject)
        column = QVBoxLayout(self)
        column.setContentsMargins(2 * MARGIN, 2 * MARGIN, 2 * MARGIN, MARGIN)
        column.addLayout(form)
        column.addStretch(1)
        column.addWidget(buttons)
        self.unit.currentIndexChanged.connect(self._ask_unit)
        self.theme.currentIndexChanged.connect(self._ask_theme)
        self.scale.currentIndexChanged.connect(self._ask_scale)
        self.temperature.valueChanged.connect(self._ask_temperature)
        self.magnet.toggled.connect(self.magnet_requested)
        self.whole_within.toggled.connect(self.whole_within_requested)
        self.follow.toggled.connect(self.follow_requested)
        self._tell_speed(self.temperature.value())
        self.setMinimumWidth(420)

    def _ask_unit(self, index: int) -> None:
        self.unit_requested.emit(UNITS[index])

    def _ask_theme(self, index: int) -> None:
        self.theme_requested.emit(get_args(ThemeChoice)[index])

    def _ask_scale(self, index: int) -> None:
        self.scale_requested.emit(SCALES[index])

    def _ask_temperature(self, temperature_c: float) -> None:
        self._tell_speed(temperature_c)
        self.temperature_requested.emit(temperature_c)

    def _tell_speed(self, temperature_c: float) -> None:
        self.temperature.setAccessibleDescription(f"{speed_of_sound(temperature_c):.1f} metres a second")
        self.temperature.setToolTip(
            f"Of the air in the room: sound goes {speed_of_sound(temperature_c):.1f} m/s. "
            "Kept with the session."
        )
