"""How large a window may open: as it likes to be, but within the screen it comes up on."""

from __future__ import annotations

from PySide6.QtCore import QSize
from PySide6.QtWidgets import QWidget

FRAME = QSize(0, 40)  # what the system puts around a window


def fitted(window: QWidget, liked: QSize) -> QSize:
    """The size it likes, cut to what its screen leaves free."""
    return liked.boundedTo(window.screen().availableSize() - FRAME)
