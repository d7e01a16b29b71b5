"""The balance pad with what there is to say of it; opened and closed below the board."""

from __future__ import annotations

from PySide6.QtCore import Signal
from PySide6.QtGui import QHideEvent, QShowEvent
from PySide6.QtWidgets import QVBoxLayout, QWidget

from lagline.combinations.balance import FEWEST_BALANCED, MOST_BALANCED
from lagline.combinations.cells import Cell
from lagline.desk.panels.balance_pad import BalancePad
from lagline.desk.panels.themed import plain_label, shown


class BalanceBox(QWidget):
    """Receives: `show_cell(cell or None)`, `show_text(sentence)`; its `pad` what a pad receives.

    Signals
    -------
    cell_wanted(Cell or None) : this one is to be balanced; None while nobody looks.
    """

    cell_wanted = Signal(object)

    def __init__(self) -> None:
        super().__init__()
        self._cell: Cell | None = None
        self._told: Cell | None = None
        self.pad = BalancePad()
        self._text = plain_label()
        self._text.setProperty("muted", True)
        column = QVBoxLayout(self)
        column.setContentsMargins(0, 0, 0, 0)
        column.addWidget(self.pad)
        column.addWidget(self._text)
        self.hide()

    def show_cell(self, cell: Cell | None) -> None:
        """What is balanced while the box is open; two or three parts, or it says so."""
        self._cell = cell
        self._tell()

    def show_text(self, text: str) -> None:
        """A sentence; empty for none."""
        shown(self._text, text)
        self._text.setVisible(bool(text))

    def _tell(self) -> None:
        fits = self._cell is not None and FEWEST_BALANCED <= len(self._cell.parts) <= MOST_BALANCED
        cell = self._cell if fits and self.isVisible() else None
        if self.isVisible():
            self.pad.setVisible(fits)
            if not fits:
                self.show_text("Choose a combination of two or three to balance it.")
            elif cell != self._told:
                self.show_text("")
        if cell != self._told:
            self._told = cell
            self.cell_wanted.emit(cell)

    def showEvent(self, event: QShowEvent) -> None:
        """Its cell is wanted from now on."""
        super().showEvent(event)
        self._tell()

    def hideEvent(self, event: QHideEvent) -> None:
        """Its cell is wanted no longer."""
        super().hideEvent(event)
        self._tell()
