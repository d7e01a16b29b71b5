"""The hearing guard: how fast it may become louder, how loud at most, and what that is at the ear."""

from __future__ import annotations

import math
from collections.abc import Callable

from PySide6.QtCore import QSignalBlocker, Signal
from PySide6.QtWidgets import QFormLayout, QGroupBox, QVBoxLayout, QWidget

from lagline.amounts import MINUS
from lagline.desk.boxes import DoubleSpinBox
from lagline.desk.panels.themed import plain_label
from lagline.desk.theme import PAD
from lagline.playback.exposure import REFERENCE_LUFS, ear_dba, exposure_text
from lagline.playback.guard import HIGHEST_CEILING_DBFS, START_LUFS
from lagline.playback.player import GENTLEST_RISE_DB, LOWEST_CEILING_DBFS, STEEPEST_RISE_DB
from lagline.playback.state import PlayState

UNKNOWN_DBA, LOUDEST_DBA = 39.0, 120.0  # below the lowest that can be typed: nothing was measured
GUARD_TEXT = (
    "Whatever makes it louder (a switch, an edit, another take or device, a fault) comes up no faster than "
    f"this. Takes and devices begin at {MINUS}{-START_LUFS:.0f} LUFS or lower. The music itself is let be."
)
EAR_TEXT = (
    f"Play pink noise at {MINUS}{-REFERENCE_LUFS:.0f} LUFS with the monitor at 0 dB, measure at your ear or "
    "in a coupler (A, slow) and type what the meter reads. It holds for this output as it is set now."
)


class GuardBox(QGroupBox):
    """Receives: `show_guard(rise_db, ceiling_dbfs)`, `show_device(name, figure_of)`, `show_state(PlayState)`.

    Signals
    -------
    guard_requested(float rise_db, float ceiling_dbfs)
    reference_requested(object) : dB(A) that the reference noise reads at the ear; None for not known.
    """

    guard_requested = Signal(float, float)
    reference_requested = Signal(object)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__("Hearing guard", parent)
        self._device: str | None = None
        self._rise = _box(GENTLEST_RISE_DB, STEEPEST_RISE_DB, " dB a second", "Louder by at most")
        self._rise.setToolTip(GUARD_TEXT)
        self._ceiling = _box(LOWEST_CEILING_DBFS, HIGHEST_CEILING_DBFS, " dBFS", "Ceiling")
        self._ceiling.setToolTip(
            "No peak goes to the output above this. It limits what you hear, never what you export."
        )
        self._reference = _box(UNKNOWN_DBA, LOUDEST_DBA, " dB(A)", "Level at your ears")
        self._reference.setSpecialValueText("not measured")
        self._reference.setToolTip(EAR_TEXT)
        self._ear = plain_label()
        self._ear.setAccessibleName("Level and time")
        self._ear.setProperty("muted", True)
        form = QFormLayout()
        form.setVerticalSpacing(PAD)
        form.addRow("&Louder by at most", self._rise)
        form.addRow("&Ceiling", self._ceiling)
        form.addRow(f"Noise at {MINUS}{-REFERENCE_LUFS:.0f} LUFS &reads", self._reference)
        column = QVBoxLayout(self)
        column.setSpacing(PAD)
        column.addLayout(form)
        column.addWidget(self._ear)
        self._rise.valueChanged.connect(self._ask_guard)
        self._ceiling.valueChanged.connect(self._ask_guard)
        self._reference.valueChanged.connect(self._ask_reference)
        self.show_state(PlayState())

    def show_guard(self, rise_db: float, ceiling_dbfs: float) -> None:
        """Show the guard's limits without asking for them again."""
        with QSignalBlocker(self._rise), QSignalBlocker(self._ceiling):
            self._rise.setValue(rise_db)
            self._ceiling.setValue(ceiling_dbfs)

    def show_device(self, device: str, reference_of: Callable[[str], float | None]) -> None:
        """Another output has another figure; what is being typed for this one stays."""
        if device != self._device:
            self._device = device
            reference_dba = reference_of(device)
            with QSignalBlocker(self._reference):
                self._reference.setValue(UNKNOWN_DBA if reference_dba is None else reference_dba)

    @property
    def reference_dba(self) -> float | None:
        """What the listener measured at the ear, in dB(A); None when nothing is typed."""
        value = self._reference.value()
        return None if value <= UNKNOWN_DBA else value

    def show_state(self, state: PlayState) -> None:
        """What the level that leaves now would be at the ear."""
        reference = self.reference_dba
        if reference is None:
            text = "Lagline cannot know how loud it is at your ears. " + EAR_TEXT
        elif state.level_lufs is None or not math.isfinite(state.level_lufs):
            text = "While it plays, this says how loud it is at your ears, estimated, and how long it may be."
        else:
            text = exposure_text(ear_dba(state.level_lufs, reference))
        if text != self._ear.text():
            self._ear.setText(text)

    def _ask_guard(self) -> None:
        self.guard_requested.emit(self._rise.value(), self._ceiling.value())

    def _ask_reference(self) -> None:
        self.reference_requested.emit(self.reference_dba)


def _box(least: float, most: float, suffix: str, name: str) -> DoubleSpinBox:
    box = DoubleSpinBox()
    box.setRange(least, most)
    box.setDecimals(0)
    box.setSuffix(suffix)
    box.setAccessibleName(name)
    return box
