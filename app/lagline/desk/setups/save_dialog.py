"""Keep the current version as a setup for other takes."""

from __future__ import annotations

from msgspec.structs import replace
from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QColor
from PySide6.QtWidgets import (
    QAbstractItemView,
    QDialog,
    QFormLayout,
    QHBoxLayout,
    QHeaderView,
    QLineEdit,
    QPushButton,
    QTableWidget,
    QVBoxLayout,
    QWidget,
)

from lagline.desk.panels.text_box import TextBox
from lagline.desk.panels.themed import plain_label
from lagline.desk.plain import plain_tip
from lagline.desk.setups.cells import cell, set_headings
from lagline.desk.setups.texts import fits_text, move_text
from lagline.desk.theme import MARGIN, PAD, theme_of
from lagline.session.setup import Setup, setup_of
from lagline.session.values import Session

HEADINGS = ("Lane", "Shift and polarity", "Name pattern", "In this take")
_PATTERN, _FITS = 2, 3
PATTERN_TIP = (
    "How to recognise the lane in other takes: * is anything, ? any one letter, capitals don’t count. "
    "Empty: by its name."
)


class SaveSetupDialog(QDialog):
    """Shows what would be kept; a name pattern can be given for each lane.

    Signals
    -------
    save_requested(Setup) : ask for a file and write it; `show_failed(text)` answers when it can't be.
    """

    save_requested = Signal(object)

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session = session
        version = session.current_version
        self.setWindowTitle("Save a setup")
        intro = plain_label(
            f"Keeps the shifts, flips and balance of version “{version.name}” by lane name, to put on "
            "other takes recorded with the same microphones in the same places."
        )
        self._name = QLineEdit(session.name)
        self._name.setAccessibleName("Name of the setup")
        self._name.setToolTip("What the setup is called in reports and on screen")
        self._name.textChanged.connect(self._refresh)
        self._notes = TextBox("Notes", "What belongs to it: stands, distances, the room", lines=3)
        self._notes.setToolTip("Kept with the setup and shown where it is applied")
        self._notes.setPlainText(version.note)
        self._table = QTableWidget(len(session.lanes), len(HEADINGS))
        self._fields: dict[str, QLineEdit] = {}
        self._fill_table()
        self._problem = plain_label(selectable=True)
        self._problem.setAccessibleName("What stands in the way")
        self._save = QPushButton("Save …")
        self._save.setToolTip("Choose a file (Enter)")
        self._save.setDefault(True)
        self._save.clicked.connect(self._ask_save)
        cancel = QPushButton("Cancel")
        cancel.setToolTip("Close without saving (Esc)")
        cancel.setAutoDefault(False)
        cancel.clicked.connect(self.reject)
        form = QFormLayout()
        form.setFieldGrowthPolicy(QFormLayout.FieldGrowthPolicy.AllNonFixedFieldsGrow)
        form.addRow("&Name", self._name)
        form.addRow("No&tes", self._notes)
        buttons = QHBoxLayout()
        buttons.addStretch(1)
        buttons.addWidget(cancel)
        buttons.addWidget(self._save)
        column = QVBoxLayout(self)
        column.setContentsMargins(MARGIN, MARGIN, MARGIN, MARGIN)
        column.setSpacing(PAD)
        column.addWidget(intro)
        column.addLayout(form)
        column.addWidget(self._table, 1)
        column.addWidget(self._problem)
        column.addLayout(buttons)
        self.resize(760, 480)
        self._refresh()

    def setup(self) -> Setup:
        """What is chosen now."""
        session = self._session
        patterns = {lane_id: field.text() for lane_id, field in self._fields.items()}
        setup = setup_of(session, session.current_version, self._name.text().strip(), patterns)
        return replace(setup, notes=self._notes.toPlainText().strip())

    def show_failed(self, text: str) -> None:
        """It was not written: say why."""
        self._say(text)

    def _fill_table(self) -> None:
        table, session = self._table, self._session
        table.setAccessibleName("Lanes of the setup")
        set_headings(table, HEADINGS, ("", "", PATTERN_TIP, "Which lanes of this take the pattern fits"))
        table.verticalHeader().hide()
        table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        table.setSelectionMode(QAbstractItemView.SelectionMode.NoSelection)
        table.setFocusPolicy(Qt.FocusPolicy.NoFocus)  # its fields take the keys
        table.setTabKeyNavigation(False)
        table.setWordWrap(False)
        header = table.horizontalHeader()
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header.setSectionResizeMode(_PATTERN, QHeaderView.ResizeMode.Interactive)
        header.setSectionResizeMode(_FITS, QHeaderView.ResizeMode.Stretch)
        header.setHighlightSections(False)
        for number, lane in enumerate(session.lanes):
            anchor = " (anchor)" if lane.id == session.anchor_id else ""
            texts = (lane.name + anchor, move_text(session.current_version.move(lane.id)), "", "")
            for column, text in enumerate(texts):
                cell(table, number, column).setText(text)
            field = QLineEdit()
            field.setAccessibleName(f"Name pattern of {lane.name}")
            field.setPlaceholderText("by its name")
            field.setToolTip(PATTERN_TIP)
            field.textChanged.connect(self._refresh)
            table.setCellWidget(number, _PATTERN, field)
            self._fields[lane.id] = field
        table.setColumnWidth(_PATTERN, 180)

    def _refresh(self) -> None:
        theme = theme_of(self.palette())
        for number, (lane_id, field) in enumerate(self._fields.items()):
            item, text = cell(self._table, number, _FITS), fits_text(field.text(), lane_id, self._session)
            item.setText(text)
            item.setToolTip(plain_tip(text))
            item.setForeground(QColor(theme.warning if text.startswith("⚠") else theme.ok))
        named = bool(self._name.text().strip())
        self._save.setEnabled(named)
        self._say("" if named else "Give the setup a name.")

    def _say(self, text: str) -> None:
        self._problem.setStyleSheet(f"color: {theme_of(self.palette()).danger};")
        self._problem.setText(text)
        self._problem.setVisible(bool(text))

    def _ask_save(self) -> None:
        if self._save.isEnabled():
            self.save_requested.emit(self.setup())
