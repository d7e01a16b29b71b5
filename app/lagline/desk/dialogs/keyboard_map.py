"""Every key, by where it belongs."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtGui import QKeySequence
from PySide6.QtWidgets import (
    QDialog,
    QDialogButtonBox,
    QGridLayout,
    QHBoxLayout,
    QLabel,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from lagline.desk.commands import COMMANDS, MENUS, Command
from lagline.desk.theme import MARGIN, PAD

CONTROLS: tuple[tuple[str, str], ...] = (
    ("Tab outside the lanes", "to the next control; Shift+Tab to the previous one, from the lanes too"),
    ("Enter on a button or a box", "press it, open it; Space plays or stops, whatever has the focus"),
    ("Space in a dialog", "press the button that has the focus"),
)
BOARD: tuple[tuple[str, str], ...] = (
    ("Arrow keys, Enter", "hear another combination; the same again"),
    ("1 to 5, 0", "give it stars, take them away"),
    ("Delete", "strike it out, take it back"),
    ("V", "keep it as a version"),
    ("M, K", "mend its worst notch by the least change, the next one; keep that as a version"),
    ("B", "balance two or three: arrow keys, with Shift finely, Home all equal, Esc back"),
    ("P", "plot its tone"),
    ("D", "deliver combinations"),
)
SHARED = {"Tab", "Return", "Enter"}  # in the lanes they mean something else than on the other controls
MOUSE: tuple[tuple[str, str], ...] = (
    ("Drag over waveforms", "choose a stretch of time, and the lanes it passes"),
    ("Drag a lane’s grip ⟷", "shift the lane; it snaps to findings and whole samples. V: drag anywhere"),
    ("… with Shift", "a tenth of the speed, tenths of a sample"),
    ("… with Ctrl", "without snapping"),
    ("Click a waveform", "put the playhead there, let go of the chosen stretch"),
    ("Wheel", "zoom around the pointer"),
    ("Wheel with Shift, middle button", "pan"),
    ("Wheel with Ctrl", "taller or flatter waveforms"),
    ("Drag a header", "change the order of the lanes"),
    ("Ctrl or Shift and click headers", "choose several lanes"),
    ("Drag the ruler’s figures", "pan; a click puts the playhead"),
    ("Drag below the ruler’s figures", "make, move or change the loop; double-click takes it away"),
)


def keys_text(command: Command) -> str:
    """The keys as the person's keyboard names them."""
    native = QKeySequence.SequenceFormat.NativeText
    return " or ".join(QKeySequence(key).toString(native) for key in command.keys)


class KeyboardMap(QDialog):
    """Every key, in groups, on one page."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Keyboard map")
        body = QWidget()
        columns = [QVBoxLayout(), QVBoxLayout()]
        side_by_side = QHBoxLayout(body)
        side_by_side.setSpacing(3 * MARGIN)
        for column in columns:
            column.setSpacing(2 * MARGIN)
            side_by_side.addLayout(column, 1)
        with_keys = [one for one in COMMANDS if one.keys]
        sections = [(menu, _rows([one for one in with_keys if one.menu == menu])) for menu in MENUS]
        others = ("In the combinations", BOARD), ("Controls", CONTROLS), ("Mouse", MOUSE)
        sections = [*((menu, rows) for menu, rows in sections if rows), *others]
        heights = [0, 0]
        for title, rows in sections:
            shorter = heights.index(min(heights))
            columns[shorter].addWidget(_section(title, rows))
            heights[shorter] += len(rows) + 2
        for column in columns:
            column.addStretch(1)
        scroll = QScrollArea()
        scroll.setWidget(body)
        scroll.setWidgetResizable(True)
        scroll.setFrameShape(QScrollArea.Shape.NoFrame)
        scroll.setAccessibleName("Keys")
        buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Close)
        buttons.rejected.connect(self.reject)
        outer = QVBoxLayout(self)
        outer.addWidget(scroll, 1)
        outer.addWidget(buttons)
        self.resize(900, 640)


def _rows(commands: Sequence[Command]) -> tuple[tuple[str, str], ...]:
    return tuple((_placed_keys(one), one.text.removesuffix("…")) for one in commands)


def _placed_keys(command: Command) -> str:
    where = " in the lanes" if command.where == "lanes" and SHARED & set(command.keys) else ""
    return keys_text(command) + where


def _section(title: str, rows: Sequence[tuple[str, str]]) -> QWidget:
    section = QWidget()
    grid = QGridLayout(section)
    grid.setContentsMargins(0, 0, 0, 0)
    grid.setVerticalSpacing(3)
    grid.setHorizontalSpacing(PAD)
    heading = QLabel(title)
    heading.setProperty("heading", True)
    grid.addWidget(heading, 0, 0, 1, 2)
    for number, (keys, what) in enumerate(rows, 1):
        key, text = QLabel(keys), QLabel(what)
        key.setWordWrap(True)
        key.setMinimumWidth(130)
        text.setWordWrap(True)
        text.setProperty("muted", True)
        grid.addWidget(key, number, 0)
        grid.addWidget(text, number, 1)
    grid.setColumnStretch(1, 1)
    grid.setRowStretch(len(rows) + 1, 1)
    return section
