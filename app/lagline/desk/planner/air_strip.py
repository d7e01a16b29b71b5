"""The plan's name, air, rate and anchor, in one strip."""

from __future__ import annotations

from msgspec.structs import replace
from PySide6.QtCore import QSignalBlocker, Signal
from PySide6.QtWidgets import QDoubleSpinBox, QGridLayout, QLabel, QLineEdit, QWidget

from lagline.desk.boxes import ComboBox, DoubleSpinBox
from lagline.desk.panels.themed import plain_label, shown
from lagline.desk.planner.figures import air_text
from lagline.desk.theme import GAP, MARGIN, PAD
from lagline.session.plan import LATEST, Plan

RATES_HZ = (44_100, 48_000, 88_200, 96_000, 176_400, 192_000)
LATEST_TEXT = "the lane that hears it last"


class AirStrip(QWidget):
    """Signals
    -------
    edit_requested(str name, object edit) : `edit` makes Plan of Plan.
    """

    edit_requested = Signal(str, object)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._plan = Plan()
        self._name = QLineEdit()
        self._temperature = _spin(-60.0, 60.0, " °C")
        self._humidity = _spin(0.0, 100.0, " %")
        self._rate, self._anchor = ComboBox(), ComboBox()
        for hertz in RATES_HZ:
            self._rate.addItem(f"{hertz / 1000:g} kHz", hertz)
        grid = QGridLayout(self)
        grid.setContentsMargins(PAD, PAD, PAD, GAP)
        grid.setHorizontalSpacing(MARGIN)
        grid.setVerticalSpacing(GAP)
        fields = (
            ("Plan", self._name),
            ("Air", self._temperature),
            ("Humidity", self._humidity),
            ("Rate", self._rate),
            ("Against", self._anchor),
        )
        for column, (text, field) in enumerate(fields):
            label = QLabel(text)
            label.setBuddy(field)
            label.setProperty("muted", True)
            field.setAccessibleName(text)
            grid.addWidget(label, 0, column)
            grid.addWidget(field, 1, column)
        grid.setColumnStretch(0, 1)
        self._air = plain_label()
        self._air.setProperty("muted", True)
        grid.addWidget(self._air, 2, 0, 1, len(fields))
        self._name.editingFinished.connect(self._named)
        self._temperature.valueChanged.connect(self._tempered)
        self._humidity.valueChanged.connect(self._moistened)
        self._rate.activated.connect(self._rated)
        self._anchor.activated.connect(self._anchored)

    def show_plan(self, plan: Plan) -> None:
        """Show name, air, rate and anchor of a plan without asking for them."""
        self._plan = plan
        fields = (self._name, self._temperature, self._humidity, self._rate, self._anchor)
        blockers = [QSignalBlocker(field) for field in fields]
        if self._name.text() != plan.name:
            self._name.setText(plan.name)
        self._temperature.setValue(plan.temperature_c)
        self._humidity.setValue(plan.humidity_percent)
        if self._rate.findData(plan.rate_hz) < 0:
            self._rate.addItem(f"{plan.rate_hz / 1000:g} kHz", plan.rate_hz)
        self._rate.setCurrentIndex(self._rate.findData(plan.rate_hz))
        self._anchor.clear()
        self._anchor.addItem(LATEST_TEXT, LATEST)
        for lane in plan.lanes:
            self._anchor.addItem(lane.name, lane.name)
        self._anchor.setCurrentIndex(max(self._anchor.findData(plan.anchor), 0))
        del blockers
        shown(self._air, air_text(plan))

    def _named(self) -> None:
        name = self._name.text().strip() or "Untitled plan"
        self.edit_requested.emit("Rename the plan", lambda plan: replace(plan, name=name))

    def _tempered(self, celsius: float) -> None:
        self.edit_requested.emit("Set the temperature", lambda plan: replace(plan, temperature_c=celsius))

    def _moistened(self, percent: float) -> None:
        self.edit_requested.emit("Set the humidity", lambda plan: replace(plan, humidity_percent=percent))

    def _rated(self, index: int) -> None:
        hertz = self._rate.itemData(index)
        self.edit_requested.emit("Set the rate", lambda plan: replace(plan, rate_hz=hertz))

    def _anchored(self, index: int) -> None:
        name = self._anchor.itemData(index)
        self.edit_requested.emit("Choose the anchor", lambda plan: replace(plan, anchor=name))


def _spin(low: float, high: float, suffix: str) -> QDoubleSpinBox:
    box = DoubleSpinBox()
    box.setRange(low, high)
    box.setDecimals(1)
    box.setSuffix(suffix)
    box.setKeyboardTracking(False)
    return box
