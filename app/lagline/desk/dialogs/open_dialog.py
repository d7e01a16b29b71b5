"""Choose recordings, and see how they are before they are opened."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QColor
from PySide6.QtWidgets import (
    QAbstractItemView,
    QFileDialog,
    QFileSystemModel,
    QGridLayout,
    QHeaderView,
    QLabel,
    QListView,
    QTableWidget,
    QTableWidgetItem,
    QWidget,
)

from lagline.desk.panels.health_table import MARKS
from lagline.desk.panels.latest import LatestTask
from lagline.desk.plain import plain_tip
from lagline.desk.reading.file_health import FileHealth, check_files
from lagline.desk.theme import theme_of
from lagline.files import is_folder
from lagline.session.storage import SUFFIX

TABLE_PX = 150
COLUMNS = ("Recording", "Facts", "Health")


class OpenDialog(QFileDialog):
    """Qt's own file dialog with a table of what is chosen below its list: facts at once, health as each
    recording is read in the background."""

    _told = Signal(object)  # FileHealth, from the reading thread

    def __init__(self, title: str, folder: Path, filters: str, parent: QWidget | None = None) -> None:
        super().__init__(parent, title, str(folder), filters)
        self.setOption(QFileDialog.Option.DontUseNativeDialog)
        self.setFileMode(QFileDialog.FileMode.ExistingFiles)
        self._paths: tuple[Path, ...] = ()
        self._task = LatestTask("health of recordings", self)
        self._told.connect(self._show_health)
        self._hint = QLabel("Choose recordings of one performance to see what state they are in.")
        self._hint.setProperty("muted", True)
        self.table = QTableWidget(0, len(COLUMNS))
        self.table.setAccessibleName("Health of the chosen recordings")
        self.table.setHorizontalHeaderLabels(list(COLUMNS))
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.NoSelection)
        self.table.setTabKeyNavigation(False)
        self.table.setWordWrap(True)
        self.table.verticalHeader().hide()
        self.table.verticalHeader().setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header = self.table.horizontalHeader()
        for column in (0, 1):
            header.setSectionResizeMode(column, QHeaderView.ResizeMode.ResizeToContents)
        header.setSectionResizeMode(2, QHeaderView.ResizeMode.Stretch)
        self.table.setMinimumHeight(TABLE_PX)
        layout = self.layout()
        assert isinstance(layout, QGridLayout)
        below = layout.rowCount()
        layout.addWidget(self._hint, below, 0, 1, -1)
        layout.addWidget(self.table, below + 1, 0, 1, -1)
        self.finished.connect(self._stop)
        self.resize(860, 600)
        view = self.findChild(QListView, "listView")
        assert view is not None
        self._selection = view.selectionModel()
        self._selection.selectionChanged.connect(self._chosen_changed)

    @property
    def chosen(self) -> list[Path]:
        """The files that were chosen."""
        return [Path(name) for name in self.selectedFiles()]

    def _chosen_changed(self) -> None:
        marked = [
            Path(index.data(QFileSystemModel.Roles.FilePathRole))
            for index in sorted(self._selection.selectedIndexes(), key=lambda index: index.row())
            if index.column() == 0
        ]
        paths = tuple(path for path in marked if path.suffix != SUFFIX and not is_folder(path))
        if paths == self._paths:
            return
        self._paths = paths
        self.table.setRowCount(len(paths))
        for row, path in enumerate(paths):
            self._put(row, 0, path.name)
            for column in (1, 2):
                self._put(row, column, "")
        self._hint.setVisible(not paths)
        self._task.ask(partial(self._check, paths))

    def _check(self, paths: tuple[Path, ...], cancelled: Callable[[], bool]) -> None:
        """On the reading thread."""
        check_files(paths, self._told.emit, cancelled)

    def _show_health(self, found: FileHealth) -> None:
        if found.path not in self._paths and found.path.absolute() not in self._paths:
            return  # no longer chosen
        row = next(i for i, path in enumerate(self._paths) if path.absolute() == found.path.absolute())
        self._put(row, 1, found.facts)
        item = self._put(row, 2, f"{MARKS.get(found.grade, '')} {' '.join(found.sentences)}".strip())
        if found.grade == "problem":
            item.setForeground(QColor(theme_of(self.palette()).danger))

    def _put(self, row: int, column: int, text: str) -> QTableWidgetItem:
        item = QTableWidgetItem(text)
        item.setToolTip(plain_tip(text))
        item.setTextAlignment(Qt.AlignmentFlag.AlignTop)
        self.table.setItem(row, column, item)
        return item

    def _stop(self) -> None:
        self._task.close()
