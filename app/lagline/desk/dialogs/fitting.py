"""Dialogs on small screens: never larger than the screen, with a scroll bar where that is too little."""

from __future__ import annotations

from PySide6.QtCore import QSize, Qt
from PySide6.QtWidgets import QDialog, QFileDialog, QFrame, QMessageBox, QScrollArea, QVBoxLayout, QWidget

TITLE_PX = 40  # what the desktop puts around a dialog, roughly
SCROLL_BAR_PX = 16


def fit(dialog: QDialog) -> None:
    """Make a dialog that is about to be shown fit its screen."""
    room = dialog.screen().availableSize() - QSize(0, TITLE_PX)
    # Below a parent Qt begins with 100 by 30: what nobody has sized takes what its contents like.
    liked = dialog.size() if dialog.testAttribute(Qt.WidgetAttribute.WA_Resized) else dialog.sizeHint()
    least = dialog.minimumSizeHint().expandedTo(dialog.minimumSize())
    layout = dialog.layout()
    if layout is not None and not isinstance(dialog, QMessageBox | QFileDialog):  # laid out by Qt itself
        least = least.expandedTo(layout.totalMinimumSize())
        if layout.hasHeightForWidth():  # texts that wrap need their lines, which no minimum size tells
            width = min(max(liked.width(), least.width() + SCROLL_BAR_PX), room.width())
            least.setHeight(max(least.height(), layout.totalMinimumHeightForWidth(width)))
        if least.height() > room.height() or least.width() > room.width():
            _let_scroll(dialog)
    dialog.resize(liked.expandedTo(least + QSize(SCROLL_BAR_PX, 0)).boundedTo(room))


def _let_scroll(dialog: QDialog) -> None:
    """Move everything in the dialog into a scroll area that takes its place."""
    inner = QWidget()
    inner.setMinimumSize(dialog.minimumSize())
    layout = dialog.layout()
    assert layout is not None
    inner.setLayout(layout)  # takes the widgets along
    scroll = QScrollArea()
    scroll.setFrameShape(QFrame.Shape.NoFrame)
    scroll.setWidgetResizable(True)
    scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
    scroll.setWidget(inner)
    dialog.setMinimumSize(0, 0)
    outer = QVBoxLayout(dialog)
    outer.setContentsMargins(0, 0, 0, 0)
    outer.addWidget(scroll)
