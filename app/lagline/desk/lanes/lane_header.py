"""The header of one lane: what it is, how it sits in the blend, and where it was put."""

from __future__ import annotations

from msgspec import Struct
from msgspec.structs import replace
from PySide6.QtCore import QEvent, QObject, QSignalBlocker, Qt, Signal
from PySide6.QtGui import QColor, QFontMetrics, QMouseEvent, QPainter, QPaintEvent, QPen, QResizeEvent
from PySide6.QtWidgets import QGridLayout, QHBoxLayout, QLabel, QSizePolicy, QToolButton, QWidget

from lagline.desk.amounts import Unit, shift_text
from lagline.desk.icons import icon
from lagline.desk.lanes.number_boxes import GainBox, PanBox, ShiftBox
from lagline.desk.plain import plain_tip
from lagline.desk.theme import GAP, PAD, TARGET, LaneMark, theme_of
from lagline.session.values import Balance, Lane, Move

HEADER_WIDTH = 256


class LaneState(Struct, frozen=True):
    """What a header shows."""

    lane: Lane
    move: Move
    balance: Balance
    colour: str
    mark: LaneMark
    rate_hz: int
    temperature_c: float
    unit: Unit
    is_anchor: bool = False
    is_current: bool = False  # the one that keys act on
    is_selected: bool = False
    is_audible: bool = True
    is_folded: bool = False
    linked_with: tuple[str, ...] = ()  # names of the lanes that move along


