"""Find a command by its words and run it."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QEvent, QObject, Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import QDialog, QLineEdit, QListWidget, QListWidgetItem, QVBoxLayout, QWidget

from lagline.desk.commands import COMMANDS, Command, matching
from lagline.desk.dialogs.keyboard_map import keys_text


class CommandSearch(QDialog):
    chosen = Signal(str)  # command id

    def __init__(self, is_enabled: Callable[[str], bool], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Find a command")
        self._is_enabled = is_enabled
        self.words = QLineEdit()
        self.words.setPlaceholderText("A word or two, such as: loop view")
        self.words.setAccessibleName("Words of the command")
        self.list = QListWidget()
        self.list.setAccessibleName("Matching commands")
        self.list.setUniformItemSizes(True)
        column = QVBoxLayout(self)
        column.addWidget(self.words)
        column.addWidget(self.list, 1)
        self.words.textChanged.connect(self._fill)
        self.words.returnPressed.connect(self._run)
        self.list.itemActivated.connect(self._run)
        self.words.installEventFilter(self)
        self._fill("")
        self.words.setFocus()
        self.resize(520, 380)

    def _fill(self, words: str) -> None:
        self.list.clear()
        for command in matching(words) if words.strip() else COMMANDS:
            if command.id != "search":
                self.list.addItem(self._item(command))
        self.list.setCurrentRow(0)

    def _item(self, command: Command) -> QListWidgetItem:
        where = ", ".join(filter(None, (f"{command.menu} menu", keys_text(command))))
        item = QListWidgetItem(f"{command.text}   ({where})")
        item.setData(Qt.ItemDataRole.UserRole, command.id)
        if not self._is_enabled(command.id):
            item.setFlags(item.flags() & ~Qt.ItemFlag.ItemIsEnabled)
        return item

    def _run(self, _item: object = None) -> None:
        item = self.list.currentItem()
        if item is not None and item.flags() & Qt.ItemFlag.ItemIsEnabled:
            self.accept()
            self.chosen.emit(item.data(Qt.ItemDataRole.UserRole))

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Up and Down move in the list while the words keep the focus."""
        if isinstance(event, QKeyEvent) and event.type() == QEvent.Type.KeyPress:
            step = {Qt.Key.Key_Up: -1, Qt.Key.Key_Down: 1}.get(Qt.Key(event.key()))
            if step is not None and self.list.count():
                self.list.setCurrentRow(min(max(self.list.currentRow() + step, 0), self.list.count() - 1))
                return True
        return super().eventFilter(watched, event)
