"""The lanes of one take against the setup: match, expected, measured, difference, and what is used."""

from __future__ import annotations

from collections.abc import Sequence

from PySide6.QtCore import QSignalBlocker, Qt, Signal
from PySide6.QtGui import QColor, QGuiApplication, QKeyEvent, QKeySequence
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QTableWidget, QWidget

from lagline.desk.panels.chooser import Chooser
from lagline.desk.plain import plain_tip
from lagline.desk.setups.cells import cell, set_headings
from lagline.desk.setups.texts import NO_LANE, LaneRow
from lagline.desk.theme import Theme, theme_of

HEADINGS = (
    "Lane", "Setup’s lane", "Matched", "Expected\nsamples", "Measured\nsamples", "Difference\nsamples",
    "Difference\nms", "Difference\ncm", "Against the setup", "Use",
)  # fmt: skip
TIPS = (
    "The lane of the take, and its recording",
    "The lane of the setup it is matched with; choose another, or none",
    "What the match rests on",
    "Arrival against the anchor that the setup’s shifts stand for",
    "Arrival against the anchor as measured now; positive is later",
    "Measured minus expected",
    "Measured minus expected",
    "Measured minus expected, as a distance in air",
    "Agreeing, moved or not comparable",
    "What accepting puts on the lane",
)
_MATCH, _VERDICT, _USE = 1, 8, 9
_WORDS = (0, _MATCH, 2, _VERDICT, _USE)
SETUP_TEXT, MEASURED_TEXT = "setup", "measured"


class LaneTable(QTableWidget):
    """Receives `show_setup_lanes(names)` and `show_rows(rows)`.

    Signals
    -------
    match_requested(str lane_id, str name) : match the lane with the setup's lane of that name; "" with none.
    use_requested(str lane_id, bool) : True: take what was measured; False: keep the setup.
    """

    match_requested = Signal(str, str)
    use_requested = Signal(str, bool)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(0, len(HEADINGS), parent)
        self._rows: tuple[LaneRow, ...] = ()
        self._names: tuple[str, ...] = ()
        self.setAccessibleName("Lanes against the setup")
        self._lists: dict[str, tuple[Chooser, Chooser]] = {}  # by lane id: match, use
        set_headings(self, HEADINGS, TIPS)
        self.verticalHeader().hide()
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setHorizontalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setVerticalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setTabKeyNavigation(False)
        self.setWordWrap(False)
        header = self.horizontalHeader()
        header.setDefaultAlignment(Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter)
        header.setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        header.setSectionResizeMode(_USE, QHeaderView.ResizeMode.Stretch)
        header.setMinimumSectionSize(60)
        header.setHighlightSections(False)

    def show_setup_lanes(self, names: Sequence[str]) -> None:
        """The setup's lanes that a lane can be matched with."""
        self._names = tuple(names)
        self._rows = ()
        self.setRowCount(0)

    def show_rows(self, rows: Sequence[LaneRow]) -> None:
        # Lists that stay keep the focus. Ids come again from take to take, so names count too.
        is_new = [(row.lane_id, row.lane) for row in rows] != [(row.lane_id, row.lane) for row in self._rows]
        self._rows = tuple(rows)
        if is_new:
            self.setRowCount(0)
            self.setRowCount(len(rows))
        theme = theme_of(self.palette())
        for number, row in enumerate(rows):
            if is_new:
                self._make_row(number, row)
            self._fill(number, row, theme)
        if is_new:
            self.resizeRowsToContents()

    def as_text(self) -> str:
        """All rows with their headings, tab between cells."""
        headings = [heading.replace("\n", ", ") for heading in HEADINGS]
        return "\n".join("\t".join(cells) for cells in (headings, *map(_cells, self._rows)))

    def _make_row(self, number: int, row: LaneRow) -> None:
        for column in range(len(HEADINGS)):
            side = Qt.AlignmentFlag.AlignLeft if column in _WORDS else Qt.AlignmentFlag.AlignRight
            cell(self, number, column).setTextAlignment(side | Qt.AlignmentFlag.AlignVCenter)
        match = Chooser(f"Setup’s lane for {row.lane}", TIPS[_MATCH], least_letters=12)
        match.offer([*((name, name) for name in self._names), (NO_LANE, "")], "")
        match.activated.connect(self._ask_match)
        match.setProperty("lane_id", row.lane_id)
        self.setCellWidget(number, _MATCH, match)
        use = Chooser(f"What {row.lane} uses", TIPS[_USE], least_letters=9)
        use.activated.connect(self._ask_use)
        use.setProperty("lane_id", row.lane_id)
        self.setCellWidget(number, _USE, use)
        self._lists[row.lane_id] = match, use

    def _fill(self, number: int, row: LaneRow, theme: Theme) -> None:
        for column, text in enumerate(_cells(row)):
            item = cell(self, number, column)
            if column not in (_MATCH, _USE):  # those hold their lists
                item.setText(text)
            tip = row.why if column >= _VERDICT else f"{row.lane}, {row.file}" if not column else ""
            item.setToolTip(plain_tip(tip))
        colour = {"agrees": theme.ok, "moved": theme.warning}.get(row.grade, theme.text)
        verdict = cell(self, number, _VERDICT)
        verdict.setForeground(QColor(colour))
        verdict.setData(Qt.ItemDataRole.AccessibleTextRole, f"{row.lane}: {row.why}")
        cell(self, number, 2).setForeground(QColor(theme.text if row.setup_lane else theme.warning))
        match, use = self._lists[row.lane_id]
        kept = SETUP_TEXT if row.setup_lane else "as it is"
        with QSignalBlocker(match), QSignalBlocker(use):
            match.choose(row.setup_lane)
            use.clear()
            use.addItem(kept, False)
            if row.can_be_new:
                use.addItem(MEASURED_TEXT, True)
            use.choose(row.is_new)
        use.setEnabled(row.can_be_new)

    def _ask_match(self) -> None:
        chooser = self.sender()
        if isinstance(chooser, Chooser):
            self.match_requested.emit(chooser.property("lane_id"), chooser.currentData())

    def _ask_use(self) -> None:
        chooser = self.sender()
        if isinstance(chooser, Chooser):
            self.use_requested.emit(chooser.property("lane_id"), chooser.currentData())

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if event.matches(QKeySequence.StandardKey.Copy):
            QGuiApplication.clipboard().setText(self.as_text())
        else:
            super().keyPressEvent(event)


def _cells(row: LaneRow) -> tuple[str, ...]:
    use = MEASURED_TEXT if row.is_new else SETUP_TEXT if row.setup_lane else "as it is"
    return (
        row.lane, row.setup_lane or NO_LANE, row.told_by, row.expected, row.measured, row.difference_samples,
        row.difference_ms, row.difference_cm, row.verdict, use,
    )  # fmt: skip
