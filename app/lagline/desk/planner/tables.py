"""A table that is only read: it copies to other programs as tab-separated text."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt
from PySide6.QtGui import QGuiApplication, QKeyEvent, QKeySequence
from PySide6.QtWidgets import (
    QAbstractItemView,
    QStackedLayout,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from lagline.desk.panels.empty_state import EmptyState
from lagline.desk.panels.themed import plain_label
from lagline.desk.plain import plain_tip
from lagline.desk.planner.figures import Rows
from lagline.desk.theme import GAP


class ReadingTable(QTableWidget):
    """Shows rows of text under headings; `left` are the columns of words, numbers stand right.

    A cell may have several lines; copied, they stand behind one another.
    """

    def __init__(
        self, name: str, headings: Sequence[str], left: Sequence[int] = (0,), parent: QWidget | None = None
    ) -> None:
        super().__init__(0, len(headings), parent)
        self._headings, self._left = tuple(headings), frozenset(left)
        self._rows: Rows = ()
        self.setHorizontalHeaderLabels(list(headings))
        self.setAccessibleName(name)
        self.verticalHeader().setVisible(False)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setAlternatingRowColors(True)
        self.setTabKeyNavigation(False)
        self.setWordWrap(False)
        self.horizontalHeader().setStretchLastSection(True)

    def show_rows(self, rows: Rows) -> None:
        """Fill the table; each row as long as the headings."""
        is_new = [cells[0] for cells in rows] != [cells[0] for cells in self._rows]
        self._rows = rows
        self.setRowCount(len(rows))
        for row, cells in enumerate(rows):
            for column, text in enumerate(cells):
                item = self.item(row, column)
                if item is None:
                    item = QTableWidgetItem()
                    side = Qt.AlignmentFlag.AlignLeft if column in self._left else Qt.AlignmentFlag.AlignRight
                    item.setTextAlignment(side | Qt.AlignmentFlag.AlignVCenter)
                    self.setItem(row, column, item)
                if item.text() != text:
                    item.setText(text)
                    item.setToolTip(plain_tip(text))
        if is_new:  # not at every step of a drag: measuring all cells is slow
            self.resizeColumnsToContents()
            self._make_room()

    def _make_room(self) -> None:
        """Rows as tall as their lines of text, with air above and below."""
        usual = self.verticalHeader().defaultSectionSize()
        for row in range(self.rowCount()):
            self.setRowHeight(row, max(usual, self.sizeHintForRow(row) + 2 * GAP))

    def as_text(self) -> str:
        """All rows with their headings, tab between cells."""
        return "\n".join(
            "\t".join(cell.replace("\n", ", ") for cell in line) for line in (self._headings, *self._rows)
        )

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.matches(QKeySequence.StandardKey.Copy):
            QGuiApplication.clipboard().setText(self.as_text())
        else:
            super().keyPressEvent(event)


class NotedTable(QWidget):
    """A table with a sentence under it that says what its figures stand for.

    `empty`: title and text of what would be there, shown while there are no rows.
    """

    def __init__(
        self,
        name: str,
        headings: Sequence[str],
        left: Sequence[int] = (0,),
        *,
        note: str,
        empty: tuple[str, str],
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self.setAccessibleName(name)
        self.table = ReadingTable(name, headings, left)
        self.empty = EmptyState(*empty)
        words = plain_label(note)
        words.setProperty("muted", True)
        full = QWidget()
        column = QVBoxLayout(full)
        column.setContentsMargins(0, 0, 0, 0)
        column.setSpacing(GAP)
        column.addWidget(self.table, 1)
        column.addWidget(words)
        self._pages = QStackedLayout(self)
        self._pages.addWidget(self.empty)
        self._pages.addWidget(full)

    def show_rows(self, rows: Rows) -> None:
        """Fill the table; without rows it says how to get some."""
        self.table.show_rows(rows)
        self._pages.setCurrentIndex(1 if rows else 0)

    def as_text(self) -> str:
        """Headings and rows separated by tabs, for the clipboard."""
        return self.table.as_text()
