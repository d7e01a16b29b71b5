"""The plan as a table to type into: a row for the source, then one a lane."""

from __future__ import annotations

from collections.abc import Callable

from msgspec.structs import replace
from PySide6.QtCore import QSignalBlocker, Qt, Signal
from PySide6.QtGui import QColor
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QTableWidget, QTableWidgetItem, QWidget

from lagline.amounts import MINUS, metres_of, ms_of
from lagline.desk.theme import theme_of
from lagline.errors import LaglineError
from lagline.session.plan import Plan, PlannedLane, Point, with_distance, with_planned_lane

NAME, DISTANCE, RIGHT, AWAY, UP, LATENCY, LEVEL, INVERTED = range(8)
HEADINGS = ("Lane", "Distance m", "Right m", "Away m", "Up m", "Latency ms", "Level dB", "Inverted")
HINTS = (
    "Name of the lane, as it will be called in the take",
    "From the source in a straight line; typing moves the microphone along that line: 1.5, 60 cm, 6 ft 2 in",
    "Place to the right",
    "Place away from you",
    "Height",
    "Fixed delay of the line: converter, radio link, plug-in",
    "Level of the source in the blend through this lane",
    "Known to be wired the other way round",
)
SOURCE_ROW = 0

Edit = Callable[[Plan], Plan]