class LaneHeader(QWidget):
    """Shows a LaneState; every control reports what it is asked for."""

    pressed = Signal(Qt.KeyboardModifier)
    reorder_dragged = Signal(float)  # y of the pointer, in the header
    reorder_ended = Signal()
    rename_requested = Signal()
    anchor_requested = Signal()
    polarity_requested = Signal(int)
    mute_requested = Signal(bool)
    solo_requested = Signal(bool)
    gain_requested = Signal(float)
    pan_requested = Signal(float)
    shift_requested = Signal(float)
    refused = Signal(str)
    fold_requested = Signal(bool)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._state: LaneState | None = None
        self._press_y: float | None = None
        self._theme_name = ""
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setSizePolicy(QSizePolicy.Policy.Fixed, QSizePolicy.Policy.Expanding)
        self._name = QLabel()
        self._name.setTextFormat(Qt.TextFormat.PlainText)
        self._name.installEventFilter(self)
        self._name.setSizePolicy(QSizePolicy.Policy.Ignored, QSizePolicy.Policy.Preferred)
        self._fold = self._button("Fold or unfold the lane", checkable=False)
        self._anchor = self._button("Line the others up on this lane (T)", text="")
        self._flip = self._button("Flip the polarity (P)")
        self._mute = self._button("Mute (M)", text="M")
        self._solo = self._button("Solo (S)", text="S")
        self._link = QLabel()
        self._link.setAccessibleName("Linked")
        self._detail = QLabel()
        self._detail.setProperty("muted", True)
        self._detail.setAlignment(Qt.AlignmentFlag.AlignRight)
        self._folded_shift = QLabel()  # of a lane without its boxes
        self._folded_shift.setAccessibleName("Shift")
        self.set_width(HEADER_WIDTH)
        self._gain, self._pan, self._shift = GainBox(), PanBox(), ShiftBox()
        self._lay_out()
        self._connect()

    def set_width(self, width: int) -> None:
        """How wide the header is, in pixels."""
        self.setFixedWidth(width)
        # At a fixed size a text that changes with every step of a drag lays nothing out anew.
        self._detail.setFixedSize(width - 2 * PAD - 4, self._detail.fontMetrics().height())

    def _button(self, tip: str, *, text: str = "", checkable: bool = True) -> QToolButton:
        button = QToolButton(self)
        button.setText(text)
        button.setToolTip(tip)
        button.setCheckable(checkable)
        button.setFixedSize(TARGET, TARGET)
        button.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        return button

    def _lay_out(self) -> None:
        top = QHBoxLayout()
        top.setSpacing(GAP)
        top.addWidget(self._fold)
        top.addWidget(self._link)
        top.addWidget(self._name, 1)
        top.addWidget(self._folded_shift)
        for button in (self._anchor, self._flip, self._mute, self._solo):
            top.addWidget(button)
        self._figures = QWidget(self)
        below = QHBoxLayout(self._figures)
        below.setContentsMargins(0, 0, 0, 0)
        below.setSpacing(GAP)
        below.addWidget(self._gain)
        below.addWidget(self._pan)
        below.addWidget(self._shift, 1)
        grid = QGridLayout(self)
        grid.setContentsMargins(PAD + 4, GAP, PAD, GAP)
        grid.setVerticalSpacing(GAP)
        grid.addLayout(top, 0, 0)
        grid.addWidget(self._figures, 1, 0)
        grid.addWidget(self._detail, 2, 0)
        grid.setRowStretch(3, 1)

    def _connect(self) -> None:
        self._fold.clicked.connect(self._ask_fold)
        self._anchor.clicked.connect(self._ask_anchor)
        self._flip.clicked.connect(self._ask_polarity)
        self._mute.clicked.connect(self.mute_requested)
        self._solo.clicked.connect(self.solo_requested)
        self._gain.asked.connect(self.gain_requested)
        self._pan.asked.connect(self.pan_requested)
        self._shift.asked.connect(self.shift_requested)
        self._shift.refused.connect(self.refused)

    # showing

    def show_state(self, state: LaneState) -> None:
        old = self._state
        if state == old:
            return
        self._state = state
        self._show_move(state)
        if old is not None and replace(old, move=state.move) == state:
            return  # the lane is being dragged: nothing else of it is new
        self._show_lane(state)
        self._show_link(state.linked_with)
        self._figures.setVisible(not state.is_folded)
        self._folded_shift.setVisible(state.is_folded)
        self._show_room()
        self._show_icons()
        self.update()

    def _show_move(self, state: LaneState) -> None:
        with QSignalBlocker(self._flip):
            self._flip.setChecked(state.move.polarity < 0)
        self._shift.show_shift(state.move.shift_samples, state.unit, state.rate_hz, state.temperature_c)
        self._folded_shift.setText(self._shift.text())
        self._detail.setText(_detail_of(state))
        self._show_room()

    def _show_lane(self, state: LaneState) -> None:
        lane = state.lane
        self._show_name()
        file, channel = lane.source.path.name, lane.source.channel + 1
        tip = f"{lane.name}: {file}, channel {channel}. Double-click to rename (F2)."
        self._name.setToolTip(plain_tip(tip))
        self.setAccessibleName(f"Lane {lane.name}" + (", anchor" if state.is_anchor else ""))
        for button, what in (
            (self._fold, "Fold"),
            (self._anchor, "Anchor"),
            (self._flip, "Flip polarity of"),
            (self._mute, "Mute"),
            (self._solo, "Solo"),
            (self._gain, "Gain of"),
            (self._pan, "Pan of"),
            (self._shift, "Shift of"),
        ):
            button.setAccessibleName(f"{what} {lane.name}")
        with QSignalBlocker(self._anchor), QSignalBlocker(self._mute), QSignalBlocker(self._solo):
            self._anchor.setChecked(state.is_anchor)
            self._mute.setChecked(state.balance.mute)
            self._solo.setChecked(lane.solo)
        self._gain.show_value(state.balance.gain_db)
        self._pan.show_value(state.balance.pan)

    def _show_link(self, names: tuple[str, ...]) -> None:
        self._link.setVisible(bool(names))
        listed = ", ".join(names)
        self._link.setToolTip(plain_tip(f"Moves together with {listed} (Ctrl+L takes them apart)."))
        self._link.setAccessibleDescription(f"Moves together with {listed}" if names else "")

    def _show_name(self) -> None:
        """As much of the name as there is room for; all of it is in the tooltip."""
        if self._state is not None:
            font = self._name.font()
            font.setBold(self._state.is_current)
            self._name.setFont(font)
            room = max(self._name.width(), 40)
            self._name.setText(
                QFontMetrics(font).elidedText(self._state.lane.name, Qt.TextElideMode.ElideMiddle, room)
            )

    def _show_room(self) -> None:
        """The shift in other units, where the lane is tall enough for it."""
        folded = self._state is not None and self._state.is_folded
        room = self.height() >= 3 * TARGET + 4 * GAP and not folded
        self._detail.setVisible(room and bool(self._detail.text()))

    def resizeEvent(self, event: QResizeEvent) -> None:
        super().resizeEvent(event)
        self._show_room()

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if watched is self._name and event.type() == QEvent.Type.Resize:
            self._show_name()
        return super().eventFilter(watched, event)

    def focus_shift(self) -> None:
        self._shift.setFocus(Qt.FocusReason.ShortcutFocusReason)
        self._shift.selectAll()

    def focus_gain(self) -> None:
        self._gain.setFocus(Qt.FocusReason.ShortcutFocusReason)
        self._gain.selectAll()

    def _show_icons(self) -> None:
        if self._state is None:
            return
        theme = theme_of(self.palette())
        self._anchor.setIcon(icon("anchor", theme))
        self._link.setPixmap(icon("link", theme).pixmap(16, 16))
        self._flip.setIcon(icon("flip", theme))
        self._fold.setIcon(icon("unfold" if self._state.is_folded else "fold", theme))

    def changeEvent(self, event: QEvent) -> None:
        super().changeEvent(event)
        if event.type() == QEvent.Type.PaletteChange:
            self._show_icons()

    def paintEvent(self, event: QPaintEvent) -> None:
        theme = theme_of(self.palette())
        painter = QPainter(self)
        state = self._state
        chosen = state is not None and state.is_selected
        painter.fillRect(self.rect(), QColor(theme.raised if chosen else theme.surface))
        if state is not None:
            width = 8 if state.is_current else 5
            for top, height in mark_pieces(state.mark, self.height()):
                painter.fillRect(0, top, width, height, QColor(state.colour))
            if chosen:
                painter.setPen(QPen(QColor(theme.text if state.is_current else theme.edge), 2))
                painter.drawRect(self.rect().adjusted(1, 1, -1, -1))

    # asking

    def _ask_fold(self) -> None:
        if self._state is not None:
            self.fold_requested.emit(not self._state.is_folded)

    def _ask_anchor(self) -> None:
        self._anchor.setChecked(self._state is not None and self._state.is_anchor)
        self.anchor_requested.emit()

    def _ask_polarity(self, flipped: bool) -> None:
        self.polarity_requested.emit(-1 if flipped else 1)

    def mousePressEvent(self, event: QMouseEvent) -> None:
        if event.button() == Qt.MouseButton.LeftButton:
            self._press_y = event.position().y()
            self.pressed.emit(event.modifiers())

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        if self._press_y is not None and abs(event.position().y() - self._press_y) > 12:
            self.setCursor(Qt.CursorShape.SizeVerCursor)
            self.reorder_dragged.emit(event.position().y())

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        if self._press_y is not None and abs(event.position().y() - self._press_y) > 12:
            self.reorder_ended.emit()
        self._press_y = None
        self.unsetCursor()

    def mouseDoubleClickEvent(self, event: QMouseEvent) -> None:
        self.rename_requested.emit()


def mark_pieces(mark: LaneMark, height: int) -> list[tuple[int, int]]:
    """Top and height of the pieces of a lane's mark, in pixels."""
    if mark == "whole":
        return [(0, height)]
    piece, step = (12, 18) if mark == "dashed" else (4, 10)
    return [(top, min(piece, height - top)) for top in range(0, height, step)]


def _detail_of(state: LaneState) -> str:
    """The shift in milliseconds and distance, whichever the shift box does not show; nothing for none."""
    shift = state.move.shift_samples
    if not shift:
        return ""
    distance: Unit = state.unit if state.unit in ("m", "cm", "ft", "in") else "m"
    others: list[Unit] = [unit for unit in ("samples", "ms", distance) if unit != state.unit]
    return " · ".join(shift_text(shift, unit, state.rate_hz, state.temperature_c) for unit in others)
