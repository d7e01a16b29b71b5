"""The findings as a table: one line a lane, to sort, to tick, and to accept."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import lru_cache

from msgspec import Struct
from PySide6.QtCore import (
    QAbstractTableModel,
    QEvent,
    QModelIndex,
    QPersistentModelIndex,
    QRect,
    QRectF,
    QSignalBlocker,
    QSize,
    Qt,
    Signal,
)
from PySide6.QtGui import QColor, QIcon, QKeyEvent, QMouseEvent, QPainter, QPixmap, QResizeEvent
from PySide6.QtWidgets import (
    QAbstractItemView,
    QApplication,
    QHeaderView,
    QStyle,
    QStyledItemDelegate,
    QStyleOptionViewItem,
    QTableView,
    QWidget,
)

from lagline.desk.amounts import Unit
from lagline.desk.panels.finding_texts import MEANINGS, FindingLine
from lagline.desk.plain import plain_tip
from lagline.desk.theme import GAP, RADIUS, TARGET, Theme, number_font, theme_of
from lagline.session.findings import TrustWord
from lagline.session.origin_words import TRYING

Index = QModelIndex | QPersistentModelIndex
ROOT = QModelIndex()
LANE, ARRIVAL, POLARITY, TRUST, PLACE, ACTION = range(6)
MARK = 12
LEAST_NAME = "oooooo kick"  # what a lane's name has room for before a column makes way
QUARTERS: dict[TrustWord, int] = {"strong": 4, "usable": 3, "weak": 1, "none": 0}  # of the mark, filled
ACCEPT, IN_PLACE = "Accept", "✓"


class Column(Struct, frozen=True):
    """How one column of the table is headed, written and sorted."""

    heading: str
    tip: str
    text: Callable[[FindingLine], str]
    rank: Callable[[FindingLine], tuple[object, ...]]  # what it is sorted by


def action_text(line: FindingLine) -> str:
    """What a click in the last column does; a tick mark where the lane is where its finding puts it."""
    if line.can_accept:
        return ACCEPT
    return IN_PLACE if line.placed_index is not None else ""


COLUMNS = (
    Column(
        "Lane",
        "Tick lanes to accept them together (Insert)",
        lambda one: one.name,
        lambda one: (one.name.casefold(),),
    ),
    Column(
        "Arrival",
        "By how much the lane hears the source later than the anchor",
        lambda one: one.arrival,
        lambda one: (one.arrival_samples is None, one.arrival_samples or 0.0),
    ),
    Column(
        "±",
        "Polarity: ⊖ inverted, ⊕ same; with ? only probably; ? alone: unclear",
        lambda one: one.sign,
        lambda one: (one.sign,),
    ),
    Column(
        "Trust",
        "How far to trust the finding",
        lambda one: one.trust_text,
        lambda one: (-(one.trust or 0.0),),
    ),
    Column(
        "Now",
        "How the lane came to where it is in this version",
        lambda one: "trying" if one.placement.startswith(TRYING) else one.placement,
        lambda one: (one.placement,),
    ),
    Column("", "Line the lane up on its finding (Enter)", action_text, lambda one: (not one.can_accept,)),
)


class FindingsModel(QAbstractTableModel):
    """Lines in the order they are shown. Their order changes when it is asked for, never by an edit: nothing
    moves from under the pointer."""

    ticked_changed = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.lines: tuple[FindingLine, ...] = ()
        self.ticked: set[str] = set()
        self._unit: Unit = "samples"
        self._looks: dict[str, QIcon] = {}  # the mark of each lane's colour
        self._theme: Theme | None = None

    def show_lines(self, lines: Sequence[FindingLine], unit: Unit) -> None:
        """The same lanes in the same order keep their selection."""
        new = tuple(lines)
        if [line.lane_id for line in new] != [line.lane_id for line in self.lines]:
            self.beginResetModel()
            self.lines = new
            self.endResetModel()
        old, self.lines = self.lines, new
        for row, (was, now) in enumerate(zip(old, new, strict=True)):
            if was != now or unit != self._unit:
                self.dataChanged.emit(self.index(row, 0), self.index(row, ACTION))
        if unit != self._unit:
            self._unit = unit
            self.headerDataChanged.emit(Qt.Orientation.Horizontal, ARRIVAL, ARRIVAL)

    def show_looks(self, looks: dict[str, QIcon], theme: Theme) -> None:
        """Colours of the lanes, and the theme to draw in."""
        self._looks, self._theme = looks, theme

    def tick(self, lane_ids: set[str]) -> None:
        """Tick these lanes and no others."""
        if lane_ids != self.ticked:
            self.ticked = set(lane_ids)
            if self.lines:
                self.dataChanged.emit(self.index(0, LANE), self.index(len(self.lines) - 1, LANE))
            self.ticked_changed.emit()

    def row_of(self, lane_id: str | None) -> int | None:
        """The row of a lane; None where the filter leaves it out."""
        return next((row for row, line in enumerate(self.lines) if line.lane_id == lane_id), None)

    # ---- Qt

    def rowCount(self, parent: Index = ROOT) -> int:
        return 0 if parent.isValid() else len(self.lines)

    def columnCount(self, parent: Index = ROOT) -> int:
        return 0 if parent.isValid() else len(COLUMNS)

    def headerData(self, section: int, orientation: Qt.Orientation, role: int = 0) -> object:
        if orientation != Qt.Orientation.Horizontal:
            return None
        if role == Qt.ItemDataRole.DisplayRole:
            unit = "smp" if self._unit == "samples" else self._unit
            return f"Arrival, {unit}" if section == ARRIVAL else COLUMNS[section].heading
        return COLUMNS[section].tip if role == Qt.ItemDataRole.ToolTipRole else None

    def flags(self, index: Index) -> Qt.ItemFlag:
        flags = Qt.ItemFlag.ItemIsEnabled | Qt.ItemFlag.ItemIsSelectable
        line = self.lines[index.row()]
        can_tick = index.column() == LANE and line.arrival_samples is not None and not line.is_anchor
        return flags | Qt.ItemFlag.ItemIsUserCheckable if can_tick else flags

    def data(self, index: Index, role: int = 0) -> object:
        line, column = self.lines[index.row()], index.column()
        if role == Qt.ItemDataRole.DisplayRole:
            return COLUMNS[column].text(line)
        if role == Qt.ItemDataRole.AccessibleTextRole:
            return line.spoken if column == LANE else self._spoken(line, column)
        if role == Qt.ItemDataRole.ToolTipRole:
            return plain_tip(self._tip(line, column))
        if role == Qt.ItemDataRole.TextAlignmentRole:
            side = Qt.AlignmentFlag.AlignRight if column == ARRIVAL else Qt.AlignmentFlag.AlignLeft
            return side | Qt.AlignmentFlag.AlignVCenter
        if role == Qt.ItemDataRole.DecorationRole:
            if column == TRUST and line.trust_word is not None and self._theme is not None:
                return trust_mark(line.trust_word, self._theme)
            return self._looks.get(line.lane_id) if column == LANE else None
        if role == Qt.ItemDataRole.CheckStateRole and self.flags(index) & Qt.ItemFlag.ItemIsUserCheckable:
            ticked = line.lane_id in self.ticked
            return Qt.CheckState.Checked if ticked else Qt.CheckState.Unchecked
        return None

    def setData(self, index: Index, value: object, role: int = 0) -> bool:
        if role != Qt.ItemDataRole.CheckStateRole:
            return False
        self.tick(self.ticked ^ {self.lines[index.row()].lane_id})
        return True

    def _spoken(self, line: FindingLine, column: int) -> str:
        return line.polarity if column == POLARITY else COLUMNS[column].text(line)

    def _tip(self, line: FindingLine, column: int) -> str:
        if column == LANE:
            return line.name
        if column == ARRIVAL:
            return line.full
        if column == POLARITY:
            return line.polarity
        if column == TRUST and line.trust_word is not None:
            return MEANINGS[line.trust_word]
        return line.placement if column == PLACE else COLUMNS[column].tip


@lru_cache(maxsize=16)
def trust_mark(word: TrustWord, theme: Theme) -> QIcon:
    """A disc as full as the word is strong: full, three quarters, a quarter, empty."""
    ratio = 2
    picture = QPixmap(MARK * ratio, MARK * ratio)
    picture.setDevicePixelRatio(ratio)
    picture.fill(Qt.GlobalColor.transparent)
    painter = QPainter(picture)
    painter.setRenderHint(QPainter.RenderHint.Antialiasing)
    painter.setPen(QColor(theme.text_muted))
    disc = QRectF(1, 1, MARK - 2, MARK - 2)
    painter.drawEllipse(disc)
    painter.setPen(Qt.PenStyle.NoPen)
    painter.setBrush(QColor(theme.text))
    painter.drawPie(disc, 90 * 16, -QUARTERS[word] * 90 * 16)
    painter.end()
    return _untinted(picture)


@lru_cache(maxsize=256)
def lane_mark(number: int, theme: Theme) -> QIcon:
    """The lane's colour, broken as its mark at the lanes is."""
    picture = QPixmap(5, 15)
    picture.fill(Qt.GlobalColor.transparent)
    painter = QPainter(picture)
    step = {"whole": 1, "dashed": 5, "dotted": 3}[theme.lane_mark(number)]
    for top in range(0, 15, step):
        painter.fillRect(0, top, 5, max(step - 1, 1), QColor(theme.lane(number)))
    painter.end()
    return _untinted(picture)


