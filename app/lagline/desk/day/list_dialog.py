"""Make a day's list: which folders, and how takes are told apart, with a preview while it is chosen."""

from __future__ import annotations

from collections.abc import Sequence
from functools import partial
from pathlib import Path

from msgspec import Struct
from PySide6.QtCore import Qt, QTimer, Signal
from PySide6.QtWidgets import (
    QAbstractItemView,
    QDialog,
    QFormLayout,
    QHBoxLayout,
    QHeaderView,
    QLineEdit,
    QListWidget,
    QPushButton,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from lagline.day.values import Day, in_order
from lagline.desk.panels.chooser import Chooser
from lagline.desk.panels.latest import LatestTask, Stopped
from lagline.desk.panels.themed import plain_label
from lagline.desk.plain import plain_tip
from lagline.desk.questions import in_lines
from lagline.desk.theme import MARGIN, PAD
from lagline.errors import Cancelled, LaglineError
from lagline.files import readable
from lagline.jobs.find_takes import FoundTake, FoundTakes, ToldBy, find_takes

USUAL_PATTERN = "{take}_{lane}"
TYPING_MS = 300  # the preview follows when the hand rests
WAYS: tuple[tuple[str, ToldBy], ...] = (
    ("by folder: each holds one take", "folder"),
    ("by the names of the files", "name"),
    ("by take numbers in the names", "number"),
    ("by time stamps: what ran together", "time"),
)


class ListWish(Struct, frozen=True):
    """Which list is wanted."""

    roots: tuple[Path, ...]
    told_by: ToldBy
    pattern: str


class ListDialog(QDialog):
    """Asks for a list; `list_requested(ListWish)` when it is to be made.

    Signals
    -------
    list_requested(ListWish) : make it.
    folder_requested() : ask for a further folder; `add_folder` answers.
    """

    list_requested = Signal(object)
    folder_requested = Signal()

    def __init__(
        self, roots: Sequence[Path], known: Day | None = None, parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self.setWindowTitle("A day’s takes")
        self._roots = list(roots)
        self._preview = LatestTask("preview of the takes", self)
        self._preview.done.connect(self._show_preview)
        self._preview.failed.connect(self._show_failed)
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(TYPING_MS)
        self._timer.timeout.connect(self._look)
        self._make_controls(known)
        self._lay_out()
        self.resize(620, 560)
        self._show_roots()
        self._look()

    def _make_controls(self, known: Day | None) -> None:
        self._folders = QListWidget()
        self._folders.setAccessibleName("Folders with the takes")
        self._folders.setMaximumHeight(76)
        self._add = QPushButton("&Add folder …")
        self._add.setToolTip("A further folder, of another recorder or another day (Alt+A)")
        self._add.setAutoDefault(False)
        self._add.clicked.connect(self.folder_requested)
        self.told_by = Chooser("How takes are told apart", "How takes are told apart", least_letters=24)
        self.told_by.offer(WAYS, known.told_by if known is not None else "folder")
        self.told_by.currentIndexChanged.connect(self._changed)
        self.pattern = QLineEdit(known.pattern if known is not None else "")
        self.pattern.setPlaceholderText(USUAL_PATTERN)
        self.pattern.setAccessibleName("Pattern of the file names")
        self.pattern.setToolTip(
            "What of a file’s name is the take, what the lane, such as {take}_{lane}; * is anything"
        )
        self.pattern.textChanged.connect(self._changed)
        self._found = QTableWidget(0, 2)
        self._found.setAccessibleName("The takes that would be listed")
        self._found.setHorizontalHeaderLabels(["Take", "Recordings"])
        self._found.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self._found.setSelectionMode(QAbstractItemView.SelectionMode.NoSelection)
        self._found.setTabKeyNavigation(False)
        self._found.verticalHeader().hide()
        header = self._found.horizontalHeader()
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        header.setSectionResizeMode(0, QHeaderView.ResizeMode.Interactive)
        header.setSectionResizeMode(1, QHeaderView.ResizeMode.Stretch)
        self._found.setColumnWidth(0, 220)
        self._said = plain_label(selectable=True)
        self._said.setAccessibleName("What was found")
        self._make = QPushButton("List the takes")
        self._make.setToolTip("Make the list (Enter)")
        self._make.setDefault(True)
        self._make.clicked.connect(self._ask_list)
        self._cancel = QPushButton("Cancel")
        self._cancel.setToolTip("Close and change nothing (Esc)")
        self._cancel.setAutoDefault(False)
        self._cancel.clicked.connect(self.reject)

    def _lay_out(self) -> None:
        form = QFormLayout()
        form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.AllNonFixedFieldsGrow)
        form.addRow("&Told apart", self.told_by)
        form.addRow("&Pattern", self.pattern)
        where = QHBoxLayout()
        where.addWidget(self._folders, 1)
        where.addWidget(self._add, 0, Qt.AlignmentFlag.AlignTop)
        buttons = QHBoxLayout()
        buttons.addStretch(1)
        buttons.addWidget(self._cancel)
        buttons.addWidget(self._make)
        column = QVBoxLayout(self)
        column.setContentsMargins(MARGIN, MARGIN, MARGIN, MARGIN)
        column.setSpacing(PAD)
        column.addLayout(where)
        column.addLayout(form)
        column.addWidget(self._found, 1)
        column.addWidget(self._said)
        column.addLayout(buttons)

    @property
    def wish(self) -> ListWish:
        """What is chosen now."""
        pattern = self.pattern.text().strip() or USUAL_PATTERN
        told_by = self.told_by.currentData()
        return ListWish(tuple(self._roots), told_by, pattern if told_by == "name" else "")

    def add_folder(self, folder: Path) -> None:
        if folder not in self._roots:
            self._roots.append(folder)
            self._show_roots()
            self._look()

    def _show_roots(self) -> None:
        self._folders.clear()
        self._folders.addItems([readable(str(root)) for root in self._roots])

    def _changed(self) -> None:
        self._make.setEnabled(False)
        self._timer.start()

    def _look(self) -> None:
        self._timer.stop()
        self.pattern.setEnabled(self.told_by.currentData() == "name")
        self._make.setEnabled(False)
        self._said.setText("Looking …")
        self._preview.ask(partial(_looked, self.wish))

    def _show_preview(self, found: FoundTakes) -> None:
        takes = sorted(found.takes, key=lambda take: in_order(take.name))
        self._found.setRowCount(len(takes))
        for row, take in enumerate(takes):
            files = ", ".join(readable(path.name) for path in take.paths)
            for column, text in enumerate((readable(take.name), files)):
                item = QTableWidgetItem(text)
                item.setToolTip(plain_tip(text))
                self._found.setItem(row, column, item)
        count = f"{len(takes)} takes." if len(takes) != 1 else "1 take."
        self._said.setText(in_lines([count, *found.problems]))
        self._make.setEnabled(bool(takes))

    def _show_failed(self, sentence: str) -> None:
        self._found.setRowCount(0)
        self._said.setText(sentence)

    def _ask_list(self) -> None:
        self.list_requested.emit(self.wish)
        self.accept()

    def done(self, result: int) -> None:
        self._timer.stop()
        self._preview.close()
        super().done(result)


def _looked(wish: ListWish, cancelled: Stopped) -> FoundTakes:
    takes: list[FoundTake] = []
    problems: list[str] = []
    pattern = wish.pattern if wish.told_by == "name" else None
    for root in wish.roots:
        if cancelled():
            raise Cancelled
        try:
            found = find_takes(root, pattern, told_by=wish.told_by)
        except LaglineError as error:
            if len(wish.roots) == 1:
                raise
            problems.append(str(error))
            continue
        takes += found.takes
        problems += found.problems
    return FoundTakes(tuple(takes), tuple(problems))
