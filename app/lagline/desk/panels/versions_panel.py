"""The versions of a take: keep, name, duplicate, compare, delete, note, and how much of one to take."""

from __future__ import annotations

from PySide6.QtCore import QSignalBlocker, Qt, Signal
from PySide6.QtWidgets import (
    QAbstractItemView,
    QHBoxLayout,
    QLineEdit,
    QListWidgetItem,
    QPushButton,
    QScrollArea,
    QSpinBox,
    QVBoxLayout,
    QWidget,
)

from lagline.desk.boxes import Slider, SpinBox
from lagline.desk.panels.flow import FlowLayout
from lagline.desk.panels.text_box import TextBox
from lagline.desk.panels.themed import ScrollBody, Themed, plain_label, shown
from lagline.desk.panels.version_comparison import VersionComparison
from lagline.desk.panels.version_list import VersionList
from lagline.desk.panels.version_texts import all_versions, free_version_name, version_summary
from lagline.desk.plain import plain_tip
from lagline.desk.theme import GAP, PAD
from lagline.session.values import ORIGINAL_ID, Session, Version

HALF = 50  # percent; where "how much" starts


class VersionsPanel(Themed):
    """The versions, and what can be done with the chosen one.

    Receives: `show_session(session or None)`, `show_heard(version_id or None)`.

    Signals
    -------
    hear_requested(str version_id) : listen to it.
    edit_requested(str version_id) : make it the version that edits go to (edits.with_current_version).
    keep_requested(str version_id, str name) : keep a copy under this name; go on working where one works.
    duplicate_requested(str version_id, str name) : copy it and work in the copy (edits.with_new_version).
    rename_requested(str version_id, str name)
    note_requested(str version_id, str text)
    delete_requested(str version_id) : edits.without_version; undo brings it back.
    part_requested(str version_id, float fraction, str name) : a new version that takes every shift of this
        one in part (edits.partly), 0..1.
    trial_requested(str first_id, str second_id) : compare these two blind.
    """

    hear_requested = Signal(str)
    edit_requested = Signal(str)
    keep_requested = Signal(str, str)
    duplicate_requested = Signal(str, str)
    rename_requested = Signal(str, str)
    note_requested = Signal(str, str)
    delete_requested = Signal(str)
    part_requested = Signal(str, float, str)
    trial_requested = Signal(str, str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAccessibleName("Versions")
        self._session: Session | None = None
        self._heard: str | None = None
        self._note_of: str | None = None  # the version whose note is in the box

        self._list = VersionList()
        self._list.setAccessibleName("Versions of this take")
        self._list.setToolTip("Enter hears the version · F2 renames it · Delete deletes it")
        self._list.setWordWrap(True)
        self._list.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self._list.currentRowChanged.connect(self._chosen_changed)
        self._list.itemActivated.connect(self._ask_hear)
        self._list.hear_asked.connect(self._ask_hear)
        self._list.rename_asked.connect(self._start_renaming)
        self._list.delete_asked.connect(self._ask_delete)

        self._hear = _button("Hear", "Listen to this version (Enter)")
        self._hear.clicked.connect(self._ask_hear)
        self._edit = _button("Work in it", "Edits go to this version from now on")
        self._edit.clicked.connect(self._ask_edit)
        self._keep = _button("Keep a copy", "Keep it as it is now under a name of its own, and go on working")
        self._keep.clicked.connect(self._ask_keep)
        self._duplicate = _button("Duplicate", "Copy it and work in the copy (Ctrl+D)")
        self._duplicate.clicked.connect(self._ask_duplicate)
        self._delete = _button("Delete", "Delete this version; undo brings it back (Delete)")
        self._delete.clicked.connect(self._ask_delete)
        self._name = QLineEdit()
        self._name.setAccessibleName("Name of the version")
        self._name.setToolTip("Name of the version; Enter keeps it (F2)")
        self._name.editingFinished.connect(self._ask_rename)
        self._note = TextBox("Note on this version", "What you heard, and why this one", lines=3)
        self._note.setToolTip("Kept with the version and printed in the report")
        self._note.text_settled.connect(self._note_settled)

        self._make_part_controls()
        self._comparison = VersionComparison()
        self._comparison.trial_requested.connect(self.trial_requested)
        self._build()
        self.show_session(None)
        self.follow_theme()

    def _make_part_controls(self) -> None:
        """A slider and a box for how much of the shifts a new version takes, each following the other."""
        self._slider = Slider(Qt.Orientation.Horizontal)
        self._slider.setRange(0, 100)
        self._slider.setPageStep(10)
        self._slider.setAccessibleName("How much of the shifts")
        self._spin = SpinBox()
        self._spin.setRange(0, 100)
        self._spin.setSuffix(" %")
        self._spin.setButtonSymbols(QSpinBox.ButtonSymbols.NoButtons)
        self._spin.setAccessibleName("How much of the shifts, percent")
        for control in (self._slider, self._spin):
            control.setToolTip("0 %: as recorded. 100 %: all of the shifts. Flips are taken whole.")
        self._slider.setValue(HALF)
        self._spin.setValue(HALF)
        self._slider.valueChanged.connect(self._spin.setValue)
        self._spin.valueChanged.connect(self._slider.setValue)
        self._spin.valueChanged.connect(self._part_changed)
        self._make_part = _button("Make", "Make a new version with this much of every shift")
        self._make_part.clicked.connect(self._ask_part)
        self._part_text = plain_label()
        self._part_text.setProperty("muted", True)

    def _build(self) -> None:
        buttons = QWidget()
        flow = FlowLayout(buttons)
        for button in (self._hear, self._edit, self._keep, self._duplicate, self._delete):
            flow.addWidget(button)
        how_much = QHBoxLayout()
        how_much.addWidget(self._slider, 1)
        how_much.addWidget(self._spin)
        how_much.addWidget(self._make_part)
        body = ScrollBody()
        column = QVBoxLayout(body)
        column.setContentsMargins(PAD, PAD, PAD, PAD)
        column.setSpacing(GAP)
        column.addWidget(self._list)
        column.addWidget(buttons)
        for text, part in (
            ("Name", self._name),
            ("Note", self._note),
            ("How much", how_much),
            ("Compare with", self._comparison),
        ):
            label = plain_label(text)
            label.setProperty("heading", True)
            column.addWidget(label)
            if isinstance(part, QWidget):
                label.setBuddy(part)
                column.addWidget(part)
            else:
                column.addLayout(part)
            if text == "How much":
                label.setBuddy(self._slider)
                column.addWidget(self._part_text)
        column.setStretchFactor(self._comparison, 1)
        scroll = QScrollArea()
        scroll.setWidgetResizable(True)
        scroll.setFrameShape(QScrollArea.Shape.NoFrame)
        scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        scroll.setWidget(body)
        whole = QVBoxLayout(self)
        whole.setContentsMargins(0, 0, 0, 0)
        whole.addWidget(scroll)

    # ---- what is shown

    def show_session(self, session: Session | None) -> None:
        """List the session's versions; the chosen one stays chosen while it is there."""
        chosen = self.chosen_id
        self._session = session
        versions = all_versions(session) if session is not None else ()
        ids = [version.id for version in versions]
        if chosen not in ids:
            chosen = session.current_version_id if session is not None else None
        with QSignalBlocker(self._list):
            while self._list.count() > len(versions):
                self._list.takeItem(self._list.count() - 1)
            while self._list.count() < len(versions):
                self._list.addItem(QListWidgetItem())
            for row, version in enumerate(versions):
                self._fill(self._list.item(row), version)
            if chosen is not None:
                self._list.setCurrentRow(ids.index(chosen))
        self._show_chosen()

    def show_heard(self, version_id: str | None) -> None:
        """Mark the version that is being heard; None while a blind trial hides it."""
        if version_id != self._heard:
            self._heard = version_id
            if self._session is not None:
                with QSignalBlocker(self._list):
                    for row, version in enumerate(all_versions(self._session)):
                        self._fill(self._list.item(row), version)

    @property
    def chosen_id(self) -> str | None:
        """Id of the chosen version; None without a session."""
        item = self._list.currentItem()
        return item.data(Qt.ItemDataRole.UserRole) if item is not None else None

    def _fill(self, item: QListWidgetItem, version: Version) -> None:
        assert self._session is not None
        marks = []
        if version.id == self._heard:
            marks.append("heard")
        if version.id == self._session.current_version_id:
            marks.append("worked in")
        head = f"{'▶ ' if version.id == self._heard else ''}{version.name}"
        tail = f" · {', '.join(marks)}" if marks else ""
        item.setText(f"{head}{tail}\n{version_summary(self._session, version)}")
        item.setData(Qt.ItemDataRole.UserRole, version.id)
        item.setData(Qt.ItemDataRole.AccessibleTextRole, f"{version.name}, {', '.join(marks)}".rstrip(", "))
        item.setToolTip(plain_tip(version.note or version_summary(self._session, version)))

    def _version(self) -> Version | None:
        if self._session is None or self.chosen_id is None:
            return None
        return self._session.version(self.chosen_id)

    def _show_chosen(self) -> None:
        version, session = self._version(), self._session
        is_own = version is not None and version.id != ORIGINAL_ID
        for_any: tuple[QWidget, ...] = (self._hear, self._keep, self._duplicate)
        for_own: tuple[QWidget, ...] = (self._name, self._note, self._slider, self._spin, self._make_part)
        for widget in for_any:
            widget.setEnabled(version is not None)
        for widget in for_own:
            widget.setEnabled(is_own)
        current = session.current_version_id if session is not None else None
        self._edit.setEnabled(is_own and version is not None and version.id != current)
        self._delete.setEnabled(is_own and session is not None and len(session.versions) > 1)
        if not self._name.hasFocus() or not self._name.isModified():
            self._name.setText(version.name if version is not None else "")
        self._note_of = version.id if is_own and version is not None else None
        self._note.show_text(version.note if version is not None else "")
        self._part_changed()
        self._comparison.show_version(session, self.chosen_id)

    def _part_changed(self) -> None:
        version, session = self._version(), self._session
        if version is None or session is None or version.id == ORIGINAL_ID:
            shown(self._part_text, "Choose a version with shifts to take a part of them.")
            return
        largest = max((abs(move.shift_samples) for move in version.moves.values()), default=0.0)
        part = largest * self._spin.value() / 100
        shown(
            self._part_text,
            f"Some distance may be worth keeping. Largest shift {part:.1f} of {largest:.1f} samples.",
        )

    # ---- what is asked

    def _chosen_changed(self, _row: int) -> None:
        self._note.settle()
        self._name.setModified(False)
        self._show_chosen()

    def _ask_hear(self) -> None:
        if self.chosen_id is not None:
            self.hear_requested.emit(self.chosen_id)

    def _ask_edit(self) -> None:
        if self.chosen_id is not None:
            self.edit_requested.emit(self.chosen_id)

    def _ask_keep(self) -> None:
        version = self._version()
        if version is not None and self._session is not None:
            name = free_version_name(self._session, f"{version.name} kept")
            self.keep_requested.emit(version.id, name)

    def _ask_duplicate(self) -> None:
        version = self._version()
        if version is not None and self._session is not None:
            name = free_version_name(self._session, f"{version.name} copy")
            self.duplicate_requested.emit(version.id, name)

    def _ask_delete(self) -> None:
        if self.chosen_id is not None and self._delete.isEnabled():
            self.delete_requested.emit(self.chosen_id)

    def _start_renaming(self) -> None:
        if self._name.isEnabled():
            self._name.setFocus(Qt.FocusReason.OtherFocusReason)
            self._name.selectAll()

    def _ask_rename(self) -> None:
        version, name = self._version(), self._name.text().strip()
        if version is None or version.id == ORIGINAL_ID or not self._name.isModified():
            return
        self._name.setModified(False)
        if name and name != version.name and self._session is not None:
            self.rename_requested.emit(version.id, free_version_name(self._session, name))
        else:
            self._name.setText(version.name)

    def _note_settled(self, text: str) -> None:
        # A note is told late: it belongs to the version it was typed at, not to the one chosen since.
        if self._note_of is not None:
            self.note_requested.emit(self._note_of, text)

    def _ask_part(self) -> None:
        version, session = self._version(), self._session
        if version is None or session is None or version.id == ORIGINAL_ID:
            return
        percent = self._spin.value()
        name = free_version_name(session, f"{version.name} {percent} %")
        self.part_requested.emit(version.id, percent / 100, name)


def _button(text: str, tip: str) -> QPushButton:
    button = QPushButton(text)
    button.setToolTip(tip)
    return button
