"""Two versions side by side, lane by lane, and the way to a blind trial of them."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHBoxLayout,
    QHeaderView,
    QPushButton,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from lagline.desk.panels.chooser import Chooser
from lagline.desk.panels.themed import plain_label, shown
from lagline.desk.panels.version_texts import LaneDifference, all_versions, differences, trial_lines
from lagline.desk.theme import GAP
from lagline.session.values import ORIGINAL_ID, Session

NARROW_PX = 400


class VersionComparison(QWidget):
    """Shows a version against another one that is chosen here.

    Signals: trial_requested(str first_id, str second_id): compare these two blind.
    """

    trial_requested = Signal(str, str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session: Session | None = None
        self._version_id: str | None = None
        self._compared: tuple[LaneDifference, ...] = ()
        self._other = Chooser("Compare with", "The version the chosen one is compared with")
        self._other.currentIndexChanged.connect(self._refresh)
        self._trial = QPushButton("Blind trial …")
        self._trial.setToolTip("Compare these two without knowing which is which (Ctrl+B)")
        self._trial.clicked.connect(self._ask_trial)
        self._trials = plain_label(selectable=True)
        self._trials.setAccessibleName("Blind trials of this version")
        self._table = QTableWidget(0, 3)
        self._table.setAccessibleName("Differences, lane by lane")
        self._table.setHorizontalHeaderLabels(["Lane", "Shift, samples", "Difference"])
        self._table.verticalHeader().hide()
        self._table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self._table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self._table.setTabKeyNavigation(False)
        self._table.setMinimumHeight(100)
        header = self._table.horizontalHeader()
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        header.setSectionResizeMode(0, QHeaderView.ResizeMode.Stretch)
        for column, longest in ((1, "+100.00 → +1000.00 ⊖"), (2, "+1000.00, flip")):
            header.setSectionResizeMode(column, QHeaderView.ResizeMode.Fixed)
            header.resizeSection(column, self.fontMetrics().horizontalAdvance(longest) + 2 * GAP)
        line = QHBoxLayout()
        line.addWidget(self._other, 1)
        line.addWidget(self._trial)
        column_of_all = QVBoxLayout(self)
        column_of_all.setContentsMargins(0, 0, 0, 0)
        column_of_all.setSpacing(GAP)
        column_of_all.addLayout(line)
        column_of_all.addWidget(self._trials)
        column_of_all.addWidget(self._table, 1)
        self.setFocusProxy(self._other)

    def show_version(self, session: Session | None, version_id: str | None) -> None:
        """Compare this version with another, Original at first."""
        self._session, self._version_id = session, version_id
        versions = all_versions(session) if session is not None else ()
        others = [(version.name, version.id) for version in versions if version.id != version_id]
        usual = ORIGINAL_ID
        if session is not None and version_id == ORIGINAL_ID:
            usual = session.current_version_id
        self._other.offer(others, usual)
        self._other.setEnabled(version_id is not None)
        lines = trial_lines(session, version_id) if session is not None and version_id is not None else ()
        shown(self._trials, "\n".join(lines))
        self._trials.setVisible(bool(lines))
        self._refresh()

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        # The two shifts say it all; where there is no room the names of the lanes matter more.
        self._table.setColumnHidden(2, event.size().width() < NARROW_PX)

    def _refresh(self) -> None:
        session, version_id, other_id = self._session, self._version_id, self._other.currentData()
        rows: tuple[LaneDifference, ...] = ()
        if session is not None and version_id is not None and other_id is not None:
            rows = differences(session, session.version(other_id), session.version(version_id))
        if rows != self._compared:
            self._compared = rows
            self._fill(rows)
        self._trial.setEnabled(version_id is not None and other_id not in (None, version_id))

    def _fill(self, rows: tuple[LaneDifference, ...]) -> None:
        self._table.setRowCount(len(rows))
        for number, row in enumerate(rows):
            for place, text in enumerate((row.name, f"{row.first} → {row.second}", row.difference)):
                cell = self._table.item(number, place)
                if cell is None:
                    cell = QTableWidgetItem()
                    self._table.setItem(number, place, cell)
                if cell.text() != text:
                    cell.setText(text)
                cell.setToolTip(row.in_ms)

    def _ask_trial(self) -> None:
        other_id = self._other.currentData()
        if self._version_id is not None and other_id is not None:
            self.trial_requested.emit(other_id, self._version_id)