class LanesTable(QTableWidget):
    """Shows and edits a plan's values.

    Signals
    -------
    edit_requested(str name, object edit) : `edit` makes Plan of Plan; may raise ValueError, NotInSession.
    problem(str) : what was typed makes no sense; the old value is shown again.
    chosen(str) : the row that is current: a lane's name, or "" for the source.
    """

    edit_requested = Signal(str, object)
    problem = Signal(str)
    chosen = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(0, len(HEADINGS), parent)
        self._plan = Plan()
        for column, (heading, hint) in enumerate(zip(HEADINGS, HINTS, strict=True)):
            top = QTableWidgetItem(heading)
            top.setToolTip(hint)
            self.setHorizontalHeaderItem(column, top)
        self.verticalHeader().setVisible(False)
        self.setAlternatingRowColors(True)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setTabKeyNavigation(False)  # Tab leaves the table, so that the keyboard is never trapped
        self.setAccessibleName("Source and lanes of the plan")
        header = self.horizontalHeader()
        header.setSectionResizeMode(NAME, QHeaderView.ResizeMode.Stretch)
        self.itemChanged.connect(self._typed)
        self.currentCellChanged.connect(self._row_changed)

    def show_plan(self, plan: Plan) -> None:
        """One row for the source and one for each lane, without asking for edits."""
        is_new = [lane.name for lane in plan.lanes] != [lane.name for lane in self._plan.lanes]
        self._plan = plan
        with QSignalBlocker(self):
            self.setRowCount(1 + len(plan.lanes))
            self._show_source(plan.source_m)
            for number, lane in enumerate(plan.lanes):
                self._show_lane(1 + number, number, lane)
        if is_new:  # not at every step of a drag: measuring all cells is slow
            self.resizeColumnsToContents()

    def choose(self, name: str) -> None:
        """Make a lane's row, or the source's (""), the current one."""
        row = SOURCE_ROW if name == "" else 1 + [lane.name for lane in self._plan.lanes].index(name)
        if row != self.currentRow():
            with QSignalBlocker(self):
                self.setCurrentCell(row, max(self.currentColumn(), 0))

    @property
    def chosen_name(self) -> str:
        """Name of the lane in the current row; empty for the source."""
        row = self.currentRow()
        return self._plan.lanes[row - 1].name if 0 < row <= len(self._plan.lanes) else ""

    def _show_source(self, place_m: Point) -> None:
        self._put(SOURCE_ROW, NAME, "Source", editable=False)
        for column in (DISTANCE, LATENCY, LEVEL, INVERTED):
            self._put(SOURCE_ROW, column, "", editable=False)
        for column, metres in zip((RIGHT, AWAY, UP), place_m, strict=True):
            self._put(SOURCE_ROW, column, f"{metres:.2f}")

    def _show_lane(self, row: int, number: int, lane: PlannedLane) -> None:
        self._put(row, NAME, lane.name).setForeground(QColor(theme_of(self.palette()).lane(number)))
        line = lane.is_direct_line
        self._put(
            row, DISTANCE, "direct line" if line else f"{self._plan.distance_m(lane):.3f}", editable=not line
        )
        for column, index in ((RIGHT, 0), (AWAY, 1), (UP, 2)):
            text = "" if lane.place_m is None else f"{lane.place_m[index]:.2f}"
            self._put(row, column, text, editable=lane.place_m is not None)
        self._put(row, LATENCY, f"{lane.latency_ms:g}")
        self._put(row, LEVEL, f"{lane.level_db:g}")
        box = self._put(row, INVERTED, "")
        box.setFlags((box.flags() | Qt.ItemFlag.ItemIsUserCheckable) & ~Qt.ItemFlag.ItemIsEditable)
        box.setCheckState(Qt.CheckState.Checked if lane.polarity < 0 else Qt.CheckState.Unchecked)

    def _put(self, row: int, column: int, text: str, *, editable: bool = True) -> QTableWidgetItem:
        item = self.item(row, column)
        if item is None:
            item = QTableWidgetItem()
            item.setToolTip(HINTS[column])
            if column != NAME:
                item.setTextAlignment(Qt.AlignmentFlag.AlignRight | Qt.AlignmentFlag.AlignVCenter)
            self.setItem(row, column, item)
        if item.text() != text:
            item.setText(text)
        flags = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
        item.setFlags(flags | Qt.ItemFlag.ItemIsEditable if editable else flags)
        return item

    def _row_changed(self, row: int, _column: int, old_row: int, _old_column: int) -> None:
        if row != old_row:
            self.chosen.emit(self.chosen_name)

    def _typed(self, item: QTableWidgetItem) -> None:
        try:
            name, edit = self._edit_of(item)
        except (ValueError, LaglineError) as error:
            self.problem.emit(str(error))
        else:
            self.edit_requested.emit(name, edit)
        self.show_plan(self._plan)  # an edit that was refused shows the old value again

    def _edit_of(self, item: QTableWidgetItem) -> tuple[str, Edit]:
        """The edit that a changed cell asks for. Raises ValueError."""
        row, column, text = item.row(), item.column(), item.text().strip()
        if row == SOURCE_ROW:
            place = _with_axis(self._plan.source_m, column, metres_of(text))
            return "Move the source", lambda plan: replace(plan, source_m=place)
        lane = self._plan.lanes[row - 1]
        if column == NAME:
            if not text:
                raise ValueError("A lane needs a name.")
            return "Rename the lane", _instead(lane, replace(lane, name=text))
        if column == DISTANCE:
            metres = metres_of(text)
            if metres < 0:
                raise ValueError("A distance is not negative.")
            return "Set the distance", lambda plan: with_distance(plan, lane.name, metres)
        if column in (RIGHT, AWAY, UP):
            assert lane.place_m is not None
            place = _with_axis(lane.place_m, column, metres_of(text))
            return "Move the microphone", _instead(lane, replace(lane, place_m=place))
        if column == LATENCY:
            return "Set the latency", _instead(
                lane, replace(lane, latency_ms=ms_of(text, "ms", self._plan.rate_hz))
            )
        if column == LEVEL:
            return "Set the level", _instead(lane, replace(lane, level_db=_decibels(text)))
        polarity = -1 if item.checkState() == Qt.CheckState.Checked else 1
        return "Flip the lane", _instead(lane, replace(lane, polarity=polarity))


def _instead(old: PlannedLane, new: PlannedLane) -> Edit:
    return lambda plan: with_planned_lane(plan, new, old.name)


def _with_axis(place_m: Point, column: int, metres: float) -> Point:
    x, y, z = (metres if column == axis else at for axis, at in zip((RIGHT, AWAY, UP), place_m, strict=True))
    return x, y, z


def _decibels(text: str) -> float:
    plain = text.lower().removesuffix("db").strip().replace(",", ".").replace(MINUS, "-")
    try:
        return float(plain)
    except ValueError:
        raise ValueError(f"“{text}” is not a level. Type decibels: -3, 1.5.") from None
