"""The takes of a day as a table for Qt: texts, marks and colours of each line."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any

from PySide6.QtCore import QAbstractTableModel, QModelIndex, QObject, QPersistentModelIndex, Qt
from PySide6.QtGui import QColor, QFont

from lagline.day.values import Day, DayTake, State
from lagline.day.words import differs_words, health_words, length_words
from lagline.desk.plain import plain_tip
from lagline.desk.theme import LIGHT, Theme

if TYPE_CHECKING:  # what compares takes loads the analysis
    from lagline.day.against import Difference

HEADINGS = ("Take", "Length", "Lanes", "Health", "State", "What differs", "Sum")
TAKE, LENGTH, LANES, HEALTH, STATE, DIFFERS, SUM = range(len(HEADINGS))
TIPS = (
    "",
    "",
    "How many lanes it has",
    "What is wrong with its recordings; point at it to read",
    "How far it has come: new, measured, lined up, decided, delivered",
    "Against the setup, or against where the lanes usually are on this day",
    "The sum over the take, as loud as it gets in each stretch",
)
# A shape for each, so that colour says nothing by itself.
MARKS: dict[State, str] = {"new": "○", "measured": "◔", "lined up": "◑", "decided": "◕", "delivered": "●"}
PICTURE = Qt.ItemDataRole.UserRole

Index = QModelIndex | QPersistentModelIndex
Found = Mapping[str, "Sequence[Difference] | None"]  # by take; None: nothing to hold it against


class TakesModel(QAbstractTableModel):
    """Receives `show_day(day)`, `show_differences(found)`, `show_open(name)` and `show_theme(theme)`."""

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._takes: tuple[DayTake, ...] = ()
        self._found: Found = {}
        self._open = ""
        self._theme: Theme = LIGHT

    @property
    def takes(self) -> tuple[DayTake, ...]:
        """The lines, in their order."""
        return self._takes

    def row_of(self, name: str) -> int | None:
        """The line of the take of that name."""
        return next((row for row, take in enumerate(self._takes) if take.name == name), None)

    def show_day(self, day: Day | None) -> None:
        """Only lines that changed are drawn again while the list stays the same."""
        takes = day.takes if day is not None else ()
        old = self._takes
        if [take.name for take in old] != [take.name for take in takes]:
            self.beginResetModel()
            self._takes, self._found = takes, {}
            self.endResetModel()
            return
        self._takes = takes
        for row, (before, now) in enumerate(zip(old, takes, strict=True)):
            if before is not now:
                self._changed(row)

    def show_differences(self, found: Found) -> None:
        old, self._found = self._found, found
        for row, take in enumerate(self._takes):
            if old.get(take.name, ()) != found.get(take.name, ()) or take.name not in old:
                self._changed(row)

    def show_open(self, name: str) -> None:
        """The take that is on the desk."""
        rows = [self.row_of(one) for one in (self._open, name)]
        self._open = name
        for row in rows:
            if row is not None:
                self._changed(row)

    def show_theme(self, theme: Theme) -> None:
        self._theme = theme
        if self._takes:
            self.dataChanged.emit(self.index(0, 0), self.index(len(self._takes) - 1, len(HEADINGS) - 1))

    def _changed(self, row: int) -> None:
        self.dataChanged.emit(self.index(row, 0), self.index(row, len(HEADINGS) - 1))

    # what Qt asks

    def rowCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008 - as Qt declares it
        return 0 if parent.isValid() else len(self._takes)

    def columnCount(self, parent: Index = QModelIndex()) -> int:  # noqa: B008 - as Qt declares it
        return 0 if parent.isValid() else len(HEADINGS)

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = 0) -> Any:
        if orientation != Qt.Orientation.Horizontal:
            return None
        if role == Qt.ItemDataRole.DisplayRole:
            return HEADINGS[section]
        return TIPS[section] if role == Qt.ItemDataRole.ToolTipRole and TIPS[section] else None

    def data(self, index: Index, role: int = 0) -> Any:
        take, column = self._takes[index.row()], index.column()
        if role == Qt.ItemDataRole.DisplayRole:
            return self.text(take, column)
        if role == Qt.ItemDataRole.ToolTipRole:
            return plain_tip(self._tip(take, column)) or None
        if role == Qt.ItemDataRole.ForegroundRole:
            return QColor(self._colour(take, column))
        if role == Qt.ItemDataRole.FontRole and take.name == self._open:
            font = QFont()
            font.setBold(True)
            return font
        if role == Qt.ItemDataRole.AccessibleTextRole:
            return self._spoken(take, column)
        if role == PICTURE:
            return take.picture
        return None

    def text(self, take: DayTake, column: int) -> str:
        """What stands in a cell."""
        if column == TAKE:
            return f"▶ {take.name}" if take.name == self._open else take.name
        if column == LENGTH:
            return length_words(take)
        if column == LANES:
            return str(len(take.facts.lanes)) if take.facts else ""
        if column == HEALTH:
            words = health_words(take)
            return f"⚠ {words}" if take.faults else f"✓ {words}" if words == "well" else words
        if column == STATE:
            return f"{MARKS[take.state]} {take.state}"
        return self._differs(take) if column == DIFFERS else ""

    def _differs(self, take: DayTake) -> str:
        if take.error:
            return f"⚠ {take.error}"
        found = self._found.get(take.name)
        words = differs_words(take, found)
        return f"↔ {words}" if found else words

    def _tip(self, take: DayTake, column: int) -> str:
        if column == HEALTH:
            return "\n".join((*take.faults, *take.notes))
        if column == DIFFERS:
            return self._differs(take).replace("; ", "\n")
        if column == LANES and take.facts:
            return "\n".join(lane.name for lane in take.facts.lanes)
        if column == TAKE:
            return "\n".join((take.name, *take.problems))
        return ""

    def _colour(self, take: DayTake, column: int) -> str:
        theme = self._theme
        if (column == DIFFERS and take.error) or (column == HEALTH and take.faults):
            return theme.warning
        if column == DIFFERS and not self._found.get(take.name):
            return theme.text_muted
        if column == STATE and take.state == "new":
            return theme.text_muted
        return theme.text

    def _spoken(self, take: DayTake, column: int) -> str:
        if column == TAKE:
            return f"{take.name}, on the desk" if take.name == self._open else take.name
        if column == STATE:
            return take.state
        if column == SUM:
            return "picture of the sum" if take.picture else "no picture yet"
        return self.text(take, column).lstrip("⚠✓↔ ")
