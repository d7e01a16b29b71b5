"""Find a command by words and run it."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QEvent, QObject, Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QDialog,
    QHeaderView,
    QLabel,
    QLineEdit,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from lagline.desk.command_words import matching, suggestions
from lagline.desk.commands import COMMANDS, Command
from lagline.desk.dialogs.keyboard_map import keys_text
from lagline.desk.theme import TARGET


class CommandSearch(QDialog):
    """A line a command: its way through the menus, and its keys in a column of their own."""

    chosen = Signal(str)  # command id

    def __init__(self, is_enabled: Callable[[str], bool], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Find a command")
        self._is_enabled = is_enabled
        self.words = QLineEdit()
        self.words.setPlaceholderText("Words of a command")
        self.words.setAccessibleName("Words of a command")
        self.list = QTableWidget(0, 2)
        self.list.setAccessibleName("Commands found")
        self.list.setHorizontalHeaderLabels(["Command", "Keys"])
        self.list.verticalHeader().hide()
        self.list.verticalHeader().setDefaultSectionSize(TARGET)
        self.list.setShowGrid(False)
        self.list.setTabKeyNavigation(False)
        self.list.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.list.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.list.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        head = self.list.horizontalHeader()
        head.setHighlightSections(False)
        head.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        head.setSectionResizeMode(0, QHeaderView.ResizeMode.Stretch)
        head.setSectionResizeMode(1, QHeaderView.ResizeMode.ResizeToContents)
        self.nothing = QLabel()
        self.nothing.setTextFormat(Qt.TextFormat.PlainText)
        self.nothing.setWordWrap(True)
        column = QVBoxLayout(self)
        column.addWidget(self.words)
        column.addWidget(self.nothing)
        column.addWidget(self.list, 1)
        self.words.textChanged.connect(self._fill)
        self.words.returnPressed.connect(self._run)
        self.list.cellActivated.connect(self._run)
        self.words.installEventFilter(self)
        self._fill("")
        self.words.setFocus()
        self.resize(560, 420)

    def _fill(self, words: str) -> None:
        found = [one for one in (matching(words) if words.strip() else COMMANDS) if one.id != "search"]
        self.list.setRowCount(len(found))
        for row, command in enumerate(found):
            self._put(row, command)
        if found:
            self.list.setCurrentCell(0, 0)
        self.nothing.setVisible(not found)
        self.nothing.setText(f"Nothing found. Try {' or '.join(suggestions(words))}." if not found else "")

    def _put(self, row: int, command: Command) -> None:
        is_enabled = self._is_enabled(command.id)
        for column, text in enumerate((f"{command.menu} › {command.text}", keys_text(command))):
            item = QTableWidgetItem(text)
            item.setData(Qt.ItemDataRole.UserRole, command.id)
            if not is_enabled:
                item.setFlags(item.flags() & ~Qt.ItemFlag.ItemIsEnabled)
            self.list.setItem(row, column, item)

    def _run(self, *_cell: int) -> None:
        item = self.list.item(self.list.currentRow(), 0)
        if item is not None and item.flags() & Qt.ItemFlag.ItemIsEnabled:
            self.accept()
            self.chosen.emit(item.data(Qt.ItemDataRole.UserRole))

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Up and Down move in the list while the words keep the focus."""
        if isinstance(event, QKeyEvent) and event.type() == QEvent.Type.KeyPress:
            step = {Qt.Key.Key_Up: -1, Qt.Key.Key_Down: 1}.get(Qt.Key(event.key()))
            if step is not None and self.list.rowCount():
                row = min(max(self.list.currentRow() + step, 0), self.list.rowCount() - 1)
                self.list.setCurrentCell(row, 0)
                return True
        return super().eventFilter(watched, event)
