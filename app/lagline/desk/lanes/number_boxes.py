"""Figures one can type, step and read: gain, pan and shift of a lane."""

from __future__ import annotations

from PySide6.QtCore import QSignalBlocker, Qt, Signal
from PySide6.QtGui import QFocusEvent, QKeyEvent, QValidator
from PySide6.QtWidgets import QAbstractSpinBox, QLineEdit, QWidget

from lagline.amounts import MINUS, in_unit, samples_of
from lagline.desk.amounts import DECIMALS, Unit, number_text
from lagline.desk.boxes import DoubleSpinBox
from lagline.desk.theme import TARGET
from lagline.session.edits import LOUDEST_GAIN_DB, QUIETEST_GAIN_DB


class QuietBox(DoubleSpinBox):
    """A spin box without buttons that reports what the user asks for."""

    asked = Signal(float)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setButtonSymbols(QAbstractSpinBox.ButtonSymbols.NoButtons)
        self.setProperty("quiet", True)  # for the style sheet: no room for buttons
        self.setKeyboardTracking(False)
        self.setFixedHeight(TARGET)
        self.setAlignment(Qt.AlignmentFlag.AlignRight)
        self.valueChanged.connect(self.asked)

    def show_value(self, value: float) -> None:
        """Show a value without telling anybody."""
        with QSignalBlocker(self):
            self.setValue(value)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() == Qt.Key.Key_Escape:
            self.clearFocus()
            return
        super().keyPressEvent(event)


class GainBox(QuietBox):
    """Gain in dB, half a dB a step."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setRange(QUIETEST_GAIN_DB, LOUDEST_GAIN_DB)
        self.setDecimals(1)
        self.setSingleStep(0.5)
        self.setSuffix(" dB")
        self.setFixedWidth(62)
        self.setToolTip("Gain in the blend, in dB (G). Arrow keys or the wheel change it by 0.5 dB.")

    def textFromValue(self, value: float) -> str:
        return number_text(value, 1, signed=True)

    def valueFromText(self, text: str) -> float:
        cleaned = text.replace(MINUS, "-").replace(",", ".").removesuffix(self.suffix()).strip()
        try:
            return float(cleaned)
        except ValueError:
            return self.value()

    def validate(self, text: str, at: int) -> tuple[QValidator.State, str, int]:
        return QValidator.State.Acceptable, text, at


class PanBox(QuietBox):
    """Pan from left to right: "C", "L 30", "R 100"."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setRange(-1.0, 1.0)
        self.setDecimals(2)
        self.setSingleStep(0.05)
        self.setFixedWidth(46)
        self.setToolTip("Pan: C in the middle, L or R and a percentage. Arrow keys or the wheel change it.")

    def textFromValue(self, value: float) -> str:
        percent = round(100 * abs(value))
        return "C" if not percent else f"{'L' if value < 0 else 'R'} {percent}"

    def valueFromText(self, text: str) -> float:
        cleaned = text.strip().upper().replace(MINUS, "-")
        if cleaned in ("", "C"):
            return 0.0
        sign = -1.0 if cleaned[0] == "L" else 1.0
        try:
            return sign * float(cleaned.lstrip("LR ").replace(",", ".")) / 100
        except ValueError:
            return self.value()

    def validate(self, text: str, at: int) -> tuple[QValidator.State, str, int]:
        return QValidator.State.Acceptable, text, at


MOST_DIGITS = 8


class ShiftBox(QLineEdit):
    """The lane's shift in the chosen unit; understands any unit that is typed."""

    asked = Signal(float)  # samples
    refused = Signal(str)  # what was wrong with what was typed

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._shown: tuple[float, Unit, int, float] = (0.0, "samples", 48_000, 20.0)
        self.setFixedHeight(TARGET)
        self.setAlignment(Qt.AlignmentFlag.AlignRight)
        self.setToolTip(
            "Shift: how much later the lane plays (Enter to type). "
            "Any unit is understood: 12.5, -3 ms, 0.5 s, 1.2 m, 3 ft 2 in."
        )
        self.editingFinished.connect(self._take)
        self.returnPressed.connect(self.clearFocus)

    def show_shift(self, samples: float, unit: Unit, rate_hz: int, temperature_c: float) -> None:
        """Show a shift in this unit; what is being typed stays."""
        self._shown = (samples, unit, rate_hz, temperature_c)
        if not (self.hasFocus() and self.isModified()):
            self._write()

    def _write(self) -> None:
        samples, unit, rate_hz, temperature_c = self._shown
        amount = in_unit(samples, unit, rate_hz, temperature_c)
        short = "smp" if unit == "samples" else unit
        digits = len(str(int(abs(amount))))
        decimals = max(min(DECIMALS[unit], MOST_DIGITS - digits), 0)  # the room there is
        self.setText(f"{number_text(amount, decimals, signed=True)} {short}")
        self.setModified(False)
        self.setCursorPosition(0)

    def _take(self) -> None:
        if not self.isModified():
            return
        _, unit, rate_hz, temperature_c = self._shown
        text = self.text()
        self.setModified(False)
        try:
            wanted = samples_of(text, unit, rate_hz, temperature_c)
        except ValueError as problem:
            self._write()
            self.refused.emit(str(problem))
            return
        self._write()
        self.asked.emit(wanted)

    def focusInEvent(self, event: QFocusEvent) -> None:
        super().focusInEvent(event)
        self.selectAll()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() == Qt.Key.Key_Escape:
            self._write()
            self.clearFocus()
            return
        super().keyPressEvent(event)
