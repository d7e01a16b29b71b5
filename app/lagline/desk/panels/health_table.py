"""The health of the recordings: what is wrong with each and what to do, in plain sentences."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QColor, QResizeEvent, QShowEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QDialog,
    QDialogButtonBox,
    QHeaderView,
    QStackedLayout,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from lagline.desk.panels.empty_state import EmptyState
from lagline.desk.panels.health_rows import HealthRow
from lagline.desk.panels.themed import Themed, plain_label
from lagline.desk.plain import plain_tip
from lagline.desk.theme import MARGIN, PAD, Theme

NARROW_PX = 520  # below this the facts stand under the name instead of in a column of their own
MARKS = {"problem": "⚠", "note": "•", "well": "✓"}
SPOKEN = {"problem": "problem", "note": "note", "well": "all well"}


class HealthTable(Themed):
    """A row a recording: name, facts, sentences.

    Receives `show_rows(rows)` of `health_rows.health_rows`.

    Signals
    -------
    lane_selected(str lane_id) : show this lane; a row was chosen.
    """

    lane_selected = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName("Health of the recordings")
        self._rows: tuple[HealthRow, ...] = ()
        self._is_narrow = False
        self._table = QTableWidget(0, 3)
        self._table.setAccessibleName("Health of the recordings")
        self._table.setHorizontalHeaderLabels(["Recording", "Facts", "What to know, what to do"])
        self._table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self._table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self._table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self._table.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self._table.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self._table.setTabKeyNavigation(False)
        self._table.setWordWrap(True)
        self._table.verticalHeader().hide()
        header = self._table.horizontalHeader()
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        header.setSectionResizeMode(0, QHeaderView.ResizeMode.Interactive)
        header.setSectionResizeMode(1, QHeaderView.ResizeMode.Interactive)
        header.setSectionResizeMode(2, QHeaderView.ResizeMode.Stretch)
        header.setHighlightSections(False)
        self._table.itemSelectionChanged.connect(self._selected)
        self._empty = EmptyState(
            "No recordings yet",
            "Open a take to see what is wrong with each recording before you trust it.",
        )
        self._pages = QStackedLayout(self)
        self._pages.addWidget(self._empty)
        self._pages.addWidget(self._table)
        self.follow_theme()

    def show_rows(self, rows: Sequence[HealthRow]) -> None:
        """One row a recording; none shows how to get there."""
        self._rows = tuple(rows)
        self._pages.setCurrentIndex(1 if self._rows else 0)
        self._fill()

    def summary(self) -> str:
        """One sentence over all rows."""
        bad = sum(row.grade == "problem" for row in self._rows)
        if not self._rows:
            return "No recordings."
        noted = sum(row.grade == "note" for row in self._rows)
        if not bad and noted:
            some = "1 recording has a note" if noted == 1 else f"{noted} recordings have notes"
            return f"Nothing needs mending; {some} to keep in mind."
        if not bad:
            return "Nothing is wrong with these recordings, as far as can be measured."
        return "1 entry needs a look." if bad == 1 else f"{bad} entries need a look."

    def apply_theme(self, theme: Theme) -> None:
        self._fill()

    def _fill(self) -> None:
        theme = self.theme
        narrow = self._is_narrow = self.width() < NARROW_PX
        self._table.setColumnHidden(1, narrow)
        self._table.setRowCount(len(self._rows))
        for number, row in enumerate(self._rows):
            head = f"{MARKS[row.grade]} {row.name}"
            if row.file and row.file != row.name:
                head += f"\n{row.file}"
            if narrow and row.facts:
                head += "\n" + row.facts.replace(" · ", "\n")
            facts = row.facts.replace(" · ", "\n")
            items = []
            for column, text in enumerate((head, facts, "\n".join(row.sentences))):
                item = QTableWidgetItem(text)
                item.setTextAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignTop)
                self._table.setItem(number, column, item)
                items.append(item)
            name, _facts, said = items
            name.setForeground(QColor(theme.warning if row.grade == "problem" else theme.text))
            name.setData(Qt.ItemDataRole.AccessibleTextRole, f"{row.name}, {SPOKEN[row.grade]}")
            said.setToolTip(plain_tip("\n".join(row.sentences)))
            if row.grade == "well":
                said.setForeground(QColor(theme.text_muted))
        self._fit()

    def _fit(self) -> None:
        width = self._table.viewport().width()
        self._table.setColumnWidth(0, min(max(width * 3 // 10, 110), 240))
        self._table.setColumnWidth(1, 130)
        self._table.resizeRowsToContents()

    def _selected(self) -> None:
        number = self._table.currentRow()
        if self._table.selectedItems() and 0 <= number < len(self._rows):
            lane_id = self._rows[number].lane_id
            if lane_id is not None:
                self.lane_selected.emit(lane_id)

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        if (event.size().width() < NARROW_PX) != self._is_narrow:
            self._fill()
        else:
            self._fit()

    def showEvent(self, event: QShowEvent) -> None:
        super().showEvent(event)
        self._fit()


class HealthDialog(QDialog):
    """The table in a window of its own. `table.lane_selected` tells of a chosen lane."""

    def __init__(self, rows: Sequence[HealthRow], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Health of the recordings")
        self.table = HealthTable()
        self._summary = plain_label()
        self._summary.setProperty("heading", True)
        buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Close)
        buttons.rejected.connect(self.reject)
        column = QVBoxLayout(self)
        column.setContentsMargins(MARGIN, MARGIN, MARGIN, MARGIN)
        column.setSpacing(PAD)
        column.addWidget(self._summary)
        column.addWidget(self.table, 1)
        column.addWidget(buttons)
        self.resize(760, 480)
        self.show_rows(rows)

    def show_rows(self, rows: Sequence[HealthRow]) -> None:
        """One row a recording, and their sum in a sentence."""
        self.table.show_rows(rows)
        self._summary.setText(self.table.summary())
