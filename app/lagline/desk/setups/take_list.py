"""The takes a setup is put on: which are chosen, and what became of each."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QSignalBlocker, Qt, Signal
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QTableWidget, QTableWidgetItem, QWidget

from lagline.desk.plain import plain_tip
from lagline.desk.setups.cells import cell
from lagline.desk.setups.takes import TakeOnSetup
from lagline.desk.setups.texts import choice_text, take_state
from lagline.session.setup import Setup

HEADINGS = ("Take", "Against the setup", "On accepting")


class TakeList(QTableWidget):
    """Receives `show_takes(setup, takes)` and `show_measuring(number, fraction)`.

    Signals
    -------
    take_selected(int number) : show that take's lanes.
    chosen_requested(int number, bool) : accept it with the others, or leave it out.
    """

    take_selected = Signal(int)
    chosen_requested = Signal(int, bool)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(0, len(HEADINGS), parent)
        self.setAccessibleName("Takes")
        self.setToolTip("Tick the takes to accept (Space). Choose one to see its lanes.")
        self.setHorizontalHeaderLabels(list(HEADINGS))
        self.verticalHeader().hide()
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setTabKeyNavigation(False)
        self.setWordWrap(False)
        header = self.horizontalHeader()
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        header.setSectionResizeMode(0, QHeaderView.ResizeMode.ResizeToContents)
        header.setSectionResizeMode(1, QHeaderView.ResizeMode.Stretch)
        header.setSectionResizeMode(2, QHeaderView.ResizeMode.ResizeToContents)
        header.setHighlightSections(False)
        self.currentCellChanged.connect(self._tell_selected)
        self.itemChanged.connect(self._tell_chosen)

    def show_takes(self, setup: Setup, takes: Sequence[TakeOnSetup]) -> None:
        with QSignalBlocker(self):
            self.setRowCount(len(takes))
            for number, take in enumerate(takes):
                name = f"{take.session.name} (on the desk)" if take.on_desk else take.session.name
                ticked = Qt.CheckState.Checked if take.is_chosen else Qt.CheckState.Unchecked
                choice = choice_text(take) if take.is_chosen else "done" if take.done else "left out"
                for column, text in enumerate((name, take_state(setup, take), choice)):
                    item = cell(self, number, column)
                    item.setText(text)
                    item.setToolTip(plain_tip("\n".join((text, *take.problems) if column == 0 else (text,))))
                first = cell(self, number, 0)
                first.setFlags(first.flags() | Qt.ItemFlag.ItemIsUserCheckable)
                first.setCheckState(ticked)
            if takes and self.currentRow() < 0:
                self.setCurrentCell(0, 0)

    def show_measuring(self, number: int, fraction: float) -> None:
        """The take that is being measured, 0..1 done."""
        if 0 <= number < self.rowCount():
            with QSignalBlocker(self):
                cell(self, number, 1).setText(f"being measured: {100 * fraction:.0f} %")

    def select(self, number: int) -> None:
        self.setCurrentCell(number, 0)

    def _tell_selected(self, row: int, _column: int, old_row: int, _old_column: int) -> None:
        if row != old_row and row >= 0:
            self.take_selected.emit(row)

    def _tell_chosen(self, item: QTableWidgetItem) -> None:
        if item.column() == 0:
            self.chosen_requested.emit(item.row(), item.checkState() == Qt.CheckState.Checked)
