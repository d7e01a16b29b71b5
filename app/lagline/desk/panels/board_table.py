"""The cells of the combinations board: a row a choice of lanes, a column a timing, and keys of its own."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from msgspec import Struct
from PySide6.QtCore import QEvent, QModelIndex, QPersistentModelIndex, QSignalBlocker, Qt, Signal
from PySide6.QtGui import QColor, QKeyEvent, QMouseEvent, QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTableWidget,
    QTableWidgetItem,
)

from lagline.combinations.cells import Cell
from lagline.desk.plain import plain_tip
from lagline.desk.theme import theme_of
from lagline.session.values import MOST_STARS, Mark

STAR, HEARD = "★", "▶"
_CELL_MARGINS = 8  # pixels on either side of the words, together
_NAMES_SHARE = 0.4  # of the table, at most
_STAR_KEYS = {Qt.Key(Qt.Key.Key_0 + stars): stars for stars in range(MOST_STARS + 1)}
_OWN_KEYS = {
    Qt.Key.Key_Return,
    Qt.Key.Key_Enter,
    Qt.Key.Key_Delete,
    Qt.Key.Key_V,
    Qt.Key.Key_M,
    Qt.Key.Key_K,
    Qt.Key.Key_B,
    Qt.Key.Key_P,
    Qt.Key.Key_D,
    *_STAR_KEYS,
}


class CellLook(Struct, frozen=True):
    """What a cell of the table shows."""

    cell: Cell
    words: str
    mark: Mark = Mark()


def whole_clauses(text: str, room: int, width_of: Callable[[str], int]) -> str:
    """As many of the clauses of `text`, separated by "; ", as there is room for; the first one at least."""
    clauses = text.split("; ")
    for count in range(len(clauses), 0, -1):
        short = "; ".join(clauses[:count]) + (" …" if count < len(clauses) else "")
        if width_of(short) <= room:
            return short
    return clauses[0]


class _WholeClauses(QStyledItemDelegate):
    """Leaves out what a cell has no room for, rather than cut a clause in the middle."""

    def initStyleOption(
        self, option: QStyleOptionViewItem, index: QModelIndex | QPersistentModelIndex
    ) -> None:
        super().initStyleOption(option, index)
        room = option.rect.width() - _CELL_MARGINS
        option.text = whole_clauses(option.text, room, option.fontMetrics.horizontalAdvance)


class BoardTable(QTableWidget):
    """Arrow keys and clicks hear a cell; 1 to 5 rate it, 0 takes the stars away, Delete strikes it out or
    takes it back, V keeps it as a version, Enter hears it again, M mends it with the least change and hears
    that, K keeps what M found, B opens the balance, P the plot of the tone,
    D delivers."""

    hear_asked = Signal(object)  # Cell
    stars_asked = Signal(int)
    strike_asked = Signal()
    keep_asked = Signal()
    mend_asked = Signal()
    mend_kept = Signal()
    balance_asked = Signal()
    plot_asked = Signal()
    deliver_asked = Signal()

    def __init__(self) -> None:
        super().__init__()
        self._looks: list[list[CellLook]] = []
        self._heard = ""
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setTabKeyNavigation(False)
        self.setWordWrap(False)
        self.setItemDelegate(_WholeClauses(self))
        self.setAccessibleName("Combinations")
        self.setToolTip(
            "Arrow keys hear · 1 to 5 rate · Delete strikes out\n"
            "V keeps · M mends · B balances · P plots · D delivers"
        )
        self.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Stretch)
        self.verticalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        self.verticalHeader().setTextElideMode(Qt.TextElideMode.ElideMiddle)
        self.setMinimumHeight(4 * self.verticalHeader().defaultSectionSize())

    @property
    def current_cell(self) -> Cell | None:
        """The cell the keys act on; None in an empty table."""
        row, column = self.currentRow(), self.currentColumn()
        return self._looks[row][column].cell if row >= 0 and column >= 0 else None

    def show_looks(self, timings: Sequence[str], looks: list[list[CellLook]]) -> None:
        """`looks`: a row a choice of lanes, one a timing; the cell the keys act on stays the same one."""
        current = self.current_cell
        same_shape = [[look.cell for look in row] for row in looks] == [
            [look.cell for look in row] for row in self._looks
        ]
        self._looks = looks
        with QSignalBlocker(self):
            if not same_shape:
                self.setRowCount(len(looks))
                self.setColumnCount(len(timings))
                self.setVerticalHeaderLabels([row[0].cell.name for row in looks])
            self.setHorizontalHeaderLabels(list(timings))
            for row, line in enumerate(looks):
                for column, look in enumerate(line):
                    self._fill(row, column, look)
        if not same_shape and looks:
            self.choose(current)

    def choose(self, cell: Cell | None) -> None:
        """Let the keys act on this cell, or on the last one of the first row; nothing is heard by it."""
        places = {
            look.cell.id: (row, at) for row, line in enumerate(self._looks) for at, look in enumerate(line)
        }
        if places:
            first = 0, len(self._looks[0]) - 1
            with QSignalBlocker(self):
                self.setCurrentCell(*places.get(cell.id if cell is not None else "", first))
            self.currentCellChanged.emit(self.currentRow(), self.currentColumn(), -1, -1)

    def show_heard(self, version_id: str) -> None:
        """Mark the cell whose version is heard."""
        if version_id == self._heard:
            return
        before, self._heard = self._heard, version_id
        for row, line in enumerate(self._looks):
            for column, look in enumerate(line):
                if look.cell.id in (before, version_id):
                    self._fill(row, column, look)

    def refresh(self) -> None:
        """In the colours of the theme as it now is."""
        for row, line in enumerate(self._looks):
            for column, look in enumerate(line):
                self._fill(row, column, look)

    def _fill(self, row: int, column: int, look: CellLook) -> None:
        item = self.item(row, column)
        if item is None:
            item = QTableWidgetItem()
            self.setItem(row, column, item)
        heard = f"{HEARD} " if look.cell.id == self._heard else ""
        stars = f"{look.mark.rating}{STAR} " if look.mark.rating else ""
        text = f"{heard}{stars}{look.words}"
        if item.text() != text:
            item.setText(text)
        font = item.font()
        font.setStrikeOut(look.mark.struck)
        font.setBold(bool(heard))
        item.setFont(font)
        theme = theme_of(self.palette())
        item.setForeground(QColor(theme.text_muted if look.mark.struck else theme.text))
        item.setToolTip(plain_tip(look.words))
        states = [
            "heard" if heard else "", f"{look.mark.rating} stars" if stars else "",
            "struck out" if look.mark.struck else "", look.words,
        ]  # fmt: skip
        spoken = ", ".join(state for state in (look.cell.name, *states) if state)
        item.setData(Qt.ItemDataRole.AccessibleTextRole, spoken)

    # keys and clicks

    def resizeEvent(self, event: QResizeEvent) -> None:
        self.verticalHeader().setMaximumWidth(round(_NAMES_SHARE * event.size().width()))
        super().resizeEvent(event)
        self.scrollTo(self.currentIndex())

    def event(self, event: QEvent) -> bool:
        """The table's keys are its own while it has the focus: 1 rates, it does not hear the original."""
        if event.type() == QEvent.Type.ShortcutOverride and isinstance(event, QKeyEvent):
            plain = event.modifiers() in (Qt.KeyboardModifier.NoModifier, Qt.KeyboardModifier.KeypadModifier)
            if plain and event.key() in _OWN_KEYS:
                event.accept()
                return True
        return super().event(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        """The keys of the class; a move hears where it arrives."""
        key, before = Qt.Key(event.key()), self.current_cell
        asked = {
            Qt.Key.Key_Delete: self.strike_asked,
            Qt.Key.Key_V: self.keep_asked,
            Qt.Key.Key_M: self.mend_asked,
            Qt.Key.Key_K: self.mend_kept,
            Qt.Key.Key_B: self.balance_asked,
            Qt.Key.Key_P: self.plot_asked,
            Qt.Key.Key_D: self.deliver_asked,
        }
        if key in _STAR_KEYS:
            self.stars_asked.emit(_STAR_KEYS[key])
        elif key in asked:
            asked[key].emit()
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self._ask_hear()
        else:
            super().keyPressEvent(event)
            if self.current_cell != before:
                self._ask_hear()

    def mousePressEvent(self, event: QMouseEvent) -> None:
        """A click hears the cell, also the one chosen already."""
        super().mousePressEvent(event)
        if self.itemAt(event.position().toPoint()) is not None:
            self._ask_hear()

    def _ask_hear(self) -> None:
        cell = self.current_cell
        if cell is not None:
            self.hear_asked.emit(cell)
