"""Deliver combinations: which ones, into which folder, in which form."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import partial
from pathlib import Path

from msgspec.structs import replace
from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtWidgets import (
    QCheckBox,
    QFormLayout,
    QHBoxLayout,
    QLineEdit,
    QListWidget,
    QListWidgetItem,
    QProgressBar,
    QPushButton,
    QVBoxLayout,
    QWidget,
)

from lagline.combinations.cells import Cell
from lagline.deliver.options import DEFAULTS, DeliveryOptions
from lagline.desk.panels.chooser import Chooser
from lagline.desk.panels.themed import plain_label, shown
from lagline.desk.stoppable import StoppableDialog
from lagline.desk.theme import MARGIN, PAD

TITLE = "Deliver combinations"
_ROW = 26  # pixels


class CellsDialog(StoppableDialog):
    """`names`: of each cell, in the order of the board. `ticked`: to begin with.

    Receives: `show_folder(path)` (the answer to `folder_requested`), `show_progress(fraction)`,
    `show_ended(text)`.

    Signals
    -------
    folder_requested(Path or None) : ask the person for a folder, starting there.
    deliver_requested(tuple of Cell, Path, DeliveryOptions) : write them.
    cancel_requested() : stop what is being written.
    """

    folder_requested = Signal(object)
    deliver_requested = Signal(tuple, object, object)

    def __init__(
        self,
        names: Mapping[Cell, str],
        ticked: Iterable[Cell],
        starred: Iterable[Cell],
        parent: QWidget | None = None,
    ) -> None:
        super().__init__(parent)
        self.setWindowTitle(TITLE)
        self.setAccessibleName(TITLE)
        self._cells = tuple(names)
        self._list = QListWidget()
        self._list.setAccessibleName("Combinations to deliver")
        self._list.setToolTip("Space ticks a combination")
        for name in names.values():
            item = QListWidgetItem(name)
            item.setSizeHint(QSize(0, _ROW))
            item.setFlags(item.flags() | Qt.ItemFlag.ItemIsUserCheckable)
            self._list.addItem(item)
        self._folder = QLineEdit()
        self._folder.setAccessibleName("Folder to write into")
        self._folder.setToolTip("Where the files go. It is made if it is not there.")
        self._choose = _button("Choose …", "Choose a folder", self._ask_folder)
        self._depth = Chooser("Bit depth", "Of the printed combinations")
        self._depth.offer(
            [
                ("as recorded", "source"),
                ("16 bit", "16"),
                ("24 bit", "24"),
                ("32-bit float", "float"),
            ],
            DEFAULTS.depth,
        )
        self._replace = QCheckBox("Replace files of the same name")
        self._replace.setToolTip("Otherwise nothing is written where a file is in the way")
        self._bar = QProgressBar()
        self._bar.setRange(0, 1000)
        self._said = plain_label(selectable=True)
        self._said.setAccessibleName("Result")
        self._deliver = _button("Deliver", "Write the ticked combinations (Enter)", self._ask_deliver)
        self._deliver.setDefault(True)
        self._deliver.setMinimumWidth(self._deliver.sizeHint().width() + 3 * PAD)  # bold, with a number
        self._close = _button("Close", "Close, or stop what is being written (Esc)", self.reject)
        self._tick(ticked)
        self._list.itemChanged.connect(self._refresh)
        self._folder.textChanged.connect(self._refresh)
        self._lay_out(tuple(starred))
        self.show_ended("")
        self._folder.setFocus()
        first = self.ticked[:1]
        if first:
            self._list.setCurrentRow(self._cells.index(first[0]))
        self.resize(520, 560)

    def _lay_out(self, starred: tuple[Cell, ...]) -> None:
        ticks = QHBoxLayout()
        for text, tip, cells in (
            ("All", "Tick all", self._cells),
            ("None", "Tick none", ()),
            ("With stars", "Tick those you gave stars", starred),
        ):
            ticks.addWidget(_button(text, tip, partial(self._tick, cells)))
        ticks.addStretch(1)
        folder = QHBoxLayout()
        folder.addWidget(self._folder, 1)
        folder.addWidget(self._choose)
        form = QFormLayout()
        form.addRow("Folder", folder)
        form.addRow("Bit depth", self._depth)
        foot = QHBoxLayout()
        foot.addStretch(1)
        foot.addWidget(self._close)
        foot.addWidget(self._deliver)
        column = QVBoxLayout(self)
        column.setContentsMargins(MARGIN, MARGIN, MARGIN, MARGIN)
        column.setSpacing(PAD)
        column.addWidget(
            plain_label(
                "Each as a file of its own, named by its lanes, all as loud as the quietest of them, with a "
                "sheet of what is in each."
            )
        )
        column.addWidget(self._list, 1)
        column.addLayout(ticks)
        column.addLayout(form)
        column.addWidget(self._replace)
        column.addWidget(self._bar)
        column.addWidget(self._said)
        column.addLayout(foot)

    @property
    def ticked(self) -> tuple[Cell, ...]:
        """In the order of the board."""
        return tuple(
            cell
            for at, cell in enumerate(self._cells)
            if self._list.item(at).checkState() == Qt.CheckState.Checked
        )

    def show_folder(self, folder: Path | None) -> None:
        """The folder to write into."""
        if folder is not None:
            self._folder.setText(str(folder))

    def show_progress(self, fraction: float) -> None:
        """How far it is, 0 to 1."""
        self._bar.setValue(round(1000 * fraction))

    def show_ended(self, text: str) -> None:
        """Nothing is being written; how that came."""
        self._is_busy = False
        self._bar.hide()
        shown(self._said, text)
        self._refresh()

    def _tick(self, cells: Iterable[Cell], *_: object) -> None:
        chosen = set(cells)
        for at, cell in enumerate(self._cells):
            self._list.item(at).setCheckState(
                Qt.CheckState.Checked if cell in chosen else Qt.CheckState.Unchecked
            )

    def _refresh(self, *_: object) -> None:
        count = len(self.ticked)
        self._deliver.setText(f"Deliver {count}" if count else "Deliver")
        self._deliver.setEnabled(bool(count) and bool(self._folder.text().strip()) and not self._is_busy)
        self._list.setEnabled(not self._is_busy)

    def _ask_folder(self) -> None:
        written = self._folder.text().strip()
        self.folder_requested.emit(Path(written).expanduser() if written else None)

    def _ask_deliver(self) -> None:
        options: DeliveryOptions = replace(
            DEFAULTS, depth=self._depth.currentData(), overwrite=self._replace.isChecked()
        )
        self._is_busy = True
        shown(self._said, "")
        self._bar.setValue(0)
        self._bar.show()
        self._refresh()
        self.deliver_requested.emit(self.ticked, Path(self._folder.text().strip()).expanduser(), options)


def _button(text: str, tip: str, asked: Callable[..., object]) -> QPushButton:
    button = QPushButton(text)
    button.setToolTip(tip)
    button.setAutoDefault(False)
    button.clicked.connect(asked)
    return button
