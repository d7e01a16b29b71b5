"""The planner's window: the floor on the left, figures on the right."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

from msgspec.structs import replace
from PySide6.QtCore import QSize, Qt, Signal
from PySide6.QtGui import QAction, QCloseEvent, QKeySequence, QResizeEvent
from PySide6.QtPrintSupport import QPrinter
from PySide6.QtWidgets import (
    QHBoxLayout,
    QMainWindow,
    QMenu,
    QPushButton,
    QScrollArea,
    QSplitter,
    QTabWidget,
    QVBoxLayout,
    QWidget,
)

from lagline.desk.message_bar import STRIP, MessageBar
from lagline.desk.planner.air_strip import AirStrip
from lagline.desk.planner.blend_plot import BlendPlot
from lagline.desk.planner.figures import (
    ARRIVAL_HEADINGS,
    ARRIVAL_NOTE,
    NO_ARRIVALS,
    NO_PAIRS,
    PAIR_HEADINGS,
    PAIR_NOTE,
    arrival_rows,
    pair_rows,
)
from lagline.desk.planner.lanes_table import LanesTable
from lagline.desk.planner.notch_form import NotchForm
from lagline.desk.planner.plan_files import PlanFiles
from lagline.desk.planner.plan_store import PlanStore
from lagline.desk.planner.plan_view import SOURCE, PlanView
from lagline.desk.planner.print_page import print_plan
from lagline.desk.planner.tables import NotedTable
from lagline.desk.planner.tape_panel import TapePanel
from lagline.desk.screen_room import fitted
from lagline.desk.theme import GAP, PAD, Theme, palette_of
from lagline.errors import LaglineError
from lagline.jobs.plan import lanes_of_take, setup_of_plan
from lagline.session.plan import (
    Plan,
    PlannedLane,
    free_place,
    load_plan,
    problem,
    save_plan,
    with_distance,
    with_planned_lane,
    without_planned_lane,
)
from lagline.session.setup import save_setup
from lagline.session.values import Session

STARTER = Plan(
    name="New plan",
    lanes=(PlannedLane("Near", (0.3, 0.4, 1.0)), PlannedLane("Far", (-0.5, 3.0, 1.6))),
)
LEAST_TABLE_PX = 170
LIKED_SIZE = QSize(1240, 760)
NARROW_PX = 800


class PlannerWindow(QMainWindow):
    """A window of its own; it shares nothing with the desk but the take it may compare with.

    Signals
    -------
    setup_saved(object Path) : a setup to start the take from was written there.
    """

    setup_saved = Signal(object)

    def __init__(self, theme: Theme | None = None, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        if theme is not None:
            self.setPalette(palette_of(theme))
        self.store = PlanStore(STARTER, self)
        self.files = PlanFiles(self)
        self._session: Session | None = None
        self.view, self.lanes, self.air = PlanView(), LanesTable(), AirStrip()
        self.arrivals = NotedTable("Arrivals", ARRIVAL_HEADINGS, note=ARRIVAL_NOTE, empty=NO_ARRIVALS)
        self.pairs = NotedTable("Pairs", PAIR_HEADINGS, left=(0, 2, 5), note=PAIR_NOTE, empty=NO_PAIRS)
        self.blend, self.notches, self.tape = BlendPlot(), NotchForm(), TapePanel()
        self.messages = MessageBar()
        self.tabs = QTabWidget()
        self.tabs.setDocumentMode(True)
        self.lanes.setMinimumHeight(LEAST_TABLE_PX)
        for widget, title in (
            (self.arrivals, "Arrivals"),
            (self.pairs, "Pairs"),
            (self.blend, "Blend"),
            (self.notches, "Move for a notch"),
            (self.tape, "Against the sound"),
        ):
            self.tabs.addTab(widget, title)
        self._lay_out()
        self._make_actions()
        self._connect()
        self._show_plan(self.store.plan)
        self._show_history()
        self.resize(fitted(self, LIKED_SIZE))

    def resizeEvent(self, event: QResizeEvent) -> None:
        """Figures beside the floor; below it where they would have to be scrolled sideways."""
        super().resizeEvent(event)
        is_narrow = event.size().width() < NARROW_PX
        self._halves.setOrientation(Qt.Orientation.Vertical if is_narrow else Qt.Orientation.Horizontal)

    # ---- from outside

    def show_session(self, session: Session | None) -> None:
        """The take on the desk, to compare the plan with; None when there is none."""
        self._session = session
        self.tape.show_plan(self.store.plan)
        self.tape.show_session(session)

    def open_plan(self, path: Path) -> None:
        """Raises nothing: what is wrong with the file stands in the message bar."""
        try:
            self.store.open(load_plan(path), path)
        except LaglineError as error:
            self.messages.show_problem(str(error))

    # ---- building

    def _lay_out(self) -> None:
        right = QWidget()
        column = QVBoxLayout(right)
        column.setContentsMargins(PAD, 0, PAD, PAD)
        column.setSpacing(GAP)
        column.addWidget(self.air)
        column.addWidget(self.lanes, 2)
        self._buttons = QHBoxLayout()
        self._buttons.setSpacing(GAP)
        column.addLayout(self._buttons)
        column.addWidget(self.tabs, 3)
        halves = self._halves = QSplitter(Qt.Orientation.Horizontal)
        halves.addWidget(self.view)
        halves.addWidget(right)
        halves.setStretchFactor(0, 1)
        halves.setStretchFactor(1, 1)
        halves.setChildrenCollapsible(False)
        halves.setSizes([480, 760])
        self.scroll_area = QScrollArea()  # for screens that are too small for all of it
        self.scroll_area.setFrameShape(QScrollArea.Shape.NoFrame)
        self.scroll_area.setWidgetResizable(True)
        self.scroll_area.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        self.scroll_area.setWidget(halves)
        body = QWidget()
        outer = QVBoxLayout(body)
        outer.setContentsMargins(0, 0, 0, 0)
        outer.setSpacing(0)
        outer.addWidget(self.scroll_area, 1)
        strip = QWidget()
        strip.setFixedHeight(STRIP)
        outer.addWidget(strip)
        self.messages.lie_in(strip, body)
        self.setCentralWidget(body)

    def _make_actions(self) -> None:
        key = QKeySequence.StandardKey
        plan, edit, view = (self.menuBar().addMenu(name) for name in ("Plan", "Edit", "View"))
        self._action(plan, "New plan", self.ask_new, key.New)
        self._action(plan, "Open a plan…", self.ask_open, key.Open)
        plan.addSeparator()
        self._action(plan, "Save", self.save, key.Save)
        self._action(plan, "Save as…", self.save_as, key.SaveAs)
        self._action(plan, "Save as a setup…", self.save_setup, None)
        plan.addSeparator()
        self._action(plan, "Print…", self.ask_print, key.Print)
        self._action(plan, "Close", self.close, key.Close)
        self._undo = self._action(edit, "Undo", self.store.undo, key.Undo)
        self._redo = self._action(edit, "Redo", self.store.redo, key.Redo)
        edit.addSeparator()
        add = self._action(edit, "Add a microphone", self.add_microphone, "Ctrl+M")
        line = self._action(edit, "Add a direct line", self.add_direct_line, "Ctrl+D")
        gone = self._action(edit, "Remove the lane", self.remove_lane, "Ctrl+Backspace")
        self._action(view, "Show all", self.view.show_all, "Ctrl+0")
        for action in (add, line, gone):
            button = QPushButton(action.text())
            button.setToolTip(action.toolTip())
            button.clicked.connect(action.trigger)
            self._buttons.addWidget(button)
        self._buttons.addStretch(1)

    def _action(
        self, menu: QMenu, text: str, slot: Callable[[], object], keys: QKeySequence.StandardKey | str | None
    ) -> QAction:
        action = QAction(text, self)
        if keys is not None:
            action.setShortcut(QKeySequence(keys))
            action.setToolTip(
                f"{text} ({action.shortcut().toString(QKeySequence.SequenceFormat.NativeText)})"
            )
        action.triggered.connect(lambda _checked=False: slot())
        menu.addAction(action)
        return action

    def _connect(self) -> None:
        self.store.changed.connect(self._show_plan)
        self.tabs.currentChanged.connect(self._show_tab)
        self.store.history_changed.connect(self._show_history)
        self.view.place_requested.connect(self._move)
        self.view.distance_requested.connect(self._set_distance)
        self.view.move_finished.connect(self.store.end_group)
        self.view.chosen.connect(self.lanes.choose)
        self.lanes.chosen.connect(self.view.choose)
        self.lanes.edit_requested.connect(self._edit)
        self.lanes.problem.connect(self.messages.show_refusal)
        self.air.edit_requested.connect(self._edit)
        self.notches.move_requested.connect(self._move_for_notch)
        self.tape.lanes_requested.connect(self._take_lanes)

    # ---- showing

    def _show_plan(self, plan: Plan) -> None:
        for part in (self.view, self.lanes, self.air):
            part.show_plan(plan)
        self._show_tab()
        self._show_history()

    def _show_tab(self) -> None:
        """Bring the tab in front up to date; the others wait until they are looked at."""
        plan, tab = self.store.plan, self.tabs.currentWidget()
        if tab is self.arrivals:
            self.arrivals.show_rows(arrival_rows(plan))
        elif tab is self.pairs:
            self.pairs.show_rows(pair_rows(plan))
        elif isinstance(tab, BlendPlot | NotchForm | TapePanel):
            tab.show_plan(plan)

    def _show_history(self) -> None:
        undo, redo = self.store.undo_name, self.store.redo_name
        self._undo.setText(f"Undo: {undo}" if undo else "Undo")
        self._redo.setText(f"Redo: {redo}" if redo else "Redo")
        self._undo.setEnabled(undo is not None)
        self._redo.setEnabled(redo is not None)
        self.setWindowTitle(f"{self.store.plan.name}[*] - planner")
        self.setWindowModified(self.store.is_modified)

    # ---- edits

    def _edit(self, name: str, edit: Callable[[Plan], Plan], group: str | None = None) -> None:
        def checked(plan: Plan) -> Plan:
            changed = edit(plan)
            wrong = problem(changed)
            if wrong:
                raise ValueError(f"That cannot be: {wrong}.")
            return changed

        try:
            self.store.apply(name, checked, group)
        except (ValueError, LaglineError) as error:
            self.messages.show_refusal(str(error))
        else:
            self.messages.forget_refusals()

    def _move(self, name: str, x_m: float, y_m: float) -> None:
        if name == SOURCE:
            self._edit(
                "Move the source",
                lambda plan: replace(plan, source_m=(x_m, y_m, plan.source_m[2])),
                "move source",
            )
            return

        def moved(plan: Plan) -> Plan:
            lane = plan.lane(name)
            up_m = plan.source_m[2] if lane.place_m is None else lane.place_m[2]
            return with_planned_lane(plan, replace(lane, place_m=(x_m, y_m, up_m)), name)

        self._edit(f"Move {name}", moved, f"move {name}")

    def _set_distance(self, name: str, metres: float) -> None:
        self._edit(f"Move {name}", lambda plan: with_distance(plan, name, metres), f"move {name}")

    def _move_for_notch(self, name: str, metres: float) -> None:
        self._edit(f"Move {name}", lambda plan: with_distance(plan, name, metres))

    def add_microphone(self) -> None:
        """Add a microphone at a free place; the next undo takes it out."""
        name = self._fresh_name("Microphone")
        lane = PlannedLane(name, free_place(self.store.plan))
        self._edit("Add a microphone", lambda plan: with_planned_lane(plan, lane))
        self._choose(name)

    def add_direct_line(self) -> None:
        """Add a direct line; the next undo takes it out."""
        name = self._fresh_name("Direct line")
        self._edit("Add a direct line", lambda plan: with_planned_lane(plan, PlannedLane(name)))
        self._choose(name)

    def remove_lane(self) -> None:
        """Take the chosen lane out; the source stays."""
        name = self.lanes.chosen_name
        if name == SOURCE:
            self.messages.show_answer("Choose a lane first: the source stays.")
        else:
            self._edit(f"Remove {name}", lambda plan: without_planned_lane(plan, name))

    def _take_lanes(self) -> None:
        session = self._session
        if session is not None:
            self._edit("Take the lanes of the take", lambda plan: lanes_of_take(plan, session))

    def _choose(self, name: str) -> None:
        self.lanes.choose(name)
        self.view.choose(name)

    def _fresh_name(self, word: str) -> str:
        taken = {lane.name.casefold() for lane in self.store.plan.lanes}
        names = [word, *(f"{word} {number}" for number in range(2, len(taken) + 3))]
        return next(name for name in names if name.casefold() not in taken)

    # ---- files

    def ask_new(self) -> None:
        """Start over, after asking about unsaved changes."""
        if self._may_go():
            self.store.open(STARTER)

    def ask_open(self) -> None:
        """Open a plan that the person chooses, after asking about unsaved changes."""
        path = self.files.plan_to_open() if self._may_go() else None
        if path is not None:
            self.open_plan(path)

    def save(self) -> bool:
        """Save to the plan's file, asking for one at first; whether it was saved."""
        return self._save_to(self.store.path) if self.store.path is not None else self.save_as()

    def save_as(self) -> bool:
        """Save to a file that is asked for; whether it was saved."""
        path = self.files.where_to_save_plan(self.store.plan.name)
        return path is not None and self._save_to(path)

    def _save_to(self, path: Path) -> bool:
        try:
            save_plan(self.store.plan, path)
        except LaglineError as error:
            self.messages.show_problem(str(error))
            return False
        self.store.mark_saved(path)
        return True

    def save_setup(self) -> None:
        """Save the planned shifts as a setup, in a file that is asked for."""
        path = self.files.where_to_save_setup(self.store.plan.name)
        if path is None:
            return
        try:
            save_setup(setup_of_plan(self.store.plan), path)
        except LaglineError as error:
            self.messages.show_problem(str(error))
        else:
            self.messages.show_note(f"{path.name} holds the planned shifts: apply it to the take.")
            self.setup_saved.emit(path)

    def ask_print(self) -> None:
        """Print the plan on a printer that is asked for."""
        printer = self.files.printer()
        if printer is not None:
            self.print_on(printer)

    def print_on(self, printer: QPrinter) -> None:
        """Print the plan on this printer."""
        print_plan(self.store.plan, printer)

    def _may_go(self) -> bool:
        if not self.store.is_modified:
            return True
        answer = self.files.unsaved(self.store.plan.name)
        return answer == "discard" or (answer == "save" and self.save())

    def closeEvent(self, event: QCloseEvent) -> None:
        if self._may_go():
            event.accept()
        else:
            event.ignore()
