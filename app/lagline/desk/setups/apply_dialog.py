"""Put a setup on takes: match the lanes, measure again, compare, choose, accept."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from PySide6.QtCore import QEvent, Qt, Signal
from PySide6.QtWidgets import (
    QCheckBox,
    QHBoxLayout,
    QLineEdit,
    QProgressBar,
    QPushButton,
    QSplitter,
    QVBoxLayout,
    QWidget,
)

from lagline.desk.panels.flow import FlowLayout
from lagline.desk.panels.themed import plain_label
from lagline.desk.plain import plain_tip
from lagline.desk.setups.lane_table import LaneTable
from lagline.desk.setups.take_list import TakeList
from lagline.desk.setups.takes import TakeOnSetup
from lagline.desk.setups.texts import lane_rows, setup_text
from lagline.desk.stoppable import StoppableDialog
from lagline.desk.theme import GAP, MARGIN, PAD, theme_of
from lagline.session.setup import Setup


class ApplySetupDialog(StoppableDialog):
    """Shows takes against a setup and asks for what the engineer wants; decides and edits nothing itself.

    Receives `show_setup(setup, path)`, `show_takes(takes)`, `show_measuring(number, fraction, done, of)`,
    `show_busy(words)`, `show_idle()`, `say(text, is_bad)`, `show_in_the_way(paths)`.

    Signals
    -------
    setup_wanted() : ask for another setup file.
    recordings_wanted(), folder_wanted() : ask for recordings of one further take, or a folder of takes.
    removal_requested(int number) : take that take off the list.
    measure_requested(), cancel_requested() : measure the chosen takes one after another; stop.
    match_requested(int number, str lane_id, str name) : match a lane by hand ("" with none).
    use_requested(int number, str lane_id, bool) : take what was measured in a lane, or keep the setup;
        "" is every lane of every take.
    chosen_requested(int number, bool) : accept that take too, or leave it out.
    accept_requested(bool replace) : do it; `replace`: over session files that are there.
    """

    setup_wanted = Signal()
    recordings_wanted = Signal()
    folder_wanted = Signal()
    removal_requested = Signal(int)
    measure_requested = Signal()
    match_requested = Signal(int, str, str)
    use_requested = Signal(int, str, bool)
    chosen_requested = Signal(int, bool)
    accept_requested = Signal(bool)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle("Apply a setup")
        self._setup: Setup | None = None
        self._takes: tuple[TakeOnSetup, ...] = ()
        self._in_the_way: tuple[Path, ...] = ()
        self._said: tuple[str, bool] = ("", False)
        self._make_controls()
        self._build()
        self.resize(1120, 660)
        self.takes.setFocus()
        self.show_idle()

    def _make_controls(self) -> None:
        self._setup_name = plain_label()
        self._setup_name.setProperty("heading", True)
        self._setup_facts = plain_label(selectable=True)
        self._setup_facts.setProperty("muted", True)
        self._other = _button("Other se&tup …", "Choose another setup file, or a session (Alt+T)")
        self._other.clicked.connect(self.setup_wanted)
        self._add = _button("Add &recordings …", "Add recordings of one further take (Alt+R)")
        self._add.clicked.connect(self.recordings_wanted)
        self._folder = _button("Add &folder …", "Add every take in and below a folder (Alt+F)")
        self._folder.clicked.connect(self.folder_wanted)
        self._pattern = QLineEdit()
        self._pattern.setPlaceholderText("{take}_{lane}")
        self._pattern.setAccessibleName("How file names tell takes apart")
        self._pattern.setToolTip(
            "For a folder with several takes in it: what of a file's name is the take, what the lane, "
            "such as {take}_{lane}; * is anything. Empty: each folder is a take"
        )
        self._remove = _button("Take &off the list", "Its recordings stay where they are (Alt+O)")
        self._remove.clicked.connect(self._ask_removal)
        self.takes = TakeList()
        self.takes.take_selected.connect(self._show_lanes)
        self.takes.chosen_requested.connect(self.chosen_requested)
        self.lanes = LaneTable()
        self.lanes.match_requested.connect(self._ask_match)
        self.lanes.use_requested.connect(self._ask_use)
        self._keep_all = _button("&Keep the setup in all", "In every lane of every take (Alt+K)")
        self._keep_all.clicked.connect(self._ask_keep_all)
        self._take_all = _button("Take what was mea&sured in all", "Where something was found (Alt+S)")
        self._take_all.clicked.connect(self._ask_take_all)
        self._measure = _button(
            "&Measure", "Measure the ticked takes one after another (Alt+M; Enter the first time)"
        )
        self._measure.clicked.connect(self.measure_requested)
        self._progress = QProgressBar()
        self._progress.setRange(0, 1000)
        self._progress.setAccessibleName("Measuring")
        self._note = plain_label(selectable=True)
        self._note.setAccessibleName("What happened, or what stands in the way")
        self._replace = QCheckBox("Replace session files that are there")
        self._replace.setToolTip("The file as it is now is kept beside it, as a backup")
        self._replace.toggled.connect(self._refresh)
        self._accept = _button("Accept", "Put the choice on the ticked takes (Enter, once they are measured)")
        self._accept.clicked.connect(self._ask_accept)
        self._cancel = _button("Cancel", "Close and change nothing; stops what is running (Esc)")
        self._cancel.clicked.connect(self.reject)
        _keep_room(self._cancel, "Cancel", "Close", "Stop")
        _keep_room(self._measure, "&Measure", "&Measure again")

    def _build(self) -> None:
        head = QHBoxLayout()
        head.setSpacing(PAD)
        words = QVBoxLayout()
        words.setSpacing(GAP)
        words.addWidget(self._setup_name)
        words.addWidget(self._setup_facts)
        head.addLayout(words, 1)
        head.addWidget(self._other, 0, Qt.AlignmentFlag.AlignTop)
        names = plain_label("File &names:", wrap=False)
        names.setBuddy(self._pattern)
        above = _area(
            self.takes, (self._add, self._folder, names, self._pattern, self._remove, self._measure)
        )
        below = _area(self.lanes, (self._keep_all, self._take_all))
        split = QSplitter(Qt.Orientation.Vertical)
        split.addWidget(above)
        split.addWidget(below)
        split.setStretchFactor(0, 2)
        split.setStretchFactor(1, 3)
        split.setChildrenCollapsible(False)
        foot = QHBoxLayout()
        foot.setSpacing(PAD)
        foot.addWidget(self._replace)
        foot.addStretch(1)
        foot.addWidget(self._cancel)
        foot.addWidget(self._accept)
        column = QVBoxLayout(self)
        column.setContentsMargins(MARGIN, MARGIN, MARGIN, MARGIN)
        column.setSpacing(PAD)
        column.addLayout(head)
        column.addWidget(split, 1)
        column.addWidget(self._note)
        column.addWidget(self._progress)
        column.addLayout(foot)

    # ---- what is shown

    def show_setup(self, setup: Setup, path: Path | None = None) -> None:
        self._setup = setup
        self._setup_name.setText(f"Setup {setup.name}" if setup.name else "Setup without a name")
        facts = setup_text(setup)
        self._setup_facts.setText("\n".join(part for part in (facts, setup.notes.strip()) if part))
        self._setup_facts.setToolTip(plain_tip(str(path)) if path else "")
        self.lanes.show_setup_lanes([known.name for known in setup.lanes])

    def show_takes(self, takes: Sequence[TakeOnSetup]) -> None:
        self._takes = tuple(takes)
        if self._setup is not None:
            self.takes.show_takes(self._setup, self._takes)
            self._show_lanes(self.takes.currentRow())
        self._refresh()

    def show_measuring(self, number: int, fraction: float, done: int = 0, of: int = 1) -> None:
        """A take is being measured: 0..1 of it done, as the one after `done` of `of` takes."""
        self._show_work(True)
        self._progress.setRange(0, 1000)
        self._progress.setValue(round(1000 * (done + min(max(fraction, 0.0), 1.0)) / of))
        self._progress.setFormat(f"%p %, take {done + 1} of {of}" if of > 1 else "%p %")
        self.takes.show_measuring(number, fraction)

    def show_busy(self, words: str) -> None:
        """Something short is under way that cannot be measured."""
        self._show_work(True)
        self._progress.setRange(0, 0)
        self.say(words)

    def show_idle(self) -> None:
        self._show_work(False)

    def show_in_the_way(self, paths: Sequence[Path]) -> None:
        """Session files that accepting would replace."""
        self._in_the_way = tuple(paths)
        if not paths:
            self._replace.setChecked(False)
        self._refresh()

    def say(self, text: str, is_bad: bool = False) -> None:
        self._said = (text, is_bad)
        self._show_note()

    def show_done(self, text: str) -> None:
        """It is accepted: say what was done, and offer to close."""
        self._cancel.setText("Close")
        self.say(text)

    @property
    def pattern(self) -> str | None:
        """How the names of files tell takes apart; None where each folder is a take."""
        return self._pattern.text().strip() or None

    @property
    def selected(self) -> int:
        """The take whose lanes are shown; -1 without one."""
        return self.takes.currentRow()

    def _show_work(self, is_busy: bool) -> None:
        self._is_busy = is_busy
        self._progress.setVisible(is_busy)
        if is_busy:
            self._cancel.setText("Stop")
        elif self._cancel.text() == "Stop":
            self._cancel.setText("Cancel")
        self._refresh()

    def _show_lanes(self, number: int) -> None:
        if self._setup is None or not 0 <= number < len(self._takes):
            self.lanes.show_rows(())
        else:
            self.lanes.show_rows(lane_rows(self._setup, self._takes[number]))
        self._refresh()

    def _refresh(self) -> None:
        busy, chosen = self._is_busy, [take for take in self._takes if take.is_chosen]
        for control in (self._other, self._add, self._folder, self._pattern):
            control.setEnabled(not busy)
        number = self.takes.currentRow()
        self._remove.setEnabled(not busy and 0 <= number < len(self._takes))
        self.lanes.setEnabled(not busy)
        self._measure.setEnabled(not busy and bool(chosen))
        self._measure.setText("&Measure again" if any(take.alignment for take in chosen) else "&Measure")
        measured = [take for take in self._takes if take.alignment is not None]
        self._keep_all.setEnabled(not busy and bool(measured))
        self._take_all.setEnabled(not busy and bool(measured))
        self._replace.setVisible(bool(self._in_the_way))
        ready = any(take.state in ("measured", "new") for take in chosen)
        blocked = bool(self._in_the_way) and not self._replace.isChecked()
        self._accept.setEnabled(not busy and ready and not blocked)
        # Enter does what comes next: nobody should accept by it what was never compared.
        is_next = self._measure if any(take.state == "new" for take in chosen) else self._accept
        is_next.setDefault(True)
        self._show_note()

    def _show_note(self) -> None:
        text, is_bad = self._said
        if not text and not self._is_busy:
            text, is_bad = self._advice(), bool(self._in_the_way) and not self._replace.isChecked()
        theme = theme_of(self.palette())
        self._note.setStyleSheet(f"color: {theme.danger if is_bad else theme.text};")
        self._note.setText(text)
        self._note.setVisible(bool(text))

    def _advice(self) -> str:
        """What to do next."""
        chosen = [take for take in self._takes if take.is_chosen]
        if not self._takes:
            return "Add recordings of a take, or a folder with takes."
        if self._in_the_way and not self._replace.isChecked():
            names = ", ".join(str(path) for path in self._in_the_way[:3])
            more = f" and {len(self._in_the_way) - 3} more" if len(self._in_the_way) > 3 else ""
            return f"There already: {names}{more}. Tick “Replace”, or leave those takes out."
        if any(take.state == "new" for take in chosen):
            return "Look through the matches, then measure: nothing is changed before you accept."
        others = [take for take in chosen if not take.on_desk and take.state == "measured"]
        if others:
            return "On accepting, a session is saved beside the recordings of each ticked take."
        return ""

    def changeEvent(self, event: QEvent) -> None:
        super().changeEvent(event)
        if event.type() == QEvent.Type.PaletteChange and self._takes:
            self._show_lanes(self.takes.currentRow())

    # ---- what is asked

    def _ask_removal(self) -> None:
        self.removal_requested.emit(self.takes.currentRow())

    def _ask_match(self, lane_id: str, name: str) -> None:
        self.match_requested.emit(self.takes.currentRow(), lane_id, name)

    def _ask_use(self, lane_id: str, is_new: bool) -> None:
        self.use_requested.emit(self.takes.currentRow(), lane_id, is_new)

    def _ask_keep_all(self) -> None:
        self.use_requested.emit(-1, "", False)

    def _ask_take_all(self) -> None:
        self.use_requested.emit(-1, "", True)

    def _ask_accept(self) -> None:
        if self._accept.isEnabled():
            self.accept_requested.emit(self._replace.isChecked())


def _area(table: QWidget, buttons: Sequence[QWidget]) -> QWidget:
    area = QWidget()
    column = QVBoxLayout(area)
    column.setContentsMargins(0, GAP, 0, GAP)
    column.setSpacing(PAD)
    column.addWidget(table, 1)
    row = FlowLayout()
    for button in buttons:
        row.addWidget(button)
    column.addLayout(row)
    return area


def _keep_room(button: QPushButton, *texts: str) -> None:
    """As wide as the longest of the texts it will show, so that nothing jumps or is cut."""
    shown, widths = button.text(), []
    for text in texts:
        button.setText(text)
        widths.append(button.sizeHint().width())
    button.setText(shown)
    button.setMinimumWidth(max(widths))


def _button(text: str, tip: str) -> QPushButton:
    button = QPushButton(text)
    button.setToolTip(tip)
    button.setAutoDefault(False)
    return button
