"""Earlier states of the session to look through; one of them can be taken back."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QFrame,
    QHBoxLayout,
    QListWidget,
    QListWidgetItem,
    QPushButton,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from lagline.desk.panels.themed import ScrollBody, plain_label
from lagline.desk.theme import MARGIN, PAD, TARGET

WHAT_THEY_ARE = (
    "Each save keeps what it replaces: the last ten, and the last one of each day. Taking one back is a step "
    "that Undo takes back; the state on the desk is kept too."
)


class RestorePointsDialog(QDialog):
    """Receives the moments, newest first, and `show_state` for the one that was chosen.

    Signals
    -------
    point_chosen(int) : show this one; `show_state` or `show_unreadable` answers.
    take_back_requested(int) : told once the dialog has been closed.
    """

    point_chosen = Signal(int)
    take_back_requested = Signal(int)

    def __init__(self, name: str, moments: Sequence[str], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle(f"Restore points of {name}")
        self.list = QListWidget()
        self.list.setAccessibleName("Restore points, newest first")
        for moment in moments:
            item = QListWidgetItem(moment)
            item.setSizeHint(QSize(0, TARGET))
            self.list.addItem(item)
        self.list.setMinimumWidth(self.list.sizeHintForColumn(0) + 4 * MARGIN)
        self.list.setVerticalScrollMode(QListWidget.ScrollMode.ScrollPerPixel)
        self.state = plain_label(selectable=True)
        self.state.setAlignment(Qt.AlignmentFlag.AlignTop | Qt.AlignmentFlag.AlignLeft)
        self.state.setAccessibleName("What the restore point holds")
        buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Close)
        self.take_back = QPushButton("Take it back")
        self.take_back.setToolTip("Put this state onto the desk. Ctrl+Z undoes it; nothing is saved yet.")
        self.take_back.setEnabled(False)
        buttons.addButton(self.take_back, QDialogButtonBox.ButtonRole.AcceptRole)
        buttons.accepted.connect(self.accept)
        buttons.rejected.connect(self.reject)
        self.accepted.connect(self._ask)
        row = QHBoxLayout()
        row.setSpacing(MARGIN)
        row.addWidget(self.list)
        row.addWidget(_scrolling(self.state), 1)
        column = QVBoxLayout(self)
        column.setContentsMargins(2 * MARGIN, 2 * MARGIN, 2 * MARGIN, MARGIN)
        column.setSpacing(MARGIN)
        column.addWidget(plain_label(WHAT_THEY_ARE))
        column.addLayout(row, 1)
        column.addWidget(buttons)
        self.list.currentRowChanged.connect(self._chosen)
        self.list.itemActivated.connect(self._activated)
        self.resize(680, 420)

    def begin(self) -> None:
        """Show the newest; once somebody listens."""
        self.list.setCurrentRow(0)
        self.list.setFocus()

    def show_state(self, index: int, sentences: Sequence[str]) -> None:
        """What the point holds; one that is no longer chosen is passed over."""
        self._show(index, "\n".join(sentences), can_be_taken=True)

    def show_unreadable(self, index: int, sentence: str) -> None:
        """Say why the state of this row can't be read; it can't be taken back."""
        self._show(index, sentence, can_be_taken=False)

    def _show(self, index: int, text: str, *, can_be_taken: bool) -> None:
        if index == self.list.currentRow():
            self.state.setText(text)
            self.take_back.setEnabled(can_be_taken)

    def _chosen(self, index: int) -> None:
        self.take_back.setEnabled(False)
        self.state.setText("Reading it…")
        self.point_chosen.emit(index)

    def _activated(self, _item: object) -> None:
        if self.take_back.isEnabled():
            self.accept()

    def _ask(self) -> None:
        if self.take_back.isEnabled():
            self.take_back_requested.emit(self.list.currentRow())


def _scrolling(label: QWidget) -> QScrollArea:
    body = ScrollBody()
    column = QVBoxLayout(body)
    column.setContentsMargins(PAD, PAD, PAD, PAD)
    column.addWidget(label)
    column.addStretch(1)
    area = QScrollArea()
    area.setFrameShape(QFrame.Shape.StyledPanel)
    area.setWidgetResizable(True)
    area.setWidget(body)
    area.setMinimumSize(240, 120)
    return area
