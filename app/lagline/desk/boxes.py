"""Drop-down lists, number boxes and sliders that a passing wheel leaves as they are.

Qt's own take the wheel wherever the pointer happens to be: scrolling a dialog would change its figures.
These take it once they have been clicked or reached by Tab; else what they lie in scrolls.
"""

from __future__ import annotations

from typing import Any

from PySide6.QtCore import Qt
from PySide6.QtGui import QWheelEvent
from PySide6.QtWidgets import QComboBox, QDoubleSpinBox, QSlider, QSpinBox


class _Still:
    """Goes before one of Qt's in the list of bases."""

    def __init__(self, *arguments: Any, **named: Any) -> None:
        super().__init__(*arguments, **named)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)  # type: ignore[attr-defined]  # the wheel gives none

    def wheelEvent(self, event: QWheelEvent) -> None:
        if self.hasFocus():  # type: ignore[attr-defined]
            super().wheelEvent(event)  # type: ignore[misc]
        else:
            event.ignore()


class ComboBox(_Still, QComboBox):
    """A drop-down list."""


class SpinBox(_Still, QSpinBox):
    """A whole number."""


class DoubleSpinBox(_Still, QDoubleSpinBox):
    """A number with decimals."""


class Slider(_Still, QSlider):
    """A slider."""
