"""The takes list: a line a take, what can be done with all or the chosen ones above it."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QItemSelectionModel, Qt, Signal
from PySide6.QtGui import QKeyEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHeaderView,
    QProgressBar,
    QPushButton,
    QTableView,
    QVBoxLayout,
    QWidget,
)

from lagline.day.values import Day, DayTake
from lagline.desk.commands import command
from lagline.desk.day.sum_picture import HIGH, WIDE, SumPicture
from lagline.desk.day.takes_model import DIFFERS, SUM, TAKE, Found, TakesModel
from lagline.desk.panels.flow import FlowLayout
from lagline.desk.panels.themed import Themed, plain_label, shown
from lagline.desk.theme import GAP, MARGIN, PAD, Theme

LEAST_HEIGHT = 120
BUTTONS = (
    ("takes_measure", "Measure", "Measure the chosen takes, or all that are not measured yet"),
    ("takes_setup", "Hold against…", "A setup, a take, or where the lanes usually are"),
    ("takes_accept", "Accept where nothing differs", "Line up the measured takes in which nothing differs"),
    ("takes_accept_moved", "Accept as measured", "Line up the others too, what moved where it was measured"),
    ("takes_decide", "Decide…", "One version for all: the balance as in one take, and whose timing"),
    ("takes_deliver", "Deliver…", "Deliver all with one form, one delay sheet and one report"),
    ("takes_retry", "Try the failed again", "Do once more what failed"),
)  # fmt: skip


class TakesTable(QTableView):
    """Enter and a double click open a take."""

    open_asked = Signal(int)  # row

    def __init__(self, model: TakesModel) -> None:
        super().__init__()
        self.setModel(model)
        self.setAccessibleName("Takes")
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setSelectionMode(QAbstractItemView.SelectionMode.ExtendedSelection)
        self.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setTabKeyNavigation(False)
        self.setWordWrap(False)
        self.setShowGrid(False)
        self.setItemDelegateForColumn(SUM, SumPicture(self))
        rows = self.verticalHeader()
        rows.hide()
        rows.setSectionResizeMode(QHeaderView.ResizeMode.Fixed)  # no line is measured: scrolling stays quick
        rows.setDefaultSectionSize(HIGH + 2 * GAP)
        header = self.horizontalHeader()
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        header.setHighlightSections(False)
        header.setSectionResizeMode(QHeaderView.ResizeMode.Interactive)
        header.setSectionResizeMode(DIFFERS, QHeaderView.ResizeMode.Stretch)
        for column, letters in enumerate((22, 7, 6, 11, 14)):
            self.setColumnWidth(column, letters * self.fontMetrics().averageCharWidth() + 2 * PAD)
        self.setColumnWidth(SUM, WIDE)
        self.doubleClicked.connect(self._ask_clicked)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.key() in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and self.currentIndex().isValid():
            self.open_asked.emit(self.currentIndex().row())
        else:
            super().keyPressEvent(event)

    def _ask_clicked(self) -> None:
        self.open_asked.emit(self.currentIndex().row())


class TakesPanel(Themed):
    """Shows a day and asks for what the engineer wants; does nothing itself.

    Receives `show_day(day)`, `show_differences(found)`, `show_open(name)`, `show_progress(fraction, words)`,
    `show_idle()`.

    Signals
    -------
    open_requested(str name) : this take onto the desk.
    command_requested(str command_id) : a button of that command.
    stop_requested() : stop what is under way.
    """

    open_requested = Signal(str)
    command_requested = Signal(str)
    stop_requested = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName("Takes list")
        self.model = TakesModel(self)
        self.table = TakesTable(self.model)
        self.table.open_asked.connect(self._ask_open)
        self._day: Day | None = None
        self._is_busy = False
        self._heading = plain_label(wrap=False)
        self._heading.setProperty("heading", True)
        self._summary = plain_label()
        self._summary.setProperty("muted", True)
        self.buttons: dict[str, QPushButton] = {}
        self._progress = QProgressBar()
        self._progress.setRange(0, 100)
        self._progress.setAccessibleName("Work on the takes")
        self._progress.setFixedWidth(240)
        self._stop = QPushButton("Stop")
        self._stop.setToolTip("Stop the work on the takes; what is done is kept (Esc)")
        self._stop.clicked.connect(self.stop_requested)
        self._lay_out()
        self.setMinimumHeight(LEAST_HEIGHT)
        self.show_idle()
        self.follow_theme()

    def _lay_out(self) -> None:
        head = FlowLayout()
        head.addWidget(self._heading)
        for command_id, text, tip in BUTTONS:
            button = QPushButton(text)
            keys = command(command_id).keys
            button.setToolTip(f"{tip} ({keys[0]})" if keys else tip)
            button.clicked.connect(_Ask(self, command_id))
            self.buttons[command_id] = button
            head.addWidget(button)
        head.addWidget(self._progress)
        head.addWidget(self._stop)
        column = QVBoxLayout(self)
        column.setContentsMargins(MARGIN, GAP, MARGIN, GAP)
        column.setSpacing(GAP)
        column.addLayout(head)
        column.addWidget(self._summary)
        column.addWidget(self.table, 1)

    @property
    def chosen(self) -> tuple[DayTake, ...]:
        """The chosen lines, in the order of the list; all where fewer than two are chosen."""
        rows = sorted(index.row() for index in self.table.selectionModel().selectedRows())
        takes = self.model.takes
        return tuple(takes[row] for row in rows) if len(rows) > 1 else takes

    def show_day(self, day: Day | None) -> None:
        self._day = day
        self.model.show_day(day)
        shown(self._heading, day.name if day is not None else "")
        shown(self._summary, summary_words(day.takes) if day is not None else "")
        self._enable()

    def show_differences(self, found: Found) -> None:
        self.model.show_differences(found)
        differ = sum(bool(one) for one in found.values())
        if self._day is not None:
            more = f" {differ} differ." if differ != 1 else " 1 differs."
            shown(self._summary, summary_words(self._day.takes) + (more if differ else ""))

    def show_open(self, name: str) -> None:
        """The take that is on the desk; its line has the cursor."""
        self.model.show_open(name)
        row = self.model.row_of(name)
        if row is not None:
            index = self.model.index(row, TAKE)
            if len(self.table.selectionModel().selectedRows()) < 2:
                self.table.setCurrentIndex(index)
            self.table.scrollTo(index)

    def choose(self, names: Sequence[str]) -> None:
        """Choose these lines."""
        selection = self.table.selectionModel()
        selection.clearSelection()
        flags = QItemSelectionModel.SelectionFlag.Select | QItemSelectionModel.SelectionFlag.Rows
        for name in names:
            row = self.model.row_of(name)
            if row is not None:
                selection.select(self.model.index(row, 0), flags)

    def show_progress(self, fraction: float, words: str) -> None:
        self._is_busy = True
        self._progress.setValue(round(100 * fraction))
        self._progress.setFormat(words)
        self._progress.setAccessibleDescription(words)
        self._enable()

    def show_idle(self) -> None:
        self._is_busy = False
        self._enable()

    def apply_theme(self, theme: Theme) -> None:
        self.model.show_theme(theme)

    def _enable(self) -> None:
        self._progress.setVisible(self._is_busy)
        self._stop.setVisible(self._is_busy)
        takes = self._day.takes if self._day is not None else ()
        for command_id, button in self.buttons.items():
            button.setEnabled(bool(takes) and not self._is_busy)
            button.setVisible(command_id != "takes_retry" or any(take.error for take in takes))

    def _ask_open(self, row: int) -> None:
        self.open_requested.emit(self.model.takes[row].name)


class _Ask:
    """A button's click as the command it stands for."""

    def __init__(self, panel: TakesPanel, command_id: str) -> None:
        self._panel, self._command_id = panel, command_id

    def __call__(self, _checked: bool = False) -> None:
        self._panel.command_requested.emit(self._command_id)


def summary_words(takes: Sequence[DayTake]) -> str:
    """`40 takes: 3 new, 37 measured; 2 with faults, 1 failed.`"""
    counts = {state: sum(take.state == state for take in takes) for state in _STATES}
    said = ", ".join(f"{count} {state}" for state, count in counts.items() if count)
    faulty, failed = sum(bool(take.faults) for take in takes), sum(bool(take.error) for take in takes)
    more = [f"{faulty} with faults"] * bool(faulty) + [f"{failed} failed"] * bool(failed)
    number = f"{len(takes)} takes" if len(takes) != 1 else "1 take"
    return f"{number}: {said}" + (f"; {', '.join(more)}." if more else ".")


_STATES = ("new", "measured", "lined up", "decided", "delivered")