def _untinted(picture: QPixmap) -> QIcon:
    """Of the same colour in a chosen line too."""
    icon = QIcon(picture)
    icon.addPixmap(picture, QIcon.Mode.Selected)
    return icon


class ActionButton(QStyledItemDelegate):
    """Draws the action as a button of its cell."""

    def paint(self, painter: QPainter, option: QStyleOptionViewItem, index: Index) -> None:
        ground = QStyleOptionViewItem(option)
        self.initStyleOption(ground, index)
        ground.text = ""
        QApplication.style().drawControl(QStyle.ControlElement.CE_ItemViewItem, ground, painter)
        text, theme = str(index.data() or ""), theme_of(option.palette)
        rect: QRect = option.rect
        painter.save()
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        if text == ACCEPT:
            painter.setPen(QColor(theme.edge))
            painter.setBrush(QColor(theme.raised))
            painter.drawRoundedRect(QRectF(rect).adjusted(2.5, 1.5, -2.5, -1.5), RADIUS - 1, RADIUS - 1)
        painter.setPen(QColor(theme.ok if text == IN_PLACE else theme.text))
        painter.drawText(rect, Qt.AlignmentFlag.AlignCenter, text)
        painter.restore()


class FindingsTable(QTableView):
    """Shows a FindingsModel.

    Keys: Enter accepts, R tries the next place, Delete puts back, Insert ticks; arrows, Home and End choose.
    """

    accept_asked = Signal(str)
    try_asked = Signal()
    put_back_asked = Signal()
    lane_chosen = Signal(str)
    sort_asked = Signal(int)

    def __init__(self, model: FindingsModel, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._model = model
        self.setModel(model)
        self.setAccessibleName("Findings")
        self.setItemDelegateForColumn(ACTION, ActionButton(self))
        self.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.setTabKeyNavigation(False)
        self.setShowGrid(False)
        self.setWordWrap(False)
        self.setTextElideMode(Qt.TextElideMode.ElideMiddle)
        self.setIconSize(QSize(MARK, MARK + 3))
        self.setHorizontalScrollMode(QAbstractItemView.ScrollMode.ScrollPerPixel)
        self.setFont(number_font(self.font()))
        rows, head = self.verticalHeader(), self.horizontalHeader()
        rows.hide()
        rows.setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        rows.setDefaultSectionSize(TARGET)
        head.setMinimumSectionSize(TARGET)
        head.setHighlightSections(False)
        head.setSectionsClickable(True)
        head.setSectionResizeMode(QHeaderView.ResizeMode.Fixed)
        head.setSectionResizeMode(LANE, QHeaderView.ResizeMode.Stretch)
        head.sectionClicked.connect(self.sort_asked)
        # Of one width whatever stands in them, so that nothing moves while findings come and lanes go.
        for column, widest in (
            (ARRIVAL, "Arrival, smp "),
            (POLARITY, "⊖?"),
            (TRUST, "oo 0.88 usable"),
            (PLACE, "by runner-up"),
            (ACTION, "(Accept"),
        ):
            head.resizeSection(column, self.fontMetrics().horizontalAdvance(widest) + 2 * GAP)
        self._place_px = head.sectionSize(PLACE)
        self.selectionModel().currentRowChanged.connect(self._tell_chosen)

    def choose(self, lane_id: str | None) -> None:
        """Mark a lane's line, without asking back."""
        row = self._model.row_of(lane_id)
        with QSignalBlocker(self.selectionModel()):
            if row is None:
                self.selectionModel().clear()
            else:
                self.setCurrentIndex(self._model.index(row, LANE))
        self.viewport().update()

    @property
    def chosen(self) -> FindingLine | None:
        """The line of the current row; None without one."""
        row = self.currentIndex().row()
        return self._model.lines[row] if 0 <= row < len(self._model.lines) else None

    def show_sorted(self, column: int, turned: bool) -> None:
        """Mark the column the lines stand by; -1 for none."""
        head = self.horizontalHeader()
        head.setSortIndicatorShown(column >= 0)
        order = Qt.SortOrder.DescendingOrder if turned else Qt.SortOrder.AscendingOrder
        head.setSortIndicator(max(column, 0), order)

    def wanted_height(self) -> int:
        """With every line in view."""
        rows = TARGET * self._model.rowCount()
        return rows + self.horizontalHeader().sizeHint().height() + 2 * self.frameWidth() + 2

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        head = self.horizontalHeader()
        others = (
            sum(head.sectionSize(column) for column in (ARRIVAL, POLARITY, TRUST, ACTION)) + self._place_px
        )
        name_px = self.fontMetrics().horizontalAdvance(LEAST_NAME) + 3 * MARK
        self.setColumnHidden(PLACE, event.size().width() < others + name_px)  # the detail says it too

    def _tell_chosen(self, current: QModelIndex, _before: QModelIndex) -> None:
        if current.isValid():
            self.lane_chosen.emit(self._model.lines[current.row()].lane_id)

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        super().mouseReleaseEvent(event)
        index = self.indexAt(event.position().toPoint())
        is_left = event.button() == Qt.MouseButton.LeftButton
        if is_left and index.column() == ACTION and index.row() == self.currentIndex().row():
            self._ask_accept()

    def _ask_accept(self) -> None:
        if self.chosen is not None and self.chosen.can_accept:
            self.accept_asked.emit(self.chosen.lane_id)

    def event(self, event: QEvent) -> bool:
        # Single letters are shortcuts of the window; while the table has the focus its own keys win.
        if event.type() == QEvent.Type.ShortcutOverride and isinstance(event, QKeyEvent) and _is_ours(event):
            event.accept()
            return True
        return super().event(event)

    def keyPressEvent(self, event: QKeyEvent) -> None:
        key = event.key()
        if not _is_ours(event):
            event.ignore()
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter):
            self._ask_accept()
        elif key == Qt.Key.Key_R:
            self.try_asked.emit()
        elif key in (Qt.Key.Key_Delete, Qt.Key.Key_Backspace):
            self.put_back_asked.emit()
        elif key == Qt.Key.Key_Insert and self.chosen is not None:
            index = self._model.index(self.currentIndex().row(), LANE)
            if self._model.flags(index) & Qt.ItemFlag.ItemIsUserCheckable:
                self._model.setData(index, None, Qt.ItemDataRole.CheckStateRole)
        else:
            super().keyPressEvent(event)


OUR_KEYS = frozenset(
    {
        Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_R, Qt.Key.Key_Delete, Qt.Key.Key_Backspace,
        Qt.Key.Key_Insert, Qt.Key.Key_Up, Qt.Key.Key_Down, Qt.Key.Key_Home, Qt.Key.Key_End,
    }
)  # fmt: skip


def _is_ours(event: QKeyEvent) -> bool:
    plain = event.modifiers() & ~Qt.KeyboardModifier.KeypadModifier == Qt.KeyboardModifier.NoModifier
    return plain and event.key() in OUR_KEYS
